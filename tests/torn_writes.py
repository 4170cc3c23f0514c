"""Power cuts at random points of a night's ledger: `python -m tests.torn_writes 500`.

A night and what follows it are recorded by the real recorder while everything that SQLite and the
trip latch write is logged. At a cut the disk holds what was synced before it; of what was written
since, every write is there, lost or torn by sectors of 512 bytes, a torn sector being the old one,
the new one or neither (SQLite's crash tests do the same). That a write leaves the bytes beside it
alone is what SQLite, too, takes for granted (SQLITE_IOCAP_POWERSAFE_OVERWRITE).

Then the controller starts on what is left, and the ledger is held against what had been promised.
"""

from __future__ import annotations

import random
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path
from types import SimpleNamespace
from typing import NamedTuple

import pytest

from nightcure.ledger.latch_file import NAME, LatchFile
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerWriter
from nightcure.record.taking_up import take_up
from nightcure.tick import Decision, Mark, Reading, TickInputs

from .nights import SETTINGS, SHORT, start, word
from .recording import RecordedOven
from .write_log import Op, WriteLog, logged

SECTOR = 512
#: The house rule.
MOST_LOST_S = 10.0


class Promise(NamedTuple):
    """What is true once a tick has been written; noted in the log after it."""

    mono_s: float
    mark: Mark
    events: int
    """So many have been handed over."""
    ticks: tuple[tuple[int, float], ...]
    """(night, mono_s) of every tick of a night so far."""
    outcomes: tuple[str | None, ...]


class Findings(NamedTuple):
    """What a cut cost."""

    lost_s: float
    ticks: int
    faults: tuple[str, ...]


# ---- the night -----------------------------------------------------------------------------------


class _Story(RecordedOven):
    """A recorded oven that notes, after every tick, what must not be lost any more."""

    def __init__(self, folder: Path, log: WriteLog) -> None:
        self.log = log
        self.told: list[str] = []
        self.nights: list[str | None] = []
        self.ticks: list[tuple[int, float]] = []
        super().__init__(folder / "n.ledger", faults=["sensor-missing@75min+10min"])

    def tick(self, *commands: object) -> Decision:
        mono_s = self.t_s
        under_way = bool(self.nights) and self._recording
        decision = super().tick(*commands)  # type: ignore[arg-type]
        began = any(e.kind == "night" and e.name == "started" for e in decision.events)
        if began:
            self.nights.append(None)
        if began or under_way:
            self.ticks.append((len(self.nights), mono_s))
        self.told += [e.message for e in decision.events]
        for e in decision.events:
            if e.kind == "night" and e.name in ("done", "stopped", "tripped"):
                self.nights[-1] = e.name
        ended = bool(self.nights) and self.nights[-1] is not None
        self._recording = bool(self.nights) and not (ended and decision.mark is not Mark.TRIPPED)
        mark, end_s = decision.mark, time.monotonic() + 60.0
        while self.recorder.silent_s(self.t_s) > 0.0 or self.latch.says.state != mark:
            assert time.monotonic() < end_s, "it is written, and the latch is kept"
            time.sleep(0.0003)
        self.log.mark(Promise(mono_s, mark, len(self.told), tuple(self.ticks), tuple(self.nights)))
        return decision

    _recording = False


def record(folder: Path) -> tuple[list[Op], list[str]]:
    """A night that is steered and ends, one that trips, the reset, and one that is under way.

    Returns:
        What was written, and every event's sentence.
    """
    with logged(folder) as log, pytest.MonkeyPatch.context() as patch:
        oven = _Story.__new__(_Story)
        # The recorder makes its writing durable by the clock: here by the oven's.
        clock = SimpleNamespace(
            monotonic=lambda: 1000.0 + getattr(oven, "t_s", 0.0), sleep=time.sleep
        )
        patch.setattr("nightcure.record.recorder.time", clock)
        oven.__init__(folder, log)  # type: ignore[misc]
        due = {
            60.0: start(SHORT)._replace(id=1),
            1200.0: word("setpoint", 2, celsius=24.0),
            2400.0: word("extend", 3, minutes=-20),
            3000.0: word("stop", 4),
            3060.0: start(SHORT)._replace(id=5),
            5400.0: word("acknowledge", 6),
            5700.0: word("reset", 7),
            5760.0: start(SHORT)._replace(id=8),
        }
        while oven.t_s < 6600.0:
            oven.tick(*([due[oven.t_s]] if oven.t_s in due else []))
        log.mark(None)
        oven.close()
    ops = log.ops
    end = next(i for i, op in enumerate(ops) if op.kind == "mark" and op.data is None)
    return ops[:end], oven.told


