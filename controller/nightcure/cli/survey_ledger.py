"""What a survey may be given instead of a table: a ledger."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from ..errors import BadInput
from ..ledger.reader import LedgerReader


def is_ledger(file: Path) -> bool:
    """Whether a file is a ledger rather than a table."""
    try:
        with file.open("rb") as opened:
            return opened.read(15) == b"SQLite format 3"
    except OSError:
        return False


def drift_of(path: Path) -> dict[str, Any]:
    """The newest night that is over against those before it, as `--json` prints it.

    Raises:
        BadInput: the ledger holds no such night, or it cannot be surveyed.
    """
    from ..report.oven_drift import oven_drift

    reader = LedgerReader(path)
    over = [n for n in reader.nights(limit=20) if n["ended_s"] is not None]
    if not over:
        raise BadInput(f"{path} holds no night that is over.")
    return oven_drift(reader, over[0]["id"]).as_json()
