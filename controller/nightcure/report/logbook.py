"""What was made: a row for each part of each night, across ledgers; by mould, batch and person."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterable, Sequence
from dataclasses import astuple, dataclass, fields
from datetime import datetime
from pathlib import Path
from typing import Any

from ..cure.clock_figures import MILESTONES
from ..errors import BadInput
from ..ledger.night_hash import all_events
from ..ledger.reader import LedgerReader
from ..ledger.rows import EventRow, NightRow
from ..record.off_sentences import asked_by
from .facts import reached_of

#: What rows may be picked by, and the columns that are looked into.
PICKED_BY: dict[str, tuple[str, ...]] = {
    "mould": ("mould_number",),
    "part": ("part", "part_number"),
    "batch": ("resin_batch",),
    "person": ("made_by", "started_by", "noted_by"),
    "oven": ("oven",),
}


@dataclass(frozen=True)
class LogRow:
    """A part in a night. Times are local, as a spreadsheet reads them; '' or None: not known."""

    oven: str
    night: int
    label: str
    began: str
    ended: str
    outcome: str
    profile: str
    part: str
    mould_number: str
    part_number: str
    card: str
    resin_batch: str
    resin_kg: float | None
    catalyst_pct: float | None
    catalyst_weighed_g: float | None
    gelled: str
    ready_to_laminate_on: str
    hard: str
    hard_after_h: float | None
    touch: str
    barcol: float | None
    made_by: str
    started_by: str
    noted_by: str
    remarks: str
    ledger: str


def logbook(ledgers: Sequence[Path]) -> list[LogRow]:
    """Every part of every night in these ledgers, the oldest first.

    Raises:
        BadInput, LedgerLost: one of them is none, or cannot be read.
    """
    rows = []
    for path in ledgers:
        reader = LedgerReader(path)
        for night in reader.nights(limit=-1):
            row = reader.night(int(night["id"]))
            if row is not None:
                rows += [(row.started_s, r) for r in _of_night(reader, row)]
    return [r for _, r in sorted(rows, key=lambda pair: pair[0])]


def picked(rows: Iterable[LogRow], wanted: dict[str, str | None]) -> list[LogRow]:
    """The rows that have what is wanted, by the names in `PICKED_BY`; capitals do not matter."""
    asked = {by: text.strip().casefold() for by, text in wanted.items() if text is not None}
    for by, text in asked.items():
        if not text:
            raise BadInput(f"--{by} is empty; say which, or leave it out.")

    def has(row: LogRow) -> bool:
        return all(
            any(text in str(getattr(row, column)).casefold() for column in PICKED_BY[by])
            for by, text in asked.items()
        )

    return [row for row in rows if has(row)]


def as_csv(rows: Iterable[LogRow], decimal_comma: bool = False) -> str:
    """For a spreadsheet: commas and decimal points, or semicolons and decimal commas."""
    text = io.StringIO(newline="")
    writer = csv.writer(text, delimiter=";" if decimal_comma else ",", lineterminator="\r\n")
    writer.writerow(f.name for f in fields(LogRow))
    for row in rows:
        writer.writerow(_cell(value, decimal_comma) for value in astuple(row))
    return text.getvalue()


def _cell(value: Any, decimal_comma: bool) -> str:
    if value is None:
        return ""
    if isinstance(value, float):
        shown = f"{value:.10g}"
        return shown.replace(".", ",") if decimal_comma else shown
    # A text that a spreadsheet would take for a formula is told as text.
    return f"'{value}" if str(value)[:1] in ("=", "+", "-", "@") else str(value)


def _of_night(reader: LedgerReader, night: NightRow) -> list[LogRow]:
    profile = reader.parsed(night.profile)
    events = list(all_events(reader, night.id))
    notes = reader.noted(night.id)
    by_hand = {_name(n["who"]) for n in reader.notes(night.id).values()}
    parts = profile.get("parts") or [{}]
    reached = reached_of([p["name"] for p in parts if p], events)
    rows = []
    for number, part in enumerate(parts, start=1):
        name = part.get("name", "")
        came = {m: reached.get((name, m)) for m in MILESTONES}
        mixed_s = night.started_s + 3600.0 * float(part.get("start_h", 0.0))
        hard_s = came["demould"]

        def noted(field: str, of: int = number) -> str:
            """What was noted of this part; where nothing was, what was noted of the whole night."""
            return notes.get(f"{field}_{of}", notes.get(field, ""))

        rows.append(
            LogRow(
                oven=night.oven,
                night=night.id,
                label=night.label,
                began=local(night.started_s),
                ended=local(night.ended_s),
                outcome=night.outcome or "open",
                profile=profile["name"],
                part=name,
                mould_number=noted("mould_number"),
                part_number=noted("part_number"),
                card=part.get("card", ""),
                resin_batch=noted("resin_batch"),
                resin_kg=part.get("resin_kg"),
                catalyst_pct=part.get("catalyst_pct"),
                catalyst_weighed_g=_number(noted("catalyst_weighed_g")),
                gelled=local(came["gelled"]),
                ready_to_laminate_on=local(came["laminate-opens"]),
                hard=local(hard_s),
                hard_after_h=None if hard_s is None else round((hard_s - mixed_s) / 3600.0, 2),
                touch=noted("touch"),
                barcol=_number(noted("barcol")),
                made_by=noted("made_by"),
                started_by=_started_by(events),
                noted_by=", ".join(sorted(by_hand)),
                remarks=" ".join(noted("remarks").split()),
                ledger=str(reader.path),
            )
        )
    return rows


def local(wall_s: float | None) -> str:
    """A wall time on this machine's clock, such as 2026-11-29 20:05:00; '' where there is none."""
    if wall_s is None:
        return ""
    return datetime.fromtimestamp(wall_s).astimezone().strftime("%Y-%m-%d %H:%M:%S")


def _started_by(events: Sequence[EventRow]) -> str:
    for e in events:
        if e.kind == "night" and e.name == "started":
            found = re.search(r", (by .+|on the page, .+)\.$", e.message)
            return _name(found[1].removeprefix("by ")) if found else ""
    return ""


def _name(who: str) -> str:
    """Who gave a command, else where it came from."""
    return asked_by(who).removeprefix("by ")


def _number(text: str) -> float | None:
    """A noted number, as it may be written: 12,5 g."""
    found = re.match(r"\d+(?:[.,]\d+)?", text)
    return float(found[0].replace(",", ".")) if found else None