# ---- the cut -------------------------------------------------------------------------------------


class Disk:
    """What the disk holds: of every file what was synced, and what was written since."""

    def __init__(self) -> None:
        self._synced: dict[str, bytearray] = {}
        self._since: dict[str, list[Op]] = {}

    def do(self, op: Op) -> None:
        """One operation."""
        if op.kind == "mark":
            return
        if op.kind == "sync-folder":
            for ops in self._since.values():
                named = [i for i, one in enumerate(ops) if one.kind in ("delete", "replace")]
                for one in ops[: max(named, default=-1) + 1]:
                    self._apply(self._synced, one)
                del ops[: max(named, default=-1) + 1]
            return
        pending = self._since.setdefault(op.file, [])
        if op.kind == "sync":
            for one in pending:
                self._apply(self._synced, one)
            pending.clear()
        else:
            pending.append(op)

    def cut(self, rng: random.Random) -> dict[str, bytes]:
        """The files as a power cut leaves them."""
        left = {name: bytearray(data) for name, data in self._synced.items()}
        for name, pending in self._since.items():
            for op in pending:
                if op.kind == "write":
                    self._tear(left.setdefault(name, bytearray()), op, rng)
                elif rng.random() < 0.5 or op is not pending[-1]:
                    self._apply(left, op)
        return {name: bytes(data) for name, data in left.items()}

    @staticmethod
    def _apply(files: dict[str, bytearray], op: Op) -> None:
        if op.kind == "delete":
            files.pop(op.file, None)
            return
        data = files.setdefault(op.file, bytearray())
        if op.kind == "replace":
            data[:] = op.data
        elif op.kind == "truncate":
            del data[op.at :]
            data.extend(bytes(op.at - len(data)))
        else:
            _put(data, op.at, op.data)

    @staticmethod
    def _tear(data: bytearray, op: Op, rng: random.Random) -> None:
        fate = rng.random()
        if fate < 1 / 3:
            return
        if fate < 2 / 3:
            _put(data, op.at, op.data)
            return
        at, end = op.at, op.at + len(op.data)
        while at < end:
            upto = min((at // SECTOR + 1) * SECTOR, end)
            new = op.data[at - op.at : upto - op.at]
            sector = rng.choice((None, new, rng.randbytes(len(new))))
            if sector is not None:
                _put(data, at, sector)
            at = upto


def _put(data: bytearray, at: int, new: bytes) -> None:
    data.extend(bytes(max(at + len(new) - len(data), 0)))
    data[at : at + len(new)] = new


# ---- what is left of it --------------------------------------------------------------------------


def judge(folder: Path, before: Promise | None, after: Promise | None, told: list[str]) -> Findings:
    """Start the controller on what a cut left; `before` was promised, `after` was on its way."""
    faults: list[str] = []
    latch = LatchFile(folder)
    writer = LedgerWriter(folder / "n.ledger")
    taken = take_up(SETTINGS, writer, latch.says)
    with closing(sqlite3.connect(folder / "n.ledger")) as db:
        (sound,) = db.execute("PRAGMA integrity_check").fetchone()
        if sound != "ok":
            faults.append(f"the file is damaged: {sound}")
        ticks = db.execute("SELECT night_id, seq, mono_s FROM ticks ORDER BY 1, 2").fetchall()
        events = [m for (m,) in db.execute("SELECT message FROM events ORDER BY id").fetchall()]
        outcomes = [o for (o,) in db.execute("SELECT outcome FROM nights ORDER BY id").fetchall()]
    lost_s = 0.0
    if before is not None:
        if events[: before.events] != told[: before.events]:
            faults.append("an event is lost")
        kept = [(night, mono_s) for night, _, mono_s in ticks]
        if kept != list((after or before).ticks[: len(kept)]):
            faults.append("a tick is missing, or is not the one that was")
        gone = before.ticks[len(kept) :]
        lost_s = before.mono_s - gone[0][1] + SETTINGS.timing.tick_s if gone else 0.0
        if lost_s > MOST_LOST_S:
            faults.append(f"{lost_s:g} s of samples are lost")
        for number, outcome in enumerate(before.outcomes):
            if outcome is not None and outcomes[number : number + 1] != [outcome]:
                faults.append(f"the outcome of night {number + 1} is lost")
    faults += _latch(taken, before, after)
    if taken.going_on is None and None in outcomes:
        faults.append("a night is left open")
    writer.close()
    latch.close()
    list(LedgerReader(folder / "n.ledger").nights())
    return Findings(lost_s, len(ticks), tuple(faults))


def _latch(taken: object, before: Promise | None, after: Promise | None) -> Iterator[str]:
    """What is wrong with how the controller starts."""
    loop, _, going_on, held, _ = taken  # type: ignore[misc]
    was = Mark.CLEAR if before is None else before.mark
    may_be = was if after is None else after.mark
    at = 0.0 if before is None else before.mono_s
    air = tuple(Reading(20.0, 5.0) for _ in SETTINGS.thermometers)
    decisions = [
        loop.tick(TickInputs(5.0 + 2 * i, 1.7e9 + at + 20.0 + 2 * i, air, held=found))
        for i, found in enumerate((held, None, None, None, None))
    ]
    trip = decisions[-1].trip
    if Mark.TRIPPED is was is may_be and trip is None:
        yield "the trip is lost"
    if Mark.ARMED is was is may_be and trip is None and going_on is None:
        yield "a night that was under way is forgotten"
    if Mark.CLEAR is was is may_be and (trip is not None or going_on is not None):
        yield f"an oven at rest starts {'tripped' if trip else 'a night'}"
    if trip is not None and any(d.heater_on for d in decisions):
        yield "it heats while tripped"


def cut_points(ops: list[Op], count: int, rng: random.Random) -> list[int]:
    """Operations to cut after, at random; a third of them where the latch is written, or where the
    ledger's WAL is folded into it, which random points would hardly ever meet."""
    real = [i for i, op in enumerate(ops) if op.kind != "mark"]
    rare = [i for i in real if ops[i].file in (NAME, f".{NAME}.part", "n.ledger")]
    near = sorted({j for i in rare for j in range(i - 6, i + 7) if 0 <= j < len(ops)} & set(real))
    return sorted(rng.choices(real, k=count - count // 3) + rng.choices(near, k=count // 3))


def campaign(count: int, seed: int = 1) -> Iterator[tuple[int, Findings]]:
    """Cuts at `count` points; the operation each came after, and what it cost."""
    rng = random.Random(seed)
    with tempfile.TemporaryDirectory() as where:
        (night := Path(where) / "night").mkdir()
        ops, told = record(night)
        points = cut_points(ops, count, rng)
        marks = {i: op.data for i, op in enumerate(ops) if op.kind == "mark"}
        at = sorted(marks)
        disk, done = Disk(), 0
        for number, point in enumerate(points):
            for op in ops[done : point + 1]:
                disk.do(op)
            done = point + 1
            before = max((i for i in at if i <= point), default=None)
            after = min((i for i in at if i > point), default=None)
            (folder := Path(where) / str(number)).mkdir()
            for name, data in disk.cut(rng).items():
                (folder / name).write_bytes(data)
            yield (
                point,
                judge(
                    folder,
                    None if before is None else marks[before],
                    None if after is None else marks[after],
                    told,
                ),
            )


def main() -> None:
    """Print what was found; exit status 1 if a promise was broken."""
    count = int(sys.argv[1]) if len(sys.argv) > 1 else 500
    began_s, lost_s, bad = time.monotonic(), [], 0
    for point, found in campaign(count):
        lost_s.append(found.lost_s)
        for fault in found.faults:
            bad += 1
            print(f"cut after operation {point}: {fault}")
    lost_s.sort()
    print(
        f"{count} cuts: {bad} promises broken; samples lost: median {lost_s[count // 2]:g} s, "
        f"most {lost_s[-1]:g} s; {time.monotonic() - began_s:.0f} s"
    )
    sys.exit(bool(bad))


if __name__ == "__main__":
    main()
