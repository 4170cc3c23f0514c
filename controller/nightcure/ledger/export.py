"""A night as an export: all of it, to be carried to another ledger or read by other programs.

A .zip of CSV tables and a JSON. It holds the readings as columns with their units, for people, and
beside them the texts the loop is replayed from, so that a night that was carried verifies to the
bit. Its hash (see `night_hash`) shows an export that was changed.
"""

from __future__ import annotations

import csv
import hashlib
import io
import json
import zipfile
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ..errors import BadInput
from .night_hash import all_events, hash_of_rows
from .photo import FIELD, photo_of
from .reader import LedgerReader
from .rows import EventRow, NightRow, TickRow, passed_s

FORM = 1
#: Columns of every tick for people, before the thermometers' own.
PLAIN = ("time_s", "utc", "phase", "segment", "setpoint_c", "control_c", "duty", "heater",
         "contactor")  # fmt: skip
#: Columns that a night is put together from again.
EXACT = ("seq", "mono_s", "wall_s", "inputs", "believed", "decision")
#: No night is larger, bytes unpacked.
MOST_BYTES = 500_000_000


@dataclass
class NightExport:
    """A night whole."""

    night: NightRow
    ticks: list[TickRow]
    events: list[EventRow]
    beside: dict[str, Any] = field(default_factory=dict)
    """`notes`, `refit`, `thinned`: what is kept beside a night."""
    photo: bytes | None = None
    """Of the part, a JPEG; its SHA-256 is among the notes."""

    @property
    def night_hash(self) -> str:
        """Of what was recorded."""
        return hash_of_rows(self.night, self.ticks, self.events)


def export_of(reader: LedgerReader, night_id: int) -> NightExport:
    """A night out of a ledger. Raises BadInput, LedgerLost."""
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{reader.path} holds no night {night_id}; 'nightcure nights' lists them.")
    beside = {
        "notes": reader.noted(night_id),
        "refit": reader.refit(night_id),
        "thinned": reader.thinned(night_id),
    }
    return NightExport(
        night, list(reader.ticks(night_id)), list(all_events(reader, night_id)), beside,
        photo_of(reader.path, reader.noted(night_id).get(FIELD)),
    )  # fmt: skip


# ---- the table for people ----------------------------------------------------------------------


def sensor_columns(thermometers: list[dict[str, Any]]) -> list[str]:
    """A column's name for every thermometer, °C, told apart from all others."""
    names: list[str] = []
    for t in thermometers:
        name = f"{t['name']}_c"
        while name in (*PLAIN, *EXACT, *names):
            name = f"{name[:-2]}'_c"
        names.append(name)
    return names


def table(
    night: NightRow, ticks: Iterable[TickRow], parsed: Callable[[str], Any] = json.loads
) -> Iterator[list[Any]]:
    """A header, then a row for every tick: s of the night, UTC, °C, shares of full power."""
    settings = parsed(night.settings)
    tick_s = float(settings["timing"]["tick_s"])
    yield [*PLAIN, *sensor_columns(settings["thermometers"])]
    time_s, before = 0.0, None
    for row in ticks:
        if before is not None:
            time_s += passed_s(before, row, tick_s)
        before = row
        utc = datetime.fromtimestamp(row.wall_s, UTC).isoformat(timespec="milliseconds")
        believed = parsed(row.believed)
        yield [
            round(time_s, 3), utc, row.phase, row.segment, row.setpoint_c, row.control_c, row.duty,
            row.heater, row.contactor, *believed,
        ]  # fmt: skip


def csv_lines(reader: LedgerReader, night_id: int) -> Iterator[str]:
    """The table for people as CSV, some rows at a time, with the local time beside UTC.

    A spreadsheet reads it; it cannot be imported again.

    Raises:
        BadInput: there is no such night.
    """
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{reader.path} holds no night {night_id}.")
    rows = table(night, reader.ticks(night_id), reader.parsed)
    at = PLAIN.index("utc") + 1

    def with_local() -> Iterator[list[Any]]:
        head = next(rows)
        yield [*head[:at], "local_time", *head[at:]]
        for row in rows:
            moment = datetime.fromisoformat(row[at - 1]).astimezone()
            yield [*row[:at], moment.strftime("%Y-%m-%d %H:%M:%S"), *row[at:]]

    return _chunks(with_local())


def _chunks(rows: Iterator[list[Any]]) -> Iterator[str]:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    for number, row in enumerate(rows):
        writer.writerow(_cell_safe(row))
        if number % 500 == 499:
            yield text.getvalue()
            text.seek(0)
            text.truncate()
    if text.tell():
        yield text.getvalue()


def _cell_safe(row: list[Any]) -> list[Any]:
    """A name that a spreadsheet would take for a formula is told as text."""
    return [f"'{c}" if isinstance(c, str) and c[:1] in ("=", "+", "-", "@") else c for c in row]


# ---- zip ---------------------------------------------------------------------------------------


