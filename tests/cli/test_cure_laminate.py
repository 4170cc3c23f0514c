"""`nightcure cure laminate`: what is not seen to the end is not promised."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from .curing import nightcure


def laminated(*arguments: object) -> Any:
    return nightcure("cure", "laminate", "polyester-laminating", *arguments)


def test_a_profile_that_ends_before_the_exotherm_does_not_hide_it(tmp_path: Path) -> None:
    """An hour at 12 °C; the card's gel alone takes longer, and its heat comes after that."""
    profile = tmp_path / "short.toml"
    profile.write_text('name = "short"\n[[segments]]\nkind = "soak"\nat_c = 12\nhours = 1\n')
    given = ("--thickness-mm", 20, "--profile", profile, "--air-c", 12, "--json")
    short = json.loads(laminated(*given).stdout)
    steady = json.loads(laminated("--thickness-mm", 20, "--air-c", 12, "--json").stdout)
    assert short["exotherm_over"]
    assert short["layers"] == steady["layers"] > 1
    assert short["peak_c"] == pytest.approx(steady["peak_c"], abs=1.0)


def test_what_never_cures_is_not_called_thin_enough() -> None:
    """The hot-cure set of Bogetti and Gillespie at 20 °C: nothing happens for days."""
    result = nightcure("cure", "laminate", "bogetti-gillespie-1991", "--thickness-mm", 20)
    assert "hardly cures" in " ".join(result.stdout.split())
    assert "in one go" not in result.stdout


def test_a_limit_that_is_no_temperature() -> None:
    result = laminated("--thickness-mm", 5, "--limit-c", "nan")
    assert result.exit_code == 2
    assert "limit_c is nan" in result.stderr
