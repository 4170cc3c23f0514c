"""Each check of the board fails for a real cause, and says what to do."""

from __future__ import annotations

import os
import shutil
import sqlite3
import time
from pathlib import Path
from typing import Any

import pytest

from nightcure.ledger.latch_file import Latch, LatchFile
from nightcure.ledger.writer import LedgerInUse, LedgerWriter
from nightcure.setup import board_checks
from nightcure.setup.board_checks import (
    Board,
    controller_runs,
    ledger_held,
    look_at_clock,
    look_at_disk,
    look_at_latch,
    look_at_ledger,
    look_at_service,
    look_at_watchdog,
)
from nightcure.setup.finding import Rating
from nightcure.simulate.scenario import scenario

SETTINGS, _ = scenario()
LOOK, OK, WRONG = Rating.LOOK, Rating.OK, Rating.WRONG


# ---- disk and ledger ---------------------------------------------------------------------------


def mounts(tmp_path: Path, kind: str) -> Board:
    (tmp_path / "mounts").write_text(f"a / ext4 rw 0 0\nb {tmp_path} {kind} rw 0 0\n")
    return Board(mounts=tmp_path / "mounts")


def test_a_good_disk_keeps_nothing_of_the_trial(tmp_path: Path) -> None:
    board = mounts(tmp_path, "ext4")
    before = sorted(os.listdir(tmp_path))
    found = look_at_disk(tmp_path / "x.ledger", board)
    assert found.figures["longest_write_s"] > 0
    assert found.figures["free_bytes"] == pytest.approx(shutil.disk_usage(tmp_path).free, rel=0.2)
    assert sorted(os.listdir(tmp_path)) == before


def test_a_ledger_in_memory(tmp_path: Path) -> None:
    found = look_at_disk(tmp_path / "x.ledger", mounts(tmp_path, "tmpfs"))
    assert found.rating is LOOK
    assert "a power cut loses every night" in found.sentence


def test_a_ledger_on_a_read_only_root(tmp_path: Path) -> None:
    """Its overlay is writable in memory; nights and trips would vanish. Fails before this."""
    found = look_at_disk(tmp_path / "x.ledger", mounts(tmp_path, "overlay"))
    assert found.rating is LOOK
    assert "every night and trip" in found.sentence


