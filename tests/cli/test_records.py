"""replay, record, note, nights and ledger at the command line: what they print and refuse."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.profile import parse_profile
from nightcure.simulate.scenario import BOX, OVEN_FILE
from nightcure.tick import Phase
from tests.nights import COARSE, SHORT, word
from tests.recording import RecordedOven

COMMANDS = {
    ("nights", "replay"): (
        "--colder",
        "--mould-times",
        "--door",
        "--bang-bang",
        "--plot",
        "--json",
    ),
    ("record",): ("--out", "--price-per-kwh", "--check", "--paper", "--json"),
    ("nights",): (
        "label",
        "compare",
        "replay",
        "check",
        "backup",
        "keep",
        "export",
        "import",
        "--json",
    ),
    ("nights", "keep"): ("--thin-after-days", "--drop-after-days", "--most-mb"),
}


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two nights, long enough to be refitted."""
    path = tmp_path_factory.mktemp("records") / "n.ledger"
    for seed in (1, 2):
        with RecordedOven(path, seed=seed) as oven:
            oven.run(3600.0)
            oven.tick(word("stop", 3))
            oven.run(oven.t_s + 1000.0)
    return path


@pytest.fixture
def ledger(recorded: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "n.ledger"
    shutil.copy(recorded, copy)
    return copy


def told(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, [str(a) for a in arguments])
    assert result.exception is None or isinstance(result.exception, SystemExit), result.exception
    return result.exit_code, result.stdout, result.stderr


def found(*arguments: object) -> dict[str, Any]:
    """One JSON object and nothing else on standard output."""
    code, out, err = told(*arguments, "--json")
    assert code == 0, err
    value: dict[str, Any] = json.loads(out)
    return value


@pytest.mark.parametrize("command", COMMANDS)
def test_every_help_is_worth_reading(command: tuple[str, ...]) -> None:
    code, out, _ = told(*command, "--help")
    assert code == 0
    assert len(out) > 400
    for option in COMMANDS[command]:
        assert option in out, option


def test_verify_says_same_or_what_differs(ledger: Path) -> None:
    code, out, _ = told("nights", "replay", "last", "--ledger", ledger)
    assert code == 0
    assert "same to the bit" in out
    assert found("nights", "replay", 2, "--ledger", ledger)["same"] is True
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET heater = 1 - heater WHERE night_id = 2 AND seq = 77")
    code, out, _ = told("nights", "replay", 2, "--ledger", ledger)
    assert code == 1
    assert "tick 77" in out
    assert "the heater: recorded" in out


def test_what_if_from_the_ledger(ledger: Path, tmp_path: Path) -> None:
    plot = tmp_path / "w.svg"
    night = found("nights", "replay", 1, "--ledger", ledger, "--colder", 8, "--plot", plot)
    assert night["what_if"] == "8 K colder"
    assert night["changed"]["energy_kwh"] > night["as_it_was"]["energy_kwh"]
    assert "<svg" in plot.read_text()


def test_a_record_is_written_and_checked(ledger: Path, tmp_path: Path) -> None:
    page, sheet = tmp_path / "n.html", tmp_path / "n.pdf"
    common = ("record", "last", "--ledger", ledger, "--no-compare")
    for file in (page, sheet):
        assert told(*common, "--out", file)[0] == 0
        assert told("record", 2, "--ledger", ledger, "--check", file)[0] == 0
        code, out, _ = told("record", 1, "--ledger", ledger, "--check", file)
        assert code == 1
        assert "Not the same" in out
    code, out, _ = told(*common)
    assert code == 0
    assert "Stopped after 1 h 00 min" in out
    found_json = found(*common, "--price-per-kwh", 0.5)
    assert found_json["cost"] == pytest.approx(0.5 * found_json["energy_kwh"], abs=1e-4)


def test_the_oven_is_compared_and_its_refit_kept(tmp_path: Path) -> None:
    path = tmp_path / "cooled.ledger"
    cold = SHORT.model_dump(mode="json")
    cold["segments"][-1]["below_c"] = 17.0
    for seed in (1, 2):
        with RecordedOven(path, COARSE, seed=seed) as oven:
            while oven.run(oven.t_s + 600.0, profile=parse_profile(cold)).phase is not Phase.DONE:
                assert oven.t_s < 6.0 * 3600.0
    assert "'nightcure record 2 --compare'" in found("record", 2, "--ledger", path)["oven_since"]
    with sqlite3.connect(path) as db:
        assert db.execute("SELECT night_id FROM refits").fetchall() == [(2,)]
    said = found("record", 2, "--ledger", path, "--compare")["oven_since"]
    assert found("record", 2, "--ledger", path)["oven_since"] == said, "what was kept is used"
    assert said.startswith(("The oven is as it was", "The box has lost", "The heater gives"))
    with sqlite3.connect(path) as db:
        kept = dict(db.execute("SELECT night_id, found FROM refits").fetchall())
    assert set(kept) == {1, 2}
    loss = json.loads(kept[2])["loss_w_per_k"]
    assert loss["low"] <= BOX.loss_w_per_k <= loss["high"]
    assert loss["value"] == pytest.approx(BOX.loss_w_per_k, rel=0.1)
    assert found("record", 1, "--ledger", path)["oven_since"] == "Nothing to compare with yet."


def test_a_night_without_a_cool_down_is_not_compared(tmp_path: Path) -> None:
    path = tmp_path / "n.ledger"
    for _ in range(2):
        with RecordedOven(path) as oven:
            oven.run(1500.0)
            oven.tick(word("stop", 2))
    said = found("record", 2, "--ledger", path)["oven_since"]
    assert said.startswith("Night 2 tells the oven's loss within")
    assert "was not cooled" in said, "it was stopped after 25 min"


def test_labels_notes_and_lists(ledger: Path) -> None:
    assert told("nights", "label", 1, "first lid", "--ledger", ledger)[0] == 0
    listed = found("nights", "--ledger", ledger)["nights"]
    assert [n["label"] for n in listed] == ["", "first lid"]
    noted = ("--note", "mould_number=K-12", "--note", "remarks=a=b")
    assert found("record", "first lid", *noted, "--ledger", ledger)["notes"] == {
        "mould_number": "K-12", "remarks": "a=b",
    }  # fmt: skip
    compared = found("nights", "compare", 1, 2, "--ledger", ledger)["nights"]
    assert [n["night"] for n in compared] == [1, 2]
    assert compared[0]["energy_kwh"] > 0.05


def test_one_night_is_checked_alone(ledger: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.ledger"
    assert told("nights", "backup", copy, "--ledger", ledger)[0] == 0
    with sqlite3.connect(copy) as db:
        db.execute("UPDATE ticks SET wall_s = wall_s + 1 WHERE night_id = 1 AND seq = 9")
    assert found("nights", "check", 2, "--ledger", copy) == {
        "ledger": str(copy), "night": 2, "sound": True, "faults": [],
    }  # fmt: skip
    code, out, _ = told("nights", "check", 1, "--ledger", copy)
    assert (code, out) == (1, "Night 1, tick 9: its inputs are not what was written.\n")
    code, _, said = told("nights", "check", 1, "--quick", "--ledger", copy)
    assert code == 2
    assert "leave it out" in said


def test_the_ledger_may_be_named_by_its_oven(ledger: Path, tmp_path: Path) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text().replace("nightcure.ledger", ledger.name))
    assert len(found("nights", "--oven", oven)["nights"]) == 2


def test_a_night_leaves_one_ledger_and_enters_another(ledger: Path, tmp_path: Path) -> None:
    file, copy = tmp_path / "n.zip", tmp_path / "copy.ledger"
    assert found("nights", "export", 1, "--ledger", ledger, "--out", file)["night"] == 1
    assert found("nights", "backup", copy, "--ledger", ledger)["size_bytes"] > 1000
    done = found("nights", "keep", "--drop-after-days", 0, "--ledger", copy)
    assert done["dropped"] == [1]
    assert found("nights", "import", file, "--ledger", copy)["night"] == 3
    assert found("nights", "replay", 3, "--ledger", copy)["same"] is True
    assert found("nights", "check", "--ledger", copy)["sound"] is True


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("nights", "replay", 9), "holds no night 9"),
        (("nights", "replay", "nosuch"), "holds no night 'nosuch'"),
        (("nights", "replay", 1, "--door", "25:00"), "--door is '25:00'"),
        (("nights", "replay", 1, "--door", "nine"), "write a time of the clock as 02:00"),
        (("nights", "replay", 1, "--gain-w-per-k", "-1"), "gain_w_per_k is -1"),
        (("nights", "replay", 1, "--plot", "x.svg"), "--plot needs a change"),
        (("nights", "replay", 1, "--colder", 8, "--plot", "x.gif"), "must end in .svg"),
        (("nights", "replay", 1, "--profile", "none.toml"), "there is no such file"),
        (("record", 9), "holds no night 9"),
        (("record", 1, "--out", "x.doc"), "must end in .html or .pdf"),
        (("record", 1, "--out", "none/x.html", "--no-compare"), "cannot be written"),
        (("record", 1, "--paper", "a3"), "must be a4 or letter"),
        (("record", 1, "--check", "none.html"), "there is no such file"),
        (("record", 1, "--note", "mould"), "is not FIELD=TEXT"),
        (("record", 1, "--note", "Mould No=3"), "cannot be a field"),
        (("record", "next"), "Say with --note what to note"),
        (("nights", "label", 1, "x" * 81), "at most 80"),
        (("nights", "compare", 1), "two to six"),
        (("nights", "keep"), "Say what to keep"),
        (("nights", "export", 1, "--out", "x.xlsx"), "must end in .csv"),
        (("nights", "import", "none.zip"), "there is no such file"),
        (("nights", "backup", "none/x.ledger"), "cannot be written"),
    ],
)
def test_a_mistake_is_one_sentence_and_status_2(
    ledger: Path, arguments: tuple[object, ...], words: str
) -> None:
    code, out, err = told(*arguments, "--ledger", ledger)
    assert code == 2, (out, err)
    assert out == ""
    assert words in " ".join(err.split())


@pytest.mark.parametrize(
    "command",
    [("nights", "replay", 1), ("record", 1), ("record", 1, "--note", "a=b"), ("nights",),
     ("nights", "check"),
     ("nights", "export", 1), ("nights", "keep", "--most-mb", 1)],
)  # fmt: skip
def test_what_is_no_ledger_is_told(tmp_path: Path, command: tuple[object, ...]) -> None:
    text = tmp_path / "t.ledger"
    text.write_text("This is a letter, and longer than sixteen bytes.")
    for path, words in ((text, "is not a ledger"), (tmp_path / "no.ledger", "no such ledger")):
        code, out, err = told(*command, "--ledger", path)
        assert code == 2
        assert out == ""
        assert words in " ".join(err.split())
