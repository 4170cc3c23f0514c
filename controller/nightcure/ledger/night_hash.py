"""A night's hash: SHA-256 of all that was recorded of it, so that a changed record shows.

Taken into it: the night's row but its number and label, every tick, every event. What people add
afterwards is left out: it may change without the record having changed. Notes, touch and photo have
a hash of their own.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Mapping

from .reader import LedgerReader
from .rows import EventRow, NightRow, TickRow

#: First line of what is hashed: the form may change one day.
FORM = b"nightcure night, form 1\n"


def hash_of_rows(night: NightRow, ticks: Iterable[TickRow], events: Iterable[EventRow]) -> str:
    """64 hexadecimal digits; the same wherever the night lies and whatever its number."""
    digest = hashlib.sha256(FORM)
    digest.update(_line(night[2:]))
    for tick in ticks:
        digest.update(_line(tick[1:]))
    digest.update(b"events\n")
    for event in events:
        digest.update(_line(event[1:]))
    return digest.hexdigest()


def night_hash(reader: LedgerReader, night_id: int) -> str:
    """The hash of a night in a ledger. Raises LedgerLost; KeyError if there is no such night."""
    night = reader.night(night_id)
    if night is None:
        raise KeyError(night_id)
    return hash_of_rows(night, reader.ticks(night_id), all_events(reader, night_id))


def notes_hash(noted: Mapping[str, str]) -> str:
    """SHA-256 of what people noted of a night, its photo's own among it; '' where nothing was."""
    if not noted:
        return ""
    lines = [_line((field, noted[field])) for field in sorted(noted)]
    return hashlib.sha256(b"nightcure notes, form 1\n" + b"".join(lines)).hexdigest()


def all_events(reader: LedgerReader, night_id: int) -> Iterable[EventRow]:
    """Every event of a night, oldest first."""
    after = 0
    while True:
        found = reader.events(night_id, after, 1000)
        for event in found:
            yield EventRow(*(event[name] for name in EventRow._fields))
        if len(found) < 1000:
            return
        after = found[-1]["id"]


def _line(values: tuple[object, ...]) -> bytes:
    return json.dumps(values, ensure_ascii=True, separators=(",", ":")).encode() + b"\n"
