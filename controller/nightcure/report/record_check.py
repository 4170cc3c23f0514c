"""Whether a printed record and the ledger still say the same."""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any, NamedTuple

from ..errors import BadInput
from ..ledger.night_hash import night_hash, notes_hash
from ..ledger.reader import LedgerReader
from .html import page_hash, page_hash_stated

_IN_HTML = re.compile(r'<meta name="nightcure-seal" content="([0-9a-f]{64})">')
_IN_PDF = re.compile(rb"nightcure-seal:([0-9a-f]{64})")
_NOTES = re.compile(
    rb'<meta name="nightcure-notes" content="([0-9a-f]*)">|nightcure-notes:([0-9a-f]*)'
)
#: No record is longer, bytes.
MOST_BYTES = 20_000_000


class Checked(NamedTuple):
    """What came of it."""

    file_as_printed: bool | None
    """Whether the file is as it was printed; None where it cannot be told (a PDF)."""
    notes_as_printed: bool | None
    """Whether what was filled in by hand, touch and photo are as then; None: nothing was yet."""
    night_as_printed: bool
    """Whether the ledger's night is what the record was printed from."""
    thinned_since: bool
    """The night was the same until it was thinned."""

    @property
    def same(self) -> bool:
        """Whether nothing speaks against the record."""
        night = self.night_as_printed or self.thinned_since
        return night and False not in (self.file_as_printed, self.notes_as_printed)

    @property
    def sentence(self) -> str:
        """In words."""
        if self.file_as_printed is False:
            return "The file was changed after it was printed: its text is not what it was."
        if self.notes_as_printed is False and (self.night_as_printed or self.thinned_since):
            return (
                "The night is the same, and what was filled in by hand or its photo was changed "
                "since this record was printed."
            )
        if self.night_as_printed:
            whole = "" if self.file_as_printed else " (whether its text is, a PDF cannot tell)"
            return (
                f"Still the same: the ledger's night is what this record was printed from{whole}."
            )
        if self.thinned_since:
            return (
                "The record is of this night as it was before it was thinned; the ledger no longer "
                "holds all it was printed from."
            )
        return (
            "Not the same: the ledger's night is not what this record was printed from. Either was "
            "changed, or the record is of another night, or the night went on since."
        )

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints."""
        return {**self._asdict(), "same": self.same, "sentence": self.sentence}


def check(reader: LedgerReader, night_id: int, file: Path) -> Checked:
    """Hold a record (HTML or PDF) against the ledger.

    Raises:
        BadInput: there is no such file or night, or the file is no record of nightcure.
    """
    try:
        if file.stat().st_size > MOST_BYTES:
            raise BadInput(f"{file} is larger than any record; name the record's file.")
        data = file.read_bytes()
    except FileNotFoundError:
        raise BadInput(f"{file}: there is no such file.") from None
    except OSError as error:
        raise BadInput(f"{file} cannot be read: {error.strerror}.") from None
    as_printed: bool | None = None
    if data.startswith(b"%PDF"):
        found = _IN_PDF.search(data)
        stated = found.group(1).decode() if found else None
    else:
        text = data.decode("utf-8", "replace")
        match = _IN_HTML.search(text)
        stated = match.group(1) if match else None
        as_printed = page_hash_stated(text) == page_hash(text)
    if stated is None:
        raise BadInput(f"{file} is no record that nightcure printed: it has no seal in it.")
    try:
        now = night_hash(reader, night_id)
    except KeyError:
        raise BadInput(f"{reader.path} holds no night {night_id}.") from None
    thinned = reader.thinned(night_id)
    before = thinned is not None and thinned.get("seal") == stated
    noted: bool | None = None
    by_hand = _NOTES.search(data)
    if by_hand is not None and (then := by_hand[1] or by_hand[2]):
        noted = then.decode() == notes_hash(reader.noted(night_id))
    return Checked(as_printed, noted, stated == now, before)
