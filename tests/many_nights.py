"""A ledger of many nights: one night's rows once more for every evening after it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

from nightcure.ledger.checksum import MARK, with_checksum
from nightcure.ledger.rows import EventRow, NightRow, TickRow
from nightcure.record.rehearsed_night import RehearsedNight
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c
from tests.nights import PROFILE, SETTINGS

DAY_S = 86400.0
#: So many of the newest nights have checksums of their own times; that takes a second a night.
CHECKED = 10


def one_night(path: Path) -> None:
    """The shipped night, whole."""
    with RehearsedNight(path, SETTINGS, PROFILE) as kept:
        rehearse(SETTINGS, PROFILE, BOX, ambient_c, on_tick=kept.tick)


def many_nights(path: Path, count: int) -> None:
    """`count` nights, a day apart: about 3.6 MB and 0.2 s each."""
    one_night(path)
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA synchronous=OFF")

        def checked(mono_s: float, wall_s: float, inputs: str) -> str:
            return with_checksum(mono_s, wall_s, f"{inputs.rpartition(MARK)[0]}}}")

        db.create_function("checked", 3, checked, deterministic=True)
        for later in range(1, count):
            shift_s = DAY_S * later
            night = _shifted(NightRow._fields[1:], started_s="+ ?1", ended_s="+ ?1")
            (number,) = db.execute(
                f"INSERT INTO nights ({', '.join(NightRow._fields[1:])})"
                f" SELECT {night} FROM nights WHERE id = 1 RETURNING id", (shift_s,)
            ).fetchone()  # fmt: skip
            inputs = "inputs" if later < count - CHECKED else "checked(mono_s, wall_s + ?1, inputs)"
            for table, fields, other in (
                ("ticks", TickRow._fields, inputs),
                ("events", EventRow._fields, "inputs"),
            ):
                columns = _shifted(fields, wall_s="+ ?1").replace("inputs", other)
                db.execute(
                    f"INSERT INTO {table} ({', '.join(fields)})"
                    f" SELECT {columns.replace('night_id', '?2')} FROM {table} WHERE night_id = 1",
                    (shift_s, number),
                )
            db.commit()


def _shifted(fields: tuple[str, ...], **by: str) -> str:
    return ", ".join(f"{name} {by[name]}" if name in by else name for name in fields)
