"""A night's photo: a JPEG in a folder beside the ledger, named by its own SHA-256.

Which photo is a night's stands in its notes, in the field `photo`.
"""

from __future__ import annotations

import hashlib
import os
from contextlib import suppress
from pathlib import Path

from ..errors import BadInput
from .file import LedgerLost, sync_folder

#: The note's field that holds the photo's SHA-256.
FIELD = "photo"
MOST_BYTES = 1_000_000
#: A JPEG's first and last bytes (ITU-T T.81, B.1.1.3).
BEGINS, ENDS = b"\xff\xd8\xff", b"\xff\xd9"


def photo_folder(ledger: Path) -> Path:
    """Where a ledger's photos lie."""
    return ledger.with_name(f"{ledger.name}.photos")


def keep_photo(ledger: Path, data: bytes) -> str:
    """Write a photo durably; its SHA-256, for the night's note.

    Raises:
        BadInput: it is no JPEG, or too large.
        LedgerLost: it cannot be written.
    """
    if len(data) > MOST_BYTES:
        raise BadInput(f"The photo has {len(data) // 1000} kB; {MOST_BYTES // 1000} are the most.")
    if not data.startswith(BEGINS) or ENDS not in data[-64:]:
        raise BadInput("The photo is no JPEG, or not all of one; take it again.")
    sha256 = hashlib.sha256(data).hexdigest()
    folder = photo_folder(ledger)
    part = folder / f".{sha256}.part"
    try:
        folder.mkdir(exist_ok=True)
        with part.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        part.replace(_file(ledger, sha256))
        sync_folder(part)
    except OSError as error:
        raise LedgerLost(f"The photo cannot be written in {folder}: {error.strerror}.") from None
    return sha256


def photo_of(ledger: Path, sha256: str | None) -> bytes | None:
    """A photo by its SHA-256; None where there is none, or it was changed."""
    if not sha256:
        return None
    with suppress(OSError):
        data = _file(ledger, sha256).read_bytes()
        if hashlib.sha256(data).hexdigest() == sha256:
            return data
    return None


def remove_photo(ledger: Path, sha256: str | None) -> None:
    """Forget a photo, if there is one."""
    if sha256:
        with suppress(OSError):
            _file(ledger, sha256).unlink()


def _file(ledger: Path, sha256: str) -> Path:
    return photo_folder(ledger) / f"{sha256}.jpg"
