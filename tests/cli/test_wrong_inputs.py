"""Wrong options of the commands: exit status 2, one sentence with the right range, no traceback."""

from __future__ import annotations

import re

import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app

BOX = ("cure", "vapour", "--resin-kg", "1", "--volume-m3", "0.4")
TONIGHT = ("plan", "--lowest", "2")
WRONG: list[tuple[tuple[str, ...], str]] = [
    (("cure", "vapour", "--resin-kg", "-1", "--volume-m3", "1"), "it should be 0 to 1000."),
    (("cure", "vapour", "--resin-kg", "a bucket", "--volume-m3", "1"), "should be a valid number"),
    (("cure", "vapour", "--resin-kg", "1", "--volume-m3", "0"), "it should be 0.01 to 1000."),
    (
        (
            "cure",
            "vapour",
        ),
        "Give --resin-kg and --volume-m3, or a --profile with parts and [box].",
    ),
    ((*BOX, "--monomer-pct", "120"), "it should be 0 to 70."),
    ((*BOX, "--wet", "damp"), "'laid-up', 'gelled', 'hard'"),
    ((*BOX, "--breathes", "well"), "'taped', 'ordinary', 'vent'"),
    ((*BOX, "--air-c", "400"), "it should be -30 to 120."),
    ((*BOX, "--over-h", "0"), "it should be 0.05 to 72."),
    (("cure", "vapour", "--profile", "/nowhere.toml"), "there is no such file"),
    ((*TONIGHT, "--nights", "5"), "it should be 20 to 100000."),
    ((*TONIGHT, "--by", "late"), "a time of day such as 7:30 or 20:00."),
    ((*TONIGHT, "--by", "20:00"), "it should be later."),
    ((*TONIGHT, "--price-per-kwh", "-1"), "it should be 0 to 1000."),
    ((*TONIGHT, "--plot", "night.doc"), "it must end in .svg, .png or .pdf."),
    (("demo", "--speed", "0"), "greater than or equal to 1"),
    (("demo", "--port", "99999"), "less than or equal to 65535"),
    (("demo", "--fault", "gremlin@1h"), "gremlin"),
]


@pytest.mark.parametrize(("arguments", "said"), WRONG)
def test_it_is_told_in_a_sentence(arguments: tuple[str, ...], said: str) -> None:
    result = CliRunner().invoke(app, arguments, env={"COLUMNS": "200", "TERM": "dumb"})
    assert result.exit_code == 2, result.output
    text = " ".join(re.sub("[│╭╮╰╯─]", " ", result.stderr).split())
    assert said in text
    assert "Traceback" not in result.output
