"""Checks of the board: disk, ledger, clock, watchdog, service."""

from __future__ import annotations

import ctypes
import os
import shutil
import sqlite3
import subprocess
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from ..errors import NightcureError
from ..ledger.file import PAGE_BYTES, open_ledger
from ..ledger.latch_file import ARMED, CLEAR, MISSING, TRIPPED, read_latch, state_folder
from ..ledger.writer import LedgerInUse, hold_ledger
from ..tick import interlock_words
from .finding import Finding, Rating

#: A night is 4.5 MB (hardware-notes/flash-wear.md): room for ten, and for a hundred.
LEAST_BYTES, PLENTY_BYTES = 50_000_000, 500_000_000
#: A durable write as long as this holds up the record of a tick; as that, of an event for long.
SLOW_S, TOO_SLOW_S = 0.5, 3.0
WRITES = 12
#: No clock that was ever set shows less (2025-01-01): the board has no battery for its own.
UNSET_S = 1_735_689_600
#: adjtimex(2): the clock is not synchronised.
TIME_ERROR = 5
IN_MEMORY = {"tmpfs", "ramfs"}
#: A root that is read-only below and writable on top, in memory as a rule.
OVERLAY = "overlay"
UNIT = "nightcure-controller.service"


def kernel_clock() -> int:
    """What adjtimex(2) answers to a question that changes nothing; -1 where it may not be asked."""
    try:
        return int(ctypes.CDLL(None).adjtimex(ctypes.create_string_buffer(1024)))
    except (OSError, AttributeError):
        return -1


def ask_systemd(*words: str) -> str:
    """The one word systemctl answers; empty where there is none."""
    try:
        done = subprocess.run(
            ["systemctl", *words], capture_output=True, text=True, timeout=10, check=False
        )
    except (OSError, subprocess.TimeoutExpired):
        return ""
    return done.stdout.strip()


class Board(NamedTuple):
    """Where things are on the machine."""

    sys: Path = Path("/sys")
    dev: Path = Path("/dev")
    units: tuple[Path, ...] = (Path("/etc/systemd/system"), Path("/usr/lib/systemd/system"))
    mounts: Path = Path("/proc/self/mounts")
    clock: Callable[[], int] = kernel_clock
    systemctl: Callable[..., str] = ask_systemd


@contextmanager
def ledger_held(path: Path) -> Iterator[None]:
    """Hold the ledger's lock, so that no controller starts meanwhile. Raises as `hold_ledger`.

    A lock file made here belongs to the folder's owner: root's would keep the service out.
    """
    place = Path(f"{path.resolve()}.lock")
    new = not place.exists()
    lock = hold_ledger(path)
    try:
        if new:
            with suppress(OSError):
                folder = place.parent.stat()
                os.fchown(lock.fileno(), folder.st_uid, folder.st_gid)
        yield
    finally:
        lock.close()


def look_at_disk(ledger: Path, board: Board) -> Finding:
    """Room, and how long a durable write takes where the ledger is."""
    folder = ledger.resolve().parent
    if not folder.is_dir():
        return Finding("disk", Rating.WRONG, f"The ledger's folder {folder} is not there: make it.")
    if not os.access(folder, os.W_OK | os.X_OK):
        return Finding(
            "disk",
            Rating.WRONG,
            f"You may not write in {folder}: check as who runs the controller, with sudo -u.",
        )
    free = shutil.disk_usage(folder).free
    try:
        longest_s = _durable_s(folder)
    except (OSError, sqlite3.Error) as error:
        return Finding("disk", Rating.WRONG, f"{folder} takes no durable write: {error}.")
    figures = {"free_bytes": free, "longest_write_s": round(longest_s, 4)}
    shown = f"{free / 1e9:.1f} GB free, a durable write takes up to {longest_s * 1000:.0f} ms"
    if free < LEAST_BYTES:
        sentence = f"{shown}: too little for ten nights. Make room."
        return Finding("disk", Rating.WRONG, sentence, figures)
    if longest_s > TOO_SLOW_S:
        sentence = f"{shown}: the card is worn out or not what it says. Replace it."
        return Finding("disk", Rating.WRONG, sentence, figures)
    kind = _file_system(folder, board.mounts)
    if kind in IN_MEMORY:
        sentence = f"{shown}, but {folder} is memory: a power cut loses every night and trip."
        return Finding("disk", Rating.LOOK, sentence, figures)
    if kind == OVERLAY:
        sentence = (
            f"{shown}, but {folder} is on an overlay. Where that is a read-only root's, a power "
            f"cut loses every night and trip: put the ledger on a disk of its own "
            f"(hardware-notes/read-only-root.md)."
        )
        return Finding("disk", Rating.LOOK, sentence, figures)
    if free < PLENTY_BYTES or longest_s > SLOW_S:
        sentence = f"{shown}: it will do. See hardware-notes/flash-wear.md."
        return Finding("disk", Rating.LOOK, sentence, figures)
    return Finding("disk", Rating.OK, f"{shown}.", figures)


def _durable_s(folder: Path) -> float:
    """The longest of a few writes as the ledger makes them, s; the trial's file is taken away."""
    with tempfile.TemporaryDirectory(prefix=".nightcure-check-", dir=folder) as place:
        db = sqlite3.connect(Path(place) / "trial", isolation_level=None)
        try:
            db.execute(f"PRAGMA page_size={PAGE_BYTES}")
            db.execute("PRAGMA journal_mode=WAL")
            db.execute("PRAGMA synchronous=FULL")
            db.execute("CREATE TABLE t (x)")
            longest_s = 0.0
            for _ in range(WRITES):
                began_s = time.monotonic()
                db.execute("INSERT INTO t VALUES (randomblob(1500))")
                longest_s = max(longest_s, time.monotonic() - began_s)
        finally:
            db.close()
    return longest_s


