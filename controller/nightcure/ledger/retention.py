"""How long nights are kept: old ones are thinned, then dropped, by age or by the file's size.

A thinned night keeps its row, every event, and of its ticks those with a peak of any series, with
an event, a command, a resume, another reason for no heat or a report of the cure's milestones. What
is summed over ticks (heater's time, switchings) and the whole night's seal are kept beside it, in
`meta`.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path
from typing import Any, Literal, NamedTuple

from .maintenance import IdleLedger
from .night_hash import night_hash
from .photo import FIELD, remove_photo
from .reader import LedgerReader, thin
from .rows import THINNED, TickRow, passed_s

#: Points kept of every night, about, besides those that must be.
POINTS = 500
#: A gap counts as heater time for so many ticks at most: the relay opens by itself.
MOST_TICKS = 3.0
#: No night was recorded before this wall time (1 Jan 2020): the clock was not set.
NO_CLOCK_BEFORE_S = 1_577_836_800.0


@dataclass(frozen=True)
class Rules:
    """What is to be kept. Nothing set: everything.

    Nights are in the order of their numbers: a board without a clock's battery may have dated the
    newest night to 1970.

    Attributes:
        thin_after_s, drop_after_s: by age since the night's start, s; see `latest_starts_s`.
        most_bytes: of the ledger; the oldest nights are thinned, then dropped, until it is met.
    """

    thin_after_s: float | None = None
    drop_after_s: float | None = None
    most_bytes: int | None = None


class Done(NamedTuple):
    """What became of a night by the rules of retention."""

    night_id: int
    what: Literal["thinned", "dropped"]


def apply_retention(
    path: Path, rules: Rules, now_s: float, on_done: Callable[[Done], None] | None = None
) -> list[Done]:
    """Thin and drop what the rules say; the newest night and labelled ones are never dropped.

    Args:
        now_s: wall time, s, that ages are counted to.

    Raises:
        BadInput: there is no such ledger, or a night runs in it.
        LedgerLost: it cannot be written now; nights done before that stay done.
    """
    done: list[Done] = []
    reader = LedgerReader(path)
    with IdleLedger(path) as ledger:
        nights = sorted(reader.nights(limit=-1), key=lambda n: n["id"])
        began_s = latest_starts_s([n["started_s"] for n in nights], now_s)

        def do(night_id: int, what: Literal["thinned", "dropped"]) -> None:
            if what == "thinned":
                _thin(ledger, reader, night_id, now_s)
            else:
                photo = reader.noted(night_id).get(FIELD)
                _drop(ledger, night_id)
                remove_photo(path, photo)
            done.append(Done(night_id, what))
            if on_done is not None:
                on_done(done[-1])

        def droppable(night: dict[str, Any]) -> bool:
            return not night["label"] and night is not nights[-1]

        for night, start_s in zip(nights, began_s, strict=True):
            if droppable(night) and _older(start_s, rules.drop_after_s, now_s):
                do(night["id"], "dropped")
            elif _older(start_s, rules.thin_after_s, now_s) and reader.thinned(night["id"]) is None:
                do(night["id"], "thinned")
        if rules.most_bytes is not None:
            gone = {night_id for night_id, what in done if what == "dropped"}
            left = [n for n in nights if n["id"] not in gone]
            thin = [n for n in left if reader.thinned(n["id"]) is None]
            drop = [n for n in left if droppable(n)]
            steps: list[tuple[Literal["thinned", "dropped"], list[dict[str, Any]]]]
            steps = [("thinned", thin), ("dropped", drop)]
            for what, those in steps:
                for night in those:
                    if ledger.used_bytes() <= rules.most_bytes:
                        break
                    do(night["id"], what)
        if not done:  # the rules may be idle, a running night is told all the same
            with ledger.transaction():
                pass
    return done


def latest_starts_s(started_s: list[float], now_s: float) -> list[float]:
    """The latest that each night can have begun, for its age; nights in order of their numbers, s.

    A night began after those before it, whatever its clock said, and no later than the next one;
    one from before there was a clock to go by (1970, or a board's first day) may be as young as the
    next.
    """
    latest_s: list[float] = []
    for s in started_s:
        latest_s.append(max(s, latest_s[-1] if latest_s else s))
    following_s = now_s
    for i in range(len(latest_s) - 1, -1, -1):
        if latest_s[i] < NO_CLOCK_BEFORE_S:
            latest_s[i] = following_s
        following_s = min(following_s, latest_s[i])
    return latest_s


def _older(start_s: float, than_s: float | None, now_s: float) -> bool:
    return than_s is not None and now_s - start_s > than_s


def _thin(ledger: IdleLedger, reader: LedgerReader, night_id: int, now_s: float) -> None:
    rows = list(reader.ticks(night_id))
    kept = _kept(reader, rows)
    told = {
        "at_s": now_s,
        "ticks_before": len(rows),
        "ticks": len(kept),
        **_sums(reader, rows, night_id),
        "seal": night_hash(reader, night_id),
    }
    with ledger.transaction() as db:
        (now,) = db.execute("SELECT count(*) FROM ticks WHERE night_id = ?", (night_id,)).fetchone()
        if now != len(rows):  # somebody else thinned it meanwhile
            return
        gone = [(night_id, row.seq) for i, row in enumerate(rows) if i not in kept]
        db.executemany("DELETE FROM ticks WHERE night_id = ? AND seq = ?", gone)
        db.execute(
            "INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)",
            (f"{THINNED}{night_id}", json.dumps(told)),
        )


def _kept(reader: LedgerReader, rows: list[TickRow]) -> set[int]:
    if not rows:
        return set()
    believed = [reader.parsed(row.believed) for row in rows]
    series: list[list[float | None]] = [
        [row.setpoint_c for row in rows],
        [row.control_c for row in rows],
        [row.duty for row in rows],
        *[list(column) for column in zip(*believed, strict=True)],
    ]
    kept = set(thin(series, POINTS))
    last_cure = None
    for i, row in enumerate(rows):
        said = ("events" in row.decision or "outcomes" in row.decision or '"off"' in row.decision
                or '"c":' in row.inputs or "resumed_from" in row.inputs)  # fmt: skip
        begins = i == 0 or row.segment != rows[i - 1].segment or row.phase != rows[i - 1].phase
        if said or begins:
            kept |= {i, max(i - 1, 0)}
        if '"cure"' in row.decision:
            last_cure = i
    if last_cure is not None:
        kept.add(last_cure)
    return kept


def _sums(reader: LedgerReader, rows: list[TickRow], night_id: int) -> dict[str, float]:
    night = reader.night(night_id)
    assert night is not None
    tick_s = float(reader.parsed(night.settings)["timing"]["tick_s"])
    heater_s, switchings = 0.0, 0
    for before, row in pairwise(rows):
        if before.heater:
            heater_s += min(passed_s(before, row, tick_s), MOST_TICKS * tick_s)
        switchings += before.heater != row.heater
    return {"heater_s": round(heater_s, 3), "switchings": switchings}


def _drop(ledger: IdleLedger, night_id: int) -> None:
    with ledger.transaction() as db:
        db.execute("UPDATE snapshot SET night_id = NULL WHERE night_id = ?", (night_id,))
        for table in ("ticks", "events"):
            db.execute(f"DELETE FROM {table} WHERE night_id = ?", (night_id,))
        db.execute("DELETE FROM nights WHERE id = ?", (night_id,))
        db.execute("DELETE FROM meta WHERE key = ?", (f"{THINNED}{night_id}",))
