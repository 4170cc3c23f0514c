"""nightcure check on a virtual board: statuses, JSON, a pulse that ends off whatever happens."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import psutil
import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.errors import NightcureError
from nightcure.ledger.reader import LedgerReader
from nightcure.simulate.scenario import OVEN_FILE
from nightcure.simulate.wires import read_pin
from tests.setup.board import VirtualBoard
from tests.setup.terminal import Terminal
from tests.workshop import wait_for


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory) -> Iterator[VirtualBoard]:
    with VirtualBoard(tmp_path_factory.mktemp("virtual"), "--contactor") as board:
        yield board


@pytest.fixture
def oven(board: VirtualBoard, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The scenario's oven.toml on the virtual board; read one by one, which needs no waiting."""
    (board.folder / "w1" / "w1_bus_master1" / "therm_bulk_read").unlink(missing_ok=True)
    for key, value in board.environment.items():
        monkeypatch.setenv(key, value)
    board.oven_file.write_text(OVEN_FILE.read_text())
    for left in board.folder.glob("nightcure.l*"):  # of a test that was killed
        left.unlink()
    assert not board.heater_on()
    return board.oven_file


def check(*arguments: str) -> tuple[int, str, str]:
    """In a process of its own without a terminal: status, standard output, standard error."""
    done = subprocess.run(
        [sys.executable, "-m", "nightcure", "check", *arguments],
        stdin=subprocess.DEVNULL,
        capture_output=True,
        text=True,
        timeout=90,
        check=False,
    )
    return done.returncode, done.stdout, done.stderr


def told(text: str) -> dict[str, dict[str, Any]]:
    """The checks of a JSON answer by name."""
    data = json.loads(text)
    assert set(data) == {"oven", "ok", "checks"}
    return {c["check"]: c for c in data["checks"]}


def test_a_board_in_order(board: VirtualBoard, oven: Path) -> None:
    status, out, err = check(str(oven), "--json")
    assert (status, err) == (0, "")
    assert json.loads(out)["ok"] is True
    found = told(out)
    for name in ("settings", "1-Wire bus", "Air", "Lid", "Rim", "Shed", "agreement", "read time",
                 "gpio", "heater", "contactor", "fan", "disk", "ledger"):  # fmt: skip
        assert found[name]["verdict"] in ("ok", "look at"), found[name]
    assert found["Air"]["value_c"] == pytest.approx(9.0, abs=0.3)
    assert not (oven.parent / "nightcure.ledger").exists(), "it makes no ledger"


def test_what_a_person_sees(board: VirtualBoard, oven: Path) -> None:
    t = Terminal("check", str(oven), folder=oven.parent, environment=board.environment)
    assert t.end() == 0
    lines = t.text.replace("\r\n", "\n").splitlines()
    about_9 = re.compile(r"Air .*(8\.9|9\.0|9\.1) °C")  # the virtual sensor has its noise
    assert any(about_9.search(line) for line in lines), t.text
    assert "GPIO17 (header pin 11) is free and off." in t.text


def test_something_wrong_is_status_1(board: VirtualBoard, oven: Path) -> None:
    oven.write_text(OVEN_FILE.read_text().replace("28-0000000000b2", "28-0000000000ee"))
    result = CliRunner().invoke(app, ["check", str(oven)], terminal_width=80)
    assert result.exit_code == 1
    assert "gone from the bus" in result.stdout
    assert "28-0000000000b2" in result.stdout, "and the one that is there instead"
    status, out, _ = check(str(oven), "--switches", "--yes-heat", "--json")
    assert status == 1
    assert "put right what is wrong first" in told(out)["switches"]["sentence"]
    assert told(out)["switches"]["heated_s"] == 0


@pytest.mark.parametrize("text", [None, "name = 3", "power_w = ["])
def test_a_file_that_cannot_be_used_is_status_2(tmp_path: Path, text: str | None) -> None:
    path = tmp_path / "oven.toml"
    if text is not None:
        path.write_text(text)
    result = CliRunner().invoke(app, ["check", str(path), "--json"])
    assert result.exit_code == 2
    assert result.stdout == ""
    assert result.stderr.startswith("nightcure: ")


def test_without_a_terminal_it_wants_the_option(board: VirtualBoard, oven: Path) -> None:
    status, out, err = check(str(oven), "--switches")
    assert (status, out) == (2, "")
    assert "--yes-heat" in err


