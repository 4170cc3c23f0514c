"""Reading a ledger: what the page, the record and a replay want of it. Never writes."""

from __future__ import annotations

import json
import sqlite3
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from ..errors import BadInput
from .writer import EventRow, LedgerLost, NightRow, TickRow, check_is_ledger, connect

NIGHT_SUMMARY = "id, label, oven, version, started_s, ended_s, outcome, reason"


class LedgerReader:
    """Read-only access; safe for several threads (one connection each).

    Raises:
        BadInput: there is no such file, or it is something else.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._own = threading.local()
        self._db()

    def _db(self) -> sqlite3.Connection:
        db: sqlite3.Connection | None = getattr(self._own, "db", None)
        if db is None:
            if not self.path.exists():
                raise BadInput(
                    f"{self.path}: there is no such ledger; the controller makes it when it starts."
                )
            try:
                db = connect(self.path, read_only=True)
            except sqlite3.Error as error:
                raise LedgerLost(f"The ledger {self.path} cannot be opened: {error}.") from None
            check_is_ledger(db, self.path)
            db.row_factory = None
            self._own.db = db
        return db

    def _rows(self, sql: str, values: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
        try:
            return self._db().execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise LedgerLost(f"The ledger {self.path} cannot be read: {error}.") from None

    def live(self) -> dict[str, Any] | None:
        """What is true now, with `host_s`, when that was written; None if nothing ever was."""
        rows = self._rows("SELECT host_s, state FROM live")
        if not rows:
            return None
        state: dict[str, Any] = json.loads(rows[0][1])
        return {**state, "host_s": rows[0][0]}

    def nights(self, limit: int = 50, offset: int = 0) -> list[dict[str, Any]]:
        """Nights, newest first."""
        rows = self._rows(
            f"SELECT {NIGHT_SUMMARY}, json_extract(profile, '$.name') FROM nights"
            " ORDER BY id DESC LIMIT ? OFFSET ?",
            (limit, offset),
        )
        names = [*NIGHT_SUMMARY.split(", "), "profile_name"]
        return [dict(zip(names, row, strict=True)) for row in rows]

    def night(self, night_id: int) -> NightRow | None:
        """One night, whole."""
        rows = self._rows("SELECT * FROM nights WHERE id = ?", (night_id,))
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

    def ticks(self, night_id: int) -> Iterator[TickRow]:
        """Every tick of a night, in order, as recorded."""
        cursor = self._db().execute(
            "SELECT * FROM ticks WHERE night_id = ? ORDER BY seq", (night_id,)
        )
        for row in cursor:
            yield TickRow(*row)

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
        believed = [json.loads(row[7]) for row in rows]
        kept = thin([[row[2], row[3], *values] for row, values in zip(rows, believed, strict=True)],
                    points)  # fmt: skip
        names = ("seq", "wall_s", "setpoint_c", "control_c", "duty", "heater", "phase")
        columns: dict[str, list[Any]] = {
            name: [rows[i][k] for i in kept] for k, name in enumerate(names)
        }
        count = len(believed[0]) if believed else 0
        columns["believed"] = [[believed[i][k] for i in kept] for k in range(count)]
        return columns


def thin(series: list[list[float | None]], points: int) -> list[int]:
    """Indices of about `points` rows that keep the first, the last and every column's extremes.

    Rows are cut into buckets; of each bucket every column's lowest and highest row stays.

    Args:
        series: rows of values, None where there is none.
        points: wished for, at least 2.
    """
    count = len(series)
    width = len(series[0]) if series else 0
    if count <= max(points, 2):
        return list(range(count))
    buckets = max(points // (2 * max(width, 1)), 1)
    kept = {0, count - 1}
    for bucket in range(buckets):
        start, end = bucket * count // buckets, (bucket + 1) * count // buckets
        for k in range(width):
            low = high = -1
            for i in range(start, end):
                value = series[i][k]
                if value is None:
                    continue
                if low < 0 or value < series[low][k]:  # type: ignore[operator]
                    low = i
                if high < 0 or value > series[high][k]:  # type: ignore[operator]
                    high = i
            if low >= 0:
                kept |= {low, high}
    return sorted(kept)
