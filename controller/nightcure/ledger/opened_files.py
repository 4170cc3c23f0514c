"""Whether a ledger's files are still those that were opened, and a connection that follows them."""

from __future__ import annotations

import os
import sqlite3
from contextlib import suppress
from pathlib import Path

from ..errors import BadInput
from .file import LedgerLost, open_ledger

#: The files that SQLite keeps beside a ledger.
BESIDE = ("-wal", "-shm")


class OpenedFiles:
    """The ledger at `path` and the two files beside it, as they are now."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._known: dict[str, tuple[int, int]] = {}
        self._bytes = 0
        self.changed()

    @property
    def ours(self) -> bool:
        """Whether the ledger itself, not what is beside it, is the one that was opened, whole."""
        try:
            now = os.stat(self._path)
        except OSError:
            return False
        return (now.st_dev, now.st_ino) == self._known.get("") and now.st_size >= self._bytes

    def changed(self) -> str | None:
        """The sentence for a file that was removed, replaced or cut short; None if none was.

        A file beside the ledger counts from when it is first seen. The ledger itself only grows
        while a controller holds it.
        """
        for end in ("", *BESIDE):
            name = f"{self._path}{end}"
            try:
                now = os.stat(name)
            except FileNotFoundError:
                if end in self._known:
                    return f"The ledger's file {name} was removed while the controller ran."
                continue
            except OSError:
                continue  # a disk that does not answer is found by what is written next
            identity = now.st_dev, now.st_ino
            if self._known.setdefault(end, identity) != identity:
                return f"The ledger's file {name} was replaced while the controller ran."
            if end == "":
                if now.st_size < self._bytes:
                    return f"The ledger {name} was cut short while the controller ran."
                self._bytes = now.st_size
        return None

    def set_aside_strays(self) -> None:
        """Take files out of the way that are left of a ledger which is not there any more."""
        if self._bytes == 0 or ("-shm" in self._known and "-wal" not in self._known):
            self.set_aside()

    def set_aside(self) -> None:
        """Take what is ours beside the path out of the way of another ledger there.

        SQLite would play our WAL into whatever file bears the ledger's name; it is kept under
        another name.
        """
        for end, kept in zip(BESIDE, (".lost-wal", None), strict=True):
            name = f"{self._path}{end}"
            with suppress(OSError):
                now = os.stat(name)
                if (now.st_dev, now.st_ino) != self._known.get(end):
                    continue
                if kept and now.st_size:
                    os.replace(name, f"{self._path}{kept}")
                else:
                    os.unlink(name)


class FollowedLedger:
    """A connection to a ledger that is opened anew when another file has taken the ledger's place.

    Where it does not follow (the controller's own), it stays with the file that it opened.

    Raises:
        BadInput: there is no such ledger, or it is something else.
        LedgerLost: it cannot be opened now.
    """

    def __init__(self, path: Path, mode: str, *pragmas: str, follows: bool = True) -> None:
        self._path, self._mode, self._pragmas, self._follows = path, mode, pragmas, follows
        self._open()

    def _open(self) -> None:
        self._db = open_ledger(self._path, self._mode)
        for pragma in self._pragmas:
            self._db.execute(f"PRAGMA {pragma}")
        self._files = OpenedFiles(self._path)

    @property
    def db(self) -> sqlite3.Connection:
        """The connection. Raises LedgerLost where there is no ledger now."""
        if self._follows and self._files.changed() is not None:
            self._db.close()
            try:
                self._open()
            except BadInput as error:
                raise LedgerLost(str(error)) from None
        return self._db

    def close(self) -> None:
        """Let go of the file."""
        self._db.close()