def _file_system(folder: Path, mounts: Path) -> str:
    best, kind = "", ""
    with suppress(OSError):
        for line in mounts.read_text(encoding="utf-8", errors="replace").splitlines():
            words = line.split()
            if len(words) > 2 and folder.is_relative_to(words[1]) and len(words[1]) >= len(best):
                best, kind = words[1], words[2]
    return kind


def look_at_ledger(path: Path) -> Finding:
    """Is it one, of a known version, and whole?"""
    if not path.exists():
        sentence = f"{path} is not there yet: the controller makes it."
        return Finding("ledger", Rating.OK, sentence)
    try:
        db = open_ledger(path, "ro")
    except NightcureError as error:
        return Finding("ledger", Rating.WRONG, str(error))
    try:
        (said,) = db.execute("PRAGMA quick_check(1)").fetchone()
        (nights,) = db.execute("SELECT count(*) FROM nights").fetchone()
    except sqlite3.Error as error:
        said, nights = str(error), 0
    finally:
        db.close()
    if said != "ok":
        sentence = f"{path} is damaged ({said}): keep it aside; the controller makes a new one."
        return Finding("ledger", Rating.WRONG, sentence)
    sentence = f"{path.name} is sound: {nights} night{'s'[: nights != 1]}."
    return Finding("ledger", Rating.OK, sentence, {"nights": nights})


def look_at_latch(path: Path, runs: bool) -> Finding:
    """Is the oven free to heat, or had it tripped? `runs`: a controller does; it has the say."""
    latch = read_latch(state_folder(path))
    if latch.state in (CLEAR, MISSING) or (runs and latch.state == ARMED):
        sentence = (
            "Armed: a night is under way." if latch.state == ARMED else "Nothing has tripped."
        )
        return Finding("latch", Rating.OK, sentence)
    if latch.state == TRIPPED:
        said = f"The oven has tripped ({interlock_words(latch.trip)}) and nobody has reset it."
    elif latch.state == ARMED:
        said = "A night was broken off, and whether it may go on is not judged yet."
    else:
        said = "The trip latch cannot be read."
    do = "reset it on the page" if runs else "start the controller and see what it says on the page"
    return Finding("latch", Rating.WRONG, f"{said} There is no heat before that: {do}.")


def look_at_clock(board: Board) -> Finding:
    """Does the machine know the time? Control does not need it, people do."""
    if time.time() < UNSET_S:
        return Finding(
            "clock",
            Rating.WRONG,
            "It was never set: nights would bear wrong times. Connect the network, or date -s.",
        )
    answer = board.clock()
    if answer < 0:
        sentence = "Nobody could say whether it is synchronised; compare it with your watch."
        return Finding("clock", Rating.LOOK, sentence, {"synchronised": None})
    if answer == TIME_ERROR:
        return Finding(
            "clock",
            Rating.LOOK,
            "Not synchronised: a step in the night is noted, finish times are wrong by it. "
            "timedatectl set-ntp true, or fit a battery clock.",
            {"synchronised": False},
        )
    return Finding("clock", Rating.OK, "Synchronised.", {"synchronised": True})


def look_at_watchdog(board: Board) -> Finding:
    """Would a frozen board be reset?"""
    dogs = sorted((board.sys / "class" / "watchdog").glob("watchdog*"))
    if not dogs and not (board.dev / "watchdog").exists():
        return Finding(
            "watchdog",
            Rating.LOOK,
            "None: a board that freezes with the heater on stays so. dtparam=watchdog=on in "
            "config.txt (nightcure setup writes it).",
        )
    state = ""
    for dog in dogs:
        with suppress(OSError):
            state = (dog / "state").read_text(encoding="ascii").strip() or state
    if state != "active":
        return Finding(
            "watchdog",
            Rating.LOOK,
            "It is there and sleeps: RuntimeWatchdogSec=14 in /etc/systemd/system.conf, as the "
            "package and systemd/install set it, then reboot.",
        )
    return Finding("watchdog", Rating.OK, "The board's own is on duty.")


def look_at_service(board: Board) -> Finding:
    """The controller's unit, if it is installed."""
    if not any((place / UNIT).exists() for place in board.units):
        return Finding(
            "service",
            Rating.LOOK,
            "Not installed: by hand, run nightcure off whenever the controller was killed. "
            "The service does it for you (systemd/README.md).",
        )
    enabled, active = board.systemctl("is-enabled", UNIT), board.systemctl("is-active", UNIT)
    figures = {"enabled": enabled, "active": active}
    if active == "failed":
        sentence = f"{UNIT} has failed: systemctl status tells why; then reset-failed and start."
        return Finding("service", Rating.WRONG, sentence, figures)
    if enabled != "enabled":
        sentence = f"{UNIT} is {enabled or 'not to be asked'}: systemctl enable --now {UNIT}."
        return Finding("service", Rating.LOOK, sentence, figures)
    if active != "active":
        sentence = f"{UNIT} is {active or 'not to be asked'}: systemctl start {UNIT}."
        return Finding("service", Rating.LOOK, sentence, figures)
    return Finding("service", Rating.OK, f"{UNIT} is enabled and running.", figures)


def controller_runs(path: Path) -> bool:
    """Whether another process holds the ledger's lock; asked without making a lock file."""
    if not Path(f"{path.resolve()}.lock").exists():
        return False
    try:
        with ledger_held(path):
            return False
    except LedgerInUse:
        return True
    except NightcureError:
        return False
