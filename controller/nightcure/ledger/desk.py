"""The desk: what people write into the ledger by hand: profiles, labels, notes, and that they have
read the cautions. The controller writes all the rest.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path

from .file import LedgerLost, open_ledger


class Desk:
    """One process's pen; not for sharing between threads at the same moment.

    Every method writes durably or not at all.

    Raises:
        BadInput: there is no such ledger, or it is something else.
        LedgerLost: it cannot be written now (every method, too).
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._db = open_ledger(path, "rw")
        # Folding the WAL into the file is the controller's work: it must not wait for this.
        self._db.execute("PRAGMA synchronous=FULL")
        self._db.execute("PRAGMA wal_autocheckpoint=0")

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, all or nothing. Raises LedgerLost."""
        try:
            self._db.execute("BEGIN IMMEDIATE")
            yield self._db
            self._db.execute("COMMIT")
        except BaseException as error:
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")
            if isinstance(error, sqlite3.Error):
                raise LedgerLost(f"The ledger {self.path} cannot be written: {error}.") from None
            raise

    def save_profile(self, name: str, profile: str, who: str, host_s: float, replace: bool) -> bool:
        """Keep a profile (JSON); False if the name is taken and it may not `replace` it."""
        verb = "INSERT OR REPLACE" if replace else "INSERT OR IGNORE"
        with self.writing():
            return self._changed(
                f"{verb} INTO profiles (name, profile, who, saved_s) VALUES (?, ?, ?, ?)",
                (name, profile, who, host_s),
            )

    def remove_profile(self, name: str) -> bool:
        """Forget a profile; False if there is none of this name."""
        with self.writing():
            return self._changed("DELETE FROM profiles WHERE name = ?", (name,))

    def accept(self, what: str, who: str, host_s: float) -> None:
        """Somebody confirmed something for this oven; the first time counts."""
        with self.writing():
            self._changed(
                "INSERT OR IGNORE INTO accepted (what, who, host_s) VALUES (?, ?, ?)",
                (what, who, host_s),
            )

    def label(self, night_id: int, label: str) -> bool:
        """Name a night; False if there is none of this number."""
        with self.writing():
            return self._changed("UPDATE nights SET label = ? WHERE id = ?", (label, night_id))

    def note(self, night_id: int, values: Mapping[str, str], who: str, host_s: float) -> None:
        """Keep what was noted about a night, field by field; an empty value forgets the field."""
        with self.writing():
            for field, value in values.items():
                if value:
                    self._changed(
                        "INSERT OR REPLACE INTO notes (night_id, field, value, who, host_s)"
                        " VALUES (?, ?, ?, ?, ?)",
                        (night_id, field, value, who, host_s),
                    )
                else:
                    self._changed(
                        "DELETE FROM notes WHERE night_id = ? AND field = ?", (night_id, field)
                    )

    def _changed(self, sql: str, values: tuple[str | float, ...]) -> bool:
        return self._db.execute(sql, values).rowcount > 0

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()
