"""`nightcure survey`: from a file to the oven, its sections, its sheet for the wall."""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.cli.plot import round_ticks
from nightcure.oven.response import response
from nightcure.oven.thermal import AIR
from nightcure.settings import load_settings
from nightcure.simulate.lumped import LumpedOven
from nightcure.simulate.scenario import BOX, HERE, OVEN_FILE
from tests.nights import COARSE, SHORT, start
from tests.nights import word as command
from tests.recording import RecordedOven

HAND = """time,air
0:00,9
0:05,17
0:10,22
0:20,28
0:30,32
0:40,36
0:45,31
0:50,29
1:00,27
1:20,25
1:40,23
2:00,21
"""


@pytest.fixture
def hand(tmp_path: Path) -> Path:
    path = tmp_path / "heat-test.csv"
    path.write_text(HAND)
    return path


def nightcure(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments])


def test_help_worth_reading() -> None:
    shown = nightcure("survey", "--help").stdout
    for word in ("--ambient", "--off", "--power", "--plot", "--fahrenheit", "--json", "--night"):
        assert word in shown


def said(*arguments: str | Path) -> dict[str, Any]:
    result = nightcure("survey", *arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_a_hand_noted_table(hand: Path) -> None:
    found = said(hand, "--off", "0:40", "--power", "300", "--ambient", "9")
    loss = found["loss_w_per_k"]
    assert loss["low"] < loss["value"] < loss["high"]
    assert found["heater_power_w"]["value"] == 300
    assert all("ambient was" not in s for s in found["assumed"])
    shown = nightcure("survey", hand, "--off", "0:40", "--power", "300", "--ambient", "9").stdout
    for word in ("loss (UA)", "Not known from this log", "[model]"):
        assert word in shown


def noted(every_s: float, close_s: float | None = None) -> str:
    """The scenario's box heated for 40 min and left to cool, 2 h in all, a row now and then;
    closer in the five minutes after each switching."""
    times = set(np.arange(0.0, 7201.0, every_s))
    for at_s in (0.0, 2400.0):
        times |= set(np.arange(at_s, at_s + 301.0, close_s or every_s))
    grid = np.arange(0.0, 7201.0, 10.0)
    heat = (grid < 2400.0).astype(float)[:-1] * BOX.power_w
    start_c = np.full(len(BOX.capacities), 9.0)
    air = response(BOX, grid, heat, np.full(len(grid), 9.0), start_c, (AIR,))[0]
    rows = [f"{t:.0f},{np.interp(t, grid, air):.1f}" for t in sorted(times)]
    return "\n".join(["time_s,air_c", *rows, ""])


@pytest.mark.parametrize(
    ("every_s", "close_s", "known"),
    [(300.0, None, False), (600.0, None, False), (120.0, None, False), (300.0, 20.0, True),
     (60.0, None, True)],
)  # fmt: skip
def test_a_log_that_cannot_know_a_dead_time_gives_no_gain(
    tmp_path: Path, every_s: float, close_s: float | None, known: bool
) -> None:
    """Gains go with one over the dead time; five-minute rows gave any. Fails before this."""
    log, oven = tmp_path / "log.csv", tmp_path / "oven.toml"
    log.write_text(noted(every_s, close_s))
    options = (log, "--off", "2400", "--ambient", "9")
    found = said(*options, "--power", "300")
    assert found["loss_w_per_k"]["value"] == pytest.approx(BOX.loss_w_per_k, rel=0.3)
    told = [s for s in found["unknown"] if s.startswith("The regulator's gains")]
    assert (found["regulator"] is not None) == known
    assert bool(told) != known
    oven.write_text(OVEN_FILE.read_text())
    assert nightcure("survey", *options, "--oven", oven, "--write").exit_code == 0
    before, after = load_settings(OVEN_FILE), load_settings(oven)
    assert after.model.loss_w_per_k == pytest.approx(found["model"]["loss_w_per_k"], rel=1e-3)
    assert (after.regulator == before.regulator) != known
    shown = nightcure("survey", *options, "--power", "300").stdout
    assert "[model]" in shown
    for word in ("[regulator]", "SIMC", "Ms "):
        assert (word in shown) == known


def test_in_fahrenheit_it_is_the_same_oven(hand: Path, tmp_path: Path) -> None:
    rows = [line.split(",") for line in HAND.splitlines()[1:]]
    other = tmp_path / "f.csv"
    other.write_text("time,air\n" + "".join(f"{t},{float(a) * 1.8 + 32:g}\n" for t, a in rows))
    common = ("--off", "0:40", "--power", "300", "--ambient")
    found = said(other, "--fahrenheit", *common, "48.2")
    assert found["rise_at_full_power_k"]["value"] == pytest.approx(
        said(hand, *common, "9")["rise_at_full_power_k"]["value"], rel=0.05
    )


def test_a_shed_noted_twice_is_told(hand: Path, tmp_path: Path) -> None:
    beside = tmp_path / "beside.csv"
    first, *rows = hand.read_text().splitlines()
    beside.write_text("\n".join([f"{first},ambient", *(f"{row},9" for row in rows)]) + "\n")
    given = said(beside, "--off", "0:40", "--power", "300", "--ambient", "15")
    noted = said(beside, "--off", "0:40", "--power", "300")
    assert given["loss_w_per_k"] == noted["loss_w_per_k"]
    assert [s for s in given["assumed"] if "--ambient is not looked at" in s]
    assert not [s for s in noted["assumed"] if "--ambient" in s]


def test_without_the_watts(hand: Path) -> None:
    found = said(hand, "--off", "0:40")
    assert found["loss_w_per_k"] is None
    assert found["regulator"] is None
    assert found["rise_at_full_power_k"]["value"] > 20
    shown = nightcure("survey", hand, "--off", "0:40").stdout
    assert "--power" in shown
    assert "No ambient was noted" in " ".join(shown.split())


def test_the_sections_go_into_the_oven_file(hand: Path, tmp_path: Path) -> None:
    oven = tmp_path / "oven.toml"
    hand.write_text(noted(60.0))
    guessed = OVEN_FILE.read_text().replace("measured = true", "measured = false")
    oven.write_text(guessed)
    oven.chmod(0o600)  # the passphrase's hash is in it
    result = nightcure("survey", hand, "--off", "0:40", "--oven", oven, "--write")
    assert result.exit_code == 0, result.stderr
    before, after = load_settings(OVEN_FILE), load_settings(oven)
    assert after.model.measured
    found = said(hand, "--off", "0:40", "--oven", OVEN_FILE)
    assert after.model.loss_w_per_k == pytest.approx(found["model"]["loss_w_per_k"], rel=1e-3)
    assert after.regulator.gain_w_per_k == pytest.approx(found["regulator"]["gain_w_per_k"])
    for name in ("heater", "contactor", "fan", "thermometers", "limits", "web"):
        assert getattr(after, name) == getattr(before, name)
    assert (tmp_path / "oven.toml.bak").read_text() == guessed
    assert sorted(p.name for p in tmp_path.glob("oven*")) == ["oven.toml", "oven.toml.bak"]
    assert {p.stat().st_mode & 0o777 for p in tmp_path.glob("oven*")} == {0o600}


def test_what_was_kept_before_is_not_written_over(hand: Path, tmp_path: Path) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text())
    options = ("survey", hand, "--off", "0:40", "--oven", oven, "--write")
    assert "the old file is oven.toml.bak." in nightcure(*options).stdout
    first = oven.read_text()
    assert "the old file is oven.toml.bak2." in nightcure(*options, "--power", "500").stdout
    assert (tmp_path / "oven.toml.bak").read_text() == OVEN_FILE.read_text()
    assert (tmp_path / "oven.toml.bak2").read_text() == first