@pytest.mark.parametrize("typed", ["yes\n", "\x04"])
def test_not_confirmed_is_not_heated(board: VirtualBoard, oven: Path, typed: str) -> None:
    t = Terminal("check", str(oven), "--switches", "--yes-heat", folder=oven.parent,
                 environment=board.environment)  # fmt: skip
    t.expect("Type heat")
    t.type(typed)
    assert t.end() == 2
    assert "nothing was heated" in t.text
    assert not board.heater_on()


def begun(board: VirtualBoard, oven: Path) -> Terminal:
    """A test of the switches that waits for quiet air."""
    t = Terminal("check", str(oven), "--switches", folder=oven.parent,
                 environment=board.environment)  # fmt: skip
    t.answer("Type heat", "heat")
    t.expect("once the air stands still", 30)
    return t


@pytest.mark.parametrize("key", ["\x03", "\x1a"])
def test_stopped_it_ends_with_everything_off(board: VirtualBoard, oven: Path, key: str) -> None:
    """By Ctrl-C, and by Ctrl-Z, which would leave it standing still."""
    t = begun(board, oven)
    t.type(key)
    assert t.end() == 2
    assert "Stopped before it was over; everything is off." in " ".join(t.text.split())
    for pin in (17, 22, 27):
        assert not read_pin(board.folder / "pins", pin)
    (night,) = LedgerReader(oven.parent / "nightcure.ledger").nights()
    assert night["outcome"] == "stopped", "and there is nothing to take up again"


@pytest.mark.parametrize("number", [signal.SIGKILL, signal.SIGSTOP])
def test_killed_or_stood_still_it_is_off_all_the_same(
    board: VirtualBoard, oven: Path, number: int
) -> None:
    """A killed process leaves its pins driven; another one is there to drive them off.

    The fan's pin is the one that is driven while the test still waits.
    """
    t = begun(board, oven)
    wait_for(lambda: read_pin(board.folder / "pins", 22), 10, "the fan on")
    (keeper,) = psutil.Process(t.pid).children()
    t.kill(number)
    wait_for(lambda: not read_pin(board.folder / "pins", 22), 20, "the pins off")
    assert t.end() == -signal.SIGKILL
    wait_for(lambda: not keeper.is_running(), 10, "and it has gone")
    assert not board.heater_on()


def live(ledger: Path) -> bool:
    """Whether a controller has written what is true now."""
    try:
        return LedgerReader(ledger).live() is not None
    except NightcureError:
        return False


def test_while_a_controller_runs_nothing_is_touched(board: VirtualBoard, oven: Path) -> None:
    running = subprocess.Popen(
        [sys.executable, "-m", "nightcure", "controller", str(oven)],
        cwd=oven.parent,
        stderr=subprocess.DEVNULL,
    )
    try:
        lock = board.folder / "pins" / "gpio17.lock"
        wait_for(lambda: live(oven.parent / "nightcure.ledger"), 30, "a live state")
        assert lock.exists()
        status, out, _ = check(str(oven), "--json")
        found = told(out)
        assert status == 0
        assert "they are left alone" in found["controller"]["sentence"]
        assert "heater" not in found
        assert found["ledger"]["nights"] == 0
        assert running.poll() is None, "and it has not noticed"
    finally:
        running.terminate()
        assert running.wait(20) == 0


def test_a_controller_that_runs_is_asked_for_the_test(board: VirtualBoard, oven: Path) -> None:
    """It keeps the pins, and goes on when the command is ended."""
    running = subprocess.Popen(
        [sys.executable, "-m", "nightcure", "controller", str(oven)],
        cwd=oven.parent,
        stderr=subprocess.DEVNULL,
    )
    try:
        ledger = oven.parent / "nightcure.ledger"
        wait_for(lambda: live(ledger), 30, "a live state")
        t = begun(board, oven)
        assert "they are left alone" in " ".join(t.text.split())
        reader = LedgerReader(ledger)
        wait_for(lambda: (reader.live() or {})["phase"] == "soak", 10, "the test under way")
        t.type("\x03")
        assert t.end() == 2
        assert "Stopped before it was over; everything is off." in " ".join(t.text.split())
        assert (reader.live() or {})["phase"] == "idle"
        assert running.poll() is None
    finally:
        running.terminate()
        assert running.wait(20) == 0
