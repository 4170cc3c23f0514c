"""Work on a ledger that must not meet a running night: thinning, dropping, importing.

Each piece is one short transaction, begun only while no night is open: the controller, idle beside
it, waits for it no longer than for a command that is posted.
"""

from __future__ import annotations

import fcntl
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ..errors import BadInput
from .file import LedgerLost, open_ledger, transaction


class NightRuns(BadInput):
    """A night runs in this ledger, or waits to be resumed."""


class IdleLedger:
    """A ledger opened for work between nights.

    Raises:
        BadInput: there is no such ledger, or it is something else.
        LedgerLost: it cannot be opened or written now.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.db = open_ledger(path, "rw")
        self.db.execute("PRAGMA synchronous=FULL")

    def __enter__(self) -> IdleLedger:
        return self

    def __exit__(self, *_: object) -> None:
        self.db.close()

    @contextmanager
    def transaction(self) -> Iterator[sqlite3.Connection]:
        """All or nothing, and only between nights. Raises NightRuns, LedgerLost."""
        with transaction(self.db, self.path) as db:
            row = db.execute("SELECT id FROM nights WHERE outcome IS NULL LIMIT 1").fetchone()
            if row is not None:
                raise NightRuns(
                    f"Night {row[0]} runs, or was broken off and waits to be resumed; come again "
                    f"when it is over (a broken-off one ends with the next start of the oven)."
                )
            yield db

    def used_bytes(self) -> int:
        """What is in it, free pages not counted."""
        (pages,) = self.db.execute("PRAGMA page_count").fetchone()
        (free,) = self.db.execute("PRAGMA freelist_count").fetchone()
        (size,) = self.db.execute("PRAGMA page_size").fetchone()
        return int((pages - free) * size)

    def shrink(self) -> bool:
        """Give free pages back to the disk; False while a controller holds the ledger.

        Raises LedgerLost.
        """
        with open(f"{self.path.resolve()}.lock", "ab") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
            except OSError:
                return False
            try:
                self.db.execute("VACUUM")
                self.db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
            except sqlite3.Error as error:
                raise LedgerLost(f"The ledger {self.path} cannot be shrunk: {error}.") from None
        return True