def test_what_a_survey_does_not_know_stays_in_the_oven_file(hand: Path, tmp_path: Path) -> None:
    """A setting of bang-bang, a remark above the next section, a header with blanks in it."""
    oven = tmp_path / "oven.toml"
    hand.write_text(noted(60.0))
    oven.write_text(
        OVEN_FILE.read_text()
        .replace("hysteresis_c = 0.5", "hysteresis_c = 1.5")
        .replace("[regulator]", "[ regulator ]")
        .replace("[limits]", "# Foam: never above 60.\n[limits]")
    )
    for _ in range(2):
        result = nightcure("survey", hand, "--off", "0:40", "--oven", oven, "--write")
        assert result.exit_code == 0, result.stderr
        assert load_settings(oven).regulator.hysteresis_c == 1.5
        text = oven.read_text()
        assert "\n\n# Foam: never above 60.\n[limits]\n" in text
        assert "[ regulator ]" in text, "a person's own way of writing it"
        for once in ("regulator ]", "[model]", "gain_w_per_k", "assumed_ambient_c"):
            assert text.count(once) == 1
    sparse = OVEN_FILE.read_text().partition("[regulator]")[0]
    rest = OVEN_FILE.read_text().partition("[limits]")[2]
    model = f"[model]\nloss_w_per_k = 1\nair_capacity_j_per_k = 1\n[limits]{rest}"
    oven.write_text(sparse + model)
    assert nightcure("survey", hand, "--off", "0:40", "--oven", oven, "--write").exit_code == 0
    assert load_settings(oven).model.loss_w_per_k > 2.0