def test_a_folder_that_is_not_there_or_may_not_be_written(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    found = look_at_disk(tmp_path / "none" / "x.ledger", Board())
    assert found.rating is WRONG
    assert "is not there" in found.sentence
    monkeypatch.setattr(board_checks.os, "access", lambda *_: False)
    found = look_at_disk(tmp_path / "x.ledger", Board())
    assert found.rating is WRONG
    assert "sudo -u" in found.sentence


@pytest.mark.parametrize(
    ("free", "longest_s", "rating"),
    [(10**6, 0.01, WRONG), (10**8, 0.01, LOOK), (10**10, 1.0, LOOK), (10**10, 4.0, WRONG),
     (10**10, 0.01, OK)],
)  # fmt: skip
def test_little_room_and_slow_cards(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, free: int, longest_s: float, rating: Rating
) -> None:
    usage = shutil.disk_usage(tmp_path)._replace(free=free)
    monkeypatch.setattr(board_checks.shutil, "disk_usage", lambda _: usage)
    monkeypatch.setattr(board_checks, "_durable_s", lambda _: longest_s)
    found = look_at_disk(tmp_path / "x.ledger", mounts(tmp_path, "ext4"))
    assert found.rating is rating


def test_a_sound_ledger_a_damaged_one_and_none(tmp_path: Path) -> None:
    path = tmp_path / "x.ledger"
    assert look_at_ledger(path).rating is OK
    writer = LedgerWriter(path)
    writer.close()
    sound = look_at_ledger(path)
    assert (sound.rating, sound.figures) == (OK, {"nights": 0})
    whole = path.read_bytes()
    path.write_bytes(whole[:2048] + b"\xff" * 4096 + whole[6144:])
    damaged = look_at_ledger(path)
    assert damaged.rating is WRONG
    path.write_text("a letter")
    assert "not a ledger" in look_at_ledger(path).sentence


def test_a_ledger_of_a_newer_version(tmp_path: Path) -> None:
    path = tmp_path / "x.ledger"
    LedgerWriter(path).close()
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version=99")
    db.close()
    found = look_at_ledger(path)
    assert found.rating is WRONG
    assert "newer nightcure" in found.sentence


@pytest.mark.parametrize(
    ("state", "runs", "rating", "said"),
    [
        (None, False, OK, "Nothing has tripped."),
        ("clear", False, OK, "Nothing has tripped."),
        ("armed", True, OK, "a night is under way"),
        ("armed", False, WRONG, "A night was broken off"),
        ("tripped", True, WRONG, "tripped (over-temperature) and nobody has reset it. There is no "
         "heat before that: reset it on the page."),
        ("tripped", False, WRONG, "start the controller"),
        ("damaged", False, WRONG, "cannot be read"),
    ],
)  # fmt: skip
def test_what_the_trip_latch_says(
    tmp_path: Path, state: str | None, runs: bool, rating: Rating, said: str
) -> None:
    """And with it whether there is a pulse of heat: none where anything is wrong."""
    latch = LatchFile(tmp_path)
    if state == "damaged":
        latch.path.write_bytes(b"?" * 8192)
    elif state is not None:
        trip = "over-temperature" if state == "tripped" else ""
        latch.write(Latch(state, "t", 1.0, trip))
    found = look_at_latch(tmp_path / "x.ledger", runs)
    assert found.rating is rating
    assert said in found.sentence


def test_a_running_controller_is_known_by_its_ledger(tmp_path: Path) -> None:
    path = tmp_path / "x.ledger"
    assert not controller_runs(path)
    assert not any(tmp_path.iterdir()), "asking makes no file"
    writer = LedgerWriter(path)
    assert controller_runs(path)
    with pytest.raises(LedgerInUse), ledger_held(path):
        pass
    writer.close()
    assert not controller_runs(path)
    with ledger_held(path), pytest.raises(LedgerInUse):
        LedgerWriter(path)


# ---- the machine -------------------------------------------------------------------------------


@pytest.mark.parametrize(("answer", "rating"), [(0, OK), (1, OK), (5, LOOK), (-1, LOOK)])
def test_the_clock(answer: int, rating: Rating) -> None:
    """adjtimex(2): 5 is TIME_ERROR, not synchronised; 1 an inserted leap second to come."""
    assert look_at_clock(Board(clock=lambda: answer)).rating is rating


def test_the_kernel_answers_as_the_system_does() -> None:
    """Its own time state, read without changing it; -1 where a sandbox forbids the question."""
    assert board_checks.kernel_clock() in range(-1, 6)


def test_a_clock_that_was_never_set(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(time, "time", lambda: 86400.0)
    assert look_at_clock(Board(clock=lambda: 0)).rating is WRONG


def test_the_watchdog(tmp_path: Path) -> None:
    board = Board(sys=tmp_path / "sys", dev=tmp_path / "dev")
    assert "dtparam=watchdog=on" in look_at_watchdog(board).sentence
    dog = tmp_path / "sys" / "class" / "watchdog" / "watchdog0"
    dog.mkdir(parents=True)
    (dog / "state").write_text("inactive\n")
    asleep = look_at_watchdog(board)
    assert asleep.rating is LOOK
    assert "sleeps" in asleep.sentence
    (dog / "state").write_text("active\n")
    assert look_at_watchdog(board).rating is OK


@pytest.mark.parametrize(
    ("enabled", "active", "rating", "word"),
    [
        ("enabled", "active", OK, "running"),
        ("enabled", "failed", WRONG, "reset-failed"),
        ("disabled", "active", LOOK, "enable --now"),
        ("enabled", "inactive", LOOK, "systemctl start"),
        ("", "", LOOK, "not to be asked"),
    ],
)
def test_the_service(tmp_path: Path, enabled: str, active: str, rating: Rating, word: str) -> None:
    def systemctl(question: str, *_: Any) -> str:
        return enabled if question == "is-enabled" else active

    board = Board(units=(tmp_path,), systemctl=systemctl)
    assert "nightcure off" in look_at_service(board).sentence, "not installed"
    (tmp_path / "nightcure-controller.service").touch()
    found = look_at_service(board)
    assert found.rating is rating
    assert word in found.sentence
