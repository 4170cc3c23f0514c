"""Reading a ledger: what the page, the record and a replay want of it. Never writes."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Any

from .file import LedgerLost
from .opened_files import FollowedLedger
from .rows import (
    CARD,
    EVIDENCE,
    NEXT_NOTES,
    THINNED,
    CheckRow,
    EventRow,
    EvidenceRow,
    NightRow,
    TickRow,
)

NIGHT_SUMMARY = "id, label, oven, version, started_s, ended_s, outcome, reason"
#: instr, not LIKE: what is searched for has no wildcards; both sides in lower case (ASCII).
NIGHT_HAS = (
    "instr(lower(label || char(10) || coalesce(json_extract(profile, '$.name'), '') || char(10) ||"
    " coalesce(reason, '') || char(10) || coalesce((SELECT group_concat(value, char(10)) FROM notes"
    " WHERE night_id = nights.id), '')), lower(?)) > 0"
)
COMMAND = "id, word, args, who, asked_s, expires_s, taken_s, outcome, message"
#: Rows read at a time: no read lasts so long that the writer's WAL has to grow for it.
ROWS_AT_ONCE = 1000


class LedgerReader:
    """Read-only access; safe for several threads (one connection each).

    Raises:
        BadInput: there is no such file, or it is something else.
        LedgerLost: it cannot be read now, or has not been made yet (every method, too).
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._own = threading.local()
        self._db()

    def _db(self) -> sqlite3.Connection:
        ledger: FollowedLedger | None = getattr(self._own, "ledger", None)
        if ledger is None:
            ledger = self._own.ledger = FollowedLedger(self.path, "ro")
        return ledger.db

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        try:
            return self._db().execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise LedgerLost(f"The ledger {self.path} cannot be read: {error}.") from None

    def parsed(self, text: str) -> Any:
        """The JSON in a row; LedgerLost if it is none, as in a damaged file."""
        try:
            return json.loads(text)
        except (ValueError, TypeError, RecursionError):
            raise LedgerLost(f"The ledger {self.path} is damaged: a row is not JSON.") from None

    def live(self) -> dict[str, Any] | None:
        """What is true now, with `host_s`, when that was written; None if nothing ever was."""
        rows = self._rows("SELECT host_s, state FROM live")
        if not rows:
            return None
        state: dict[str, Any] = self.parsed(rows[0][1])
        return {**state, "host_s": rows[0][0]}

    def nights(
        self, limit: int = 50, offset: int = 0, search: str | None = None
    ) -> list[dict[str, Any]]:
        """Nights, newest first; those with `search` in label, profile's name, reason or notes."""
        where, values = "", []
        if search:
            where, values = f"WHERE {NIGHT_HAS} ", [search]
        rows = self._rows(
            f"SELECT {NIGHT_SUMMARY}, json_extract(profile, '$.name') FROM nights"
            f" {where}ORDER BY id DESC LIMIT ? OFFSET ?",
            (*values, limit, offset),
        )
        names = [*NIGHT_SUMMARY.split(", "), "profile_name"]
        return [dict(zip(names, row, strict=True)) for row in rows]

    def night(self, night_id: int) -> NightRow | None:
        """One night, whole."""
        rows = self._rows(
            f"SELECT {', '.join(NightRow._fields)} FROM nights WHERE id = ?", (night_id,)
        )
        return NightRow(*rows[0]) if rows else None

    def events(
        self, night_id: int | None = None, after_id: int = 0, limit: int = 200
    ) -> list[dict[str, Any]]:
        """Events after `after_id`, oldest first; of one night, or of all."""
        names = ["id", *EventRow._fields]
        where = "id > ?" + ("" if night_id is None else " AND night_id = ?")
        values = (after_id,) if night_id is None else (after_id, night_id)
        rows = self._rows(
            f"SELECT {', '.join(names)} FROM events WHERE {where} ORDER BY id LIMIT ?",
            (*values, limit),
        )
        return [dict(zip(names, row, strict=True)) for row in rows]

    def newest_event(self) -> int:
        """The number of the last event, 0 if there is none."""
        return int(self._rows("SELECT coalesce(max(id), 0) FROM events")[0][0])

    def profiles(self) -> list[dict[str, Any]]:
        """Profiles that people saved, by name."""
        rows = self._rows("SELECT name, profile, who, saved_s FROM profiles ORDER BY name")
        names = ("name", "profile", "who", "saved_s")
        found = [dict(zip(names, row, strict=True)) for row in rows]
        return [{**row, "profile": self.parsed(row["profile"])} for row in found]

    def cards(self) -> list[dict[str, Any]]:
        """Resin cards that people made, by name."""
        sql = "SELECT value FROM meta WHERE key GLOB ? ORDER BY key"
        return [self.parsed(row[0]) for row in self._rows(sql, (f"{CARD}*",))]

    def accepted(self, what: str) -> dict[str, Any] | None:
        """Who confirmed something once for this oven, and when (host_s); None if nobody did."""
        rows = self._rows("SELECT who, host_s FROM accepted WHERE what = ?", (what,))
        return dict(zip(("who", "host_s"), rows[0], strict=True)) if rows else None

    def checks(self) -> dict[str, dict[str, Any]]:
        """The latest check of every thermometer, by 1-Wire id."""
        names = CheckRow._fields
        rows = self._rows(
            f"SELECT {', '.join(names)} FROM checks WHERE id IN"
            " (SELECT max(id) FROM checks GROUP BY sensor_id)"
        )
        return {row[0]: dict(zip(names, row, strict=True)) for row in rows}

    def notes(self, night_id: int) -> dict[str, dict[str, Any]]:
        """What a person noted about a night, by field: value, who, host_s."""
        rows = self._rows(
            "SELECT field, value, who, host_s FROM notes WHERE night_id = ?", (night_id,)
        )
        return {row[0]: dict(zip(("value", "who", "host_s"), row[1:], strict=True)) for row in rows}

    def commands(self, limit: int = 50, offset: int = 0) -> list[dict[str, Any]]:
        """What was asked for, by whom, and what became of it; newest first."""
        rows = self._rows(
            f"SELECT {COMMAND} FROM inbox ORDER BY id DESC LIMIT ? OFFSET ?", (limit, offset)
        )
        found = [dict(zip(COMMAND.split(", "), row, strict=True)) for row in rows]
        return [{**command, "args": self.parsed(command["args"])} for command in found]

    # ---- what stands beside a night ----------------------------------------------------------

    def thinned(self, night_id: int) -> dict[str, Any] | None:
        """How a night was thinned (see `retention`), None if it is whole."""
        rows = self._rows("SELECT value FROM meta WHERE key = ?", (f"{THINNED}{night_id}",))
        found: dict[str, Any] | None = self.parsed(rows[0][0]) if rows else None
        return found

    def noted(self, night_id: int) -> dict[str, str]:
        """What people noted about a night, by field; also what they noted before it began."""
        rows = self._rows(
            "SELECT field, value FROM notes WHERE night_id = ? ORDER BY host_s", (night_id,)
        )
        waiting = self._rows("SELECT value FROM meta WHERE key = ?", (NEXT_NOTES,))
        before: dict[str, str] = {}
        if waiting:
            found = self.parsed(waiting[0][0])
            sql = "SELECT min(id) FROM nights WHERE started_s >= ?"
            if self._rows(sql, (found["host_s"],)) == [(night_id,)]:
                before = found["notes"]
        return {**before, **dict(rows)}

    def refit(self, night_id: int) -> dict[str, Any] | None:
        """The oven as refitted from a night, with the `version` that did it; None if it was not."""
        rows = self._rows("SELECT version, found FROM refits WHERE night_id = ?", (night_id,))
        return {**self.parsed(rows[0][1]), "version": rows[0][0]} if rows else None

    def last_check(self, sensor_id: str, before_s: float) -> CheckRow | None:
        """The latest check of a thermometer before a time (wall, s)."""
        rows = self._rows(
            f"SELECT {', '.join(CheckRow._fields)} FROM checks"
            " WHERE sensor_id = ? AND wall_s <= ? ORDER BY wall_s DESC, id DESC LIMIT 1",
            (sensor_id, before_s),
        )
        return CheckRow(*rows[0]) if rows else None

    def evidence(self, batch: str | None = None) -> list[EvidenceRow]:
        """What was seen of a batch, or of all, oldest first."""
        rows = self._rows(
            "SELECT value FROM meta WHERE key >= ? AND key < ?", (EVIDENCE, f"{EVIDENCE}~")
        )
        found = [EvidenceRow(**self.parsed(value)) for (value,) in rows]
        mine = [row for row in found if batch in (None, row.batch)]
        return sorted(mine, key=lambda row: row.wall_s)

    # ---- ticks -------------------------------------------------------------------------------

    def ticks(self, night_id: int) -> Iterator[TickRow]:
        """Every tick of a night, in order, as recorded."""
        seq = -1
        while True:
            rows = self._rows(
                f"SELECT {', '.join(TickRow._fields)} FROM ticks"
                " WHERE night_id = ? AND seq > ? ORDER BY seq LIMIT ?",
                (night_id, seq, ROWS_AT_ONCE),
            )
            for row in rows:
                yield TickRow(*row)
            if len(rows) < ROWS_AT_ONCE:
                return
            seq = rows[-1][1]

    def columns(self, night_id: int, *names: str) -> dict[str, list[Any]]:
        """A night's ticks as columns of `TickRow`'s names, in order; `believed` parsed.

        Several times as quick as row by row: the JSON of all ticks is read at once.
        """
        found: dict[str, list[Any]] = {name: [] for name in names}
        seq = -1
        while True:
            rows = self._rows(
                f"SELECT seq, {', '.join(names)} FROM ticks"
                " WHERE night_id = ? AND seq > ? ORDER BY seq LIMIT ?",
                (night_id, seq, ROWS_AT_ONCE),
            )
            for name, column in zip(("seq", *names), _columns(rows), strict=False):
                if name in found:
                    found[name] += column
            if len(rows) < ROWS_AT_ONCE:
                break
            seq = rows[-1][0]
        if "believed" in found:
            found["believed"] = self.parsed(f"[{','.join(found['believed'])}]")
        return found

    def samples(
        self, night_id: int, points: int, after_seq: int | None = None
    ) -> dict[str, list[Any]]:
        """A night's series, thinned to about `points` ticks that keep every series' peaks.

        Returns:
            Columns of equal length: seq, wall_s, setpoint_c, control_c, duty, heater, phase; and
            `believed`, one column per thermometer.
        """
        first = -1 if after_seq is None else after_seq
        rows = self._rows(
            "SELECT seq, wall_s, setpoint_c, control_c, duty, heater, phase, believed FROM ticks"
            " WHERE night_id = ? AND seq > ? ORDER BY seq",
            (night_id, first),
        )
        believed = _columns(self.parsed(f"[{','.join(row[7] for row in rows)}]"))
        names = ("seq", "wall_s", "setpoint_c", "control_c", "duty", "heater", "phase")
        columns = dict(zip(names, _columns([row[:7] for row in rows]), strict=False))
        kept = (
            thin([columns["setpoint_c"], columns["control_c"], *believed], points) if rows else []
        )
        found: dict[str, list[Any]] = {name: [columns[name][i] for i in kept] for name in names}
        found["believed"] = [[column[i] for i in kept] for column in believed]
        return found


def _columns(rows: Sequence[Sequence[Any]]) -> list[list[Any]]:
    return [list(column) for column in zip(*rows, strict=True)]


def thin(series: list[list[float | None]], points: int) -> list[int]:
    """Indices of about `points` rows that keep the first, the last and every column's extremes.

    Rows are cut into buckets; of each bucket every column's lowest and highest row stays.

    Args:
        series: columns of values, all of one length, None where there is none.
        points: wished for, at least 2.
    """
    count = len(series[0]) if series else 0
    if count <= max(points, 2):
        return list(range(count))
    buckets = max(points // (2 * len(series)), 1)
    kept = {0, count - 1}
    for bucket in range(buckets):
        start, end = bucket * count // buckets, (bucket + 1) * count // buckets
        for column in series:
            values = column[start:end]
            there = [value for value in values if value is not None]
            if there:
                kept |= {start + values.index(min(there)), start + values.index(max(there))}
    return sorted(kept)