def test_both_plots_in_the_terminal_have_the_same_round_times(hand: Path) -> None:
    shown = nightcure("survey", hand, "--off", "0:40", "--power", "300").stdout
    axes = [
        line
        for line in shown.splitlines()
        if line.split() == ["0", "20", "40", "60", "80", "100", "120"]
    ]
    assert len(axes) == 2
    assert round_ticks(0.0, 3.0) == [0, 0.5, 1, 1.5, 2, 2.5, 3]
    assert round_ticks(0.0, 10.6) == [0, 2, 4, 6, 8, 10, 12]
    assert round_ticks(0.0, 0.3) == [0, 0.05, 0.1, 0.15, 0.2, 0.25, 0.3]
    head = shown[: shown.index("┌")]
    assert "fitted" in head
    assert "measured" in head


@pytest.mark.parametrize("suffix", ["svg", "png"])
def test_the_sheet_for_the_wall(hand: Path, tmp_path: Path, suffix: str) -> None:
    sheet = tmp_path / f"wall.{suffix}"
    result = nightcure("survey", hand, "--off", "0:40", "--power", "300", "--plot", sheet)
    assert result.exit_code == 0, result.stderr
    if suffix == "svg":
        assert sheet.read_text().count("<path") > 20
    else:
        with Image.open(sheet) as image:
            assert image.size[0] > 1500
            colours = image.convert("RGB").getcolors(1 << 24)
        assert colours is not None
        assert len(colours) > 50


def test_a_recorded_night_is_a_log(tmp_path: Path) -> None:
    """A short night of the scenario's box, written by the real recorder."""
    ledger = tmp_path / "nightcure.ledger"
    with RecordedOven(ledger, COARSE) as oven:
        oven.run(4 * 3600.0, {0.0: start(SHORT)})
    found = said(ledger)
    assert found["heater_power_w"]["value"] == 300
    assert found["loss_w_per_k"]["value"] == pytest.approx(BOX.loss_w_per_k, rel=0.25)
    other = nightcure("survey", ledger, "--night", "7")
    assert other.exit_code == 2
    assert "holds no night 7" in other.stderr


def test_drift_over_the_nights_of_a_ledger(tmp_path: Path) -> None:
    """A night, then one with the tape come off."""
    ledger = tmp_path / "nightcure.ledger"
    with RecordedOven(ledger, COARSE) as oven:
        for number in range(2):
            if number == 1:
                before_c = oven.oven.state_c
                oven.oven.body = LumpedOven(BOX.with_loss_times(1.6))
                oven.oven.state_c = before_c
            begins_s = oven.t_s
            oven.tick(start(SHORT))
            oven.run(begins_s + 2.5 * 3600.0)
            oven.tick(command("stop"))
            oven.oven.state_c[:] = 8.0
            oven.oven._probes_c = [8.0] * 4
            oven.run(oven.t_s + 60.0)
            if number == 0:
                first = said(ledger, "--drift")
    assert (first["change"], first["sentence"]) == (None, "Nothing to compare with yet.")
    found = said(ledger, "--drift")
    assert (found["night"], len(found["nights_before"])) == (2, 1)
    assert found["change"] == "loss"
    assert found["ratio"] == pytest.approx(1.6, rel=0.25)
    shown = " ".join(nightcure("survey", ledger, "--drift").stdout.split())
    assert "look at lid, tape and door" in shown
    log = tmp_path / "log.csv"
    log.write_text(HAND)
    assert "not a ledger" in nightcure("survey", log, "--drift").stderr