def write_zip(exported: NightExport, file: Path) -> None:
    """Two CSV tables and a JSON in a .zip. Raises OSError."""
    people = table(exported.night, exported.ticks)
    ticks = _csv([*next(people), *EXACT], (
        [*shown, *_exact(row)] for shown, row in zip(people, exported.ticks, strict=True)
    ))  # fmt: skip
    events = _csv(EventRow._fields[1:], (list(e[1:]) for e in exported.events))
    members = {"ticks.csv": ticks, "events.csv": events}
    if exported.photo is not None:
        members["photo.jpg"] = exported.photo
    hashes = {name: hashlib.sha256(data).hexdigest() for name, data in members.items()}
    about = _about_of(exported) | {"files": hashes}
    with zipfile.ZipFile(file, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("night.json", json.dumps(with_hash(about), indent=1, ensure_ascii=False))
        for name, data in members.items():
            archive.writestr(name, data)


def _exact(row: TickRow) -> list[Any]:
    return [row.seq, row.mono_s, row.wall_s, row.inputs, row.believed, row.decision]


def _csv(head: Iterable[str], rows: Iterable[list[Any]]) -> bytes:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(list(head))
    writer.writerows(rows)
    return text.getvalue().encode()


def read_zip(file: Path) -> tuple[NightExport, str]:
    """An export and the hash it states. Raises BadInput."""
    try:
        with zipfile.ZipFile(file) as archive:
            if sum(info.file_size for info in archive.infolist()) > MOST_BYTES:
                raise BadInput(f"{file} is larger than any night.")
            about = _checked_hash(json.loads(archive.read("night.json")), file)
            members = {name: archive.read(name) for name in about["files"]}
    except (zipfile.BadZipFile, KeyError, ValueError, TypeError, EOFError, NotImplementedError,
            RuntimeError) as error:  # fmt: skip
        if isinstance(error, BadInput):
            raise
        raise BadInput(
            f"{file} is no night that nightcure exported, or it is damaged; nothing was imported."
        ) from None
    for name, stated in about["files"].items():
        if hashlib.sha256(members[name]).hexdigest() != stated:
            raise changed(file, name)
    try:
        ticks = [_tick(row) for row in _dicts(members["ticks.csv"])]
        events = [_event(row) for row in _dicts(members["events.csv"])]
        night = NightRow(**about["night"])
    except (ValueError, KeyError, TypeError):
        raise changed(file, "a row") from None
    photo = members.get("photo.jpg")
    return NightExport(night, ticks, events, about["beside"], photo), about["seal"]


def _dicts(data: bytes) -> Iterator[dict[str, str]]:
    csv.field_size_limit(max(csv.field_size_limit(), 10_000_000))
    return csv.DictReader(io.StringIO(data.decode(), newline=""))


def _tick(row: dict[str, str]) -> TickRow:
    def number(name: str) -> float | None:
        return float(row[name]) if row[name] else None

    return TickRow(
        0, int(row["seq"]), float(row["mono_s"]), float(row["wall_s"]), row["inputs"],
        int(row["heater"]), int(row["contactor"]), row["phase"],
        int(row["segment"]) if row["segment"] else None, number("setpoint_c"),
        number("control_c"), float(row["duty"]), row["believed"], row["decision"],
    )  # fmt: skip


def _event(row: dict[str, str]) -> EventRow:
    return EventRow(
        0, int(row["seq"]) if row["seq"] else None, float(row["mono_s"]), float(row["wall_s"]),
        row["kind"], row["name"], row["state"] or None, row["message"],
    )  # fmt: skip


# ---- what an export says of itself -------------------------------------------------------------


def _about_of(exported: NightExport) -> dict[str, Any]:
    return {
        "nightcure_night": FORM,
        "night": exported.night._asdict(),
        "beside": exported.beside,
        "seal": exported.night_hash,
    }


def with_hash(about: dict[str, Any]) -> dict[str, Any]:
    """With a SHA-256 of itself."""
    return {**about, "sha256": _hash(about)}


def _checked_hash(about: Any, file: Path) -> dict[str, Any]:
    """What `with_hash` gave, checked. Raises BadInput."""
    if not isinstance(about, dict) or "nightcure_night" not in about:
        raise BadInput(f"{file} is no night that nightcure exported; nothing was imported.")
    if about["nightcure_night"] != FORM:
        raise BadInput(f"{file} is of form {about['nightcure_night']}; known here is form {FORM}.")
    rest = {k: v for k, v in about.items() if k != "sha256"}
    if about.get("sha256") != _hash(rest):
        raise changed(file, "what it says of the night")
    return rest


def _hash(about: dict[str, Any]) -> str:
    text = json.dumps(about, sort_keys=True, ensure_ascii=True, separators=(",", ":"))
    return hashlib.sha256(text.encode()).hexdigest()


def changed(file: Path, what: str) -> BadInput:
    """The refusal of an export that is not as it was exported."""
    return BadInput(
        f"{file} was changed since it was exported ({what} is not what it was); nothing was "
        f"imported."
    )