def test_live_wants_a_running_controller(tmp_path: Path, hand: Path) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text())
    ledger = tmp_path / "nightcure.ledger"
    with RecordedOven(ledger) as recorded:
        recorded.run(20.0)
    tested = "--cut-out-tested"
    unconfirmed = nightcure("survey", "--live", "--oven", oven)
    assert unconfirmed.exit_code == 2, "fails before this: the command line started unasked"
    assert "--live heats: add --cut-out-tested" in " ".join(unconfirmed.stderr.split())
    busy = nightcure("survey", "--live", "--oven", oven, tested)
    assert busy.exit_code == 2
    assert "The oven is in 'ramp'; a survey needs it idle." in " ".join(busy.stderr.split())
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE live SET host_s = host_s - 3600")
    silent = nightcure("survey", "--live", "--oven", oven, tested)
    assert silent.exit_code == 2
    assert "No controller is running" in " ".join(silent.stderr.split())
    assert "takes no file" in nightcure("survey", hand, "--live", "--oven", oven).stderr
    assert "A file is missing" in nightcure("survey").stderr


def test_beside_what_the_panels_lose(hand: Path, tmp_path: Path) -> None:
    """3.2 W/K by survey: more than 50 mm of board would lose, less than 15 mm would."""
    box = tmp_path / "box.toml"
    options = (hand, "--off", "0:40", "--power", "300", "--ambient", "9", "--box", box)
    for thick_m, essential in (
        ("0.050", "leave by gaps, edges and the door"),
        ("0.022", "no more than panels explain"),
        ("0.012", "less than panels can"),
    ):
        text = (HERE / "box.toml").read_text()
        box.write_text(text.replace("thickness_m = 0.025", f"thickness_m = {thick_m}"))
        assert essential in said(*options)["panels"]


MISTAKES = [
    ((), "never on"),
    (("--off", "0:40", "--time-unit", "weeks"), "must be ms, s, min, h or d"),
    (("--off", "0:40", "--power", "inf"), "--power"),
    (("--off", "0:05"), "no heated box fits it"),
    (("--off", "0:05"), "farthest from the 36.0 °C at 40 min"),
    (("--on", "1:00", "--off", "1:20", "--power", "300"), "See when the heater was on and off"),
    (("--off", "0:40", "--plot", "wall.doc"), "must end in .svg"),
    (("--off", "0:40", "--write"), "needs --oven"),
    (("--off", "2:30"), "on to the last row"),
    (("--off", "noon"), "must be a number"),
    (("--off", "0:40", "--ambient", "60"), "it must be -45 to 38 °C"),
    (("--air", "probe", "--off", "0:40"), "has no column 'probe'"),
]


@pytest.mark.parametrize(("options", "essential"), MISTAKES)
def test_mistakes_are_told(hand: Path, options: tuple[str, ...], essential: str) -> None:
    result = nightcure("survey", hand, *options)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert essential in " ".join(result.stderr.split())


def test_a_useless_log_is_told_before_the_numerics_are_loaded(tmp_path: Path) -> None:
    """So the sentence comes at once; scipy alone takes most of a second on a small board."""
    path = tmp_path / "log.csv"
    path.write_text("time_s,air_c,heater\n" + "".join(f"{60 * i},{9 + i},0\n" for i in range(30)))
    code = (
        "import sys\nfrom nightcure.cli.main import app\n"
        f"try:\n    app(['survey', {str(path)!r}])\n"
        "except SystemExit as e:\n    print(e.code, 'scipy' in sys.modules)"
    )
    began_s = time.process_time()
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, timeout=60, check=False
    )
    assert done.stdout.strip() == "2 False", done.stderr
    assert "never on" in done.stderr
    assert time.process_time() - began_s < 10.0
