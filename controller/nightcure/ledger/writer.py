"""The single writer of a ledger: what the controller records, atomically, tick by tick.

Durability. The file is in WAL mode. A commit under `synchronous=NORMAL` reaches the page at once
but is synced to the disk only later; one under `synchronous=FULL` syncs the WAL, and with it all
that was committed before (SQLite documentation, PRAGMA synchronous). So a power cut costs at most
what was committed since the last durable transaction, and the file never needs repair.
"""

from __future__ import annotations

import fcntl
import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import resources
from pathlib import Path
from typing import IO, Any, NamedTuple

from ..errors import BadInput, NightcureError

#: "ncur" in ASCII: what makes a SQLite file a ledger.
APPLICATION_ID = 0x6E637572
SCHEMA_VERSION = 1
#: Longest wait (s) for another process's write (the page posting a command).
BUSY_S = 2.0


class LedgerLost(NightcureError):
    """The ledger cannot be read or written just now; what was to be written was not."""


class LedgerInUse(NightcureError):
    """Another controller holds this ledger."""


class TickRow(NamedTuple):
    """A row of `ticks`; JSON texts as the caller made them."""

    night_id: int
    seq: int
    mono_s: float
    wall_s: float
    inputs: str
    heater: int
    contactor: int
    phase: str
    segment: int | None
    setpoint_c: float | None
    control_c: float | None
    duty: float
    believed: str
    decision: str


class EventRow(NamedTuple):
    """A row of `events`."""

    night_id: int | None
    seq: int | None
    mono_s: float
    wall_s: float
    kind: str
    name: str
    state: str | None
    message: str


class NightRow(NamedTuple):
    """A row of `nights`."""

    id: int
    label: str
    oven: str
    profile: str
    settings: str
    version: str
    opening: str
    started_s: float
    ended_s: float | None
    outcome: str | None
    reason: str | None


class SnapshotRow(NamedTuple):
    """The row of `snapshot`."""

    night_id: int | None
    seq: int
    mono_s: float
    wall_s: float
    state: str


def connect(path: Path, read_only: bool = False) -> sqlite3.Connection:
    """A connection in autocommit mode that any thread may use, one at a time."""
    mode = "?mode=ro" if read_only else ""
    connection = sqlite3.connect(
        f"file:{path.absolute().as_posix()}{mode}",
        uri=True,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.execute("PRAGMA foreign_keys=ON")
    return connection


def check_is_ledger(connection: sqlite3.Connection, path: Path) -> None:
    """Raise BadInput, one sentence, unless `path` holds a ledger of a version known here.

    An empty file is a ledger that is just being made: LedgerLost.
    """
    try:
        (mark,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.DatabaseError as error:
        raise BadInput(f"{path} is not a ledger ({error}); name another file.") from None
    if tables == 0:
        raise LedgerLost(f"The ledger {path} is empty: the controller has not made it yet.")
    if mark != APPLICATION_ID:
        raise BadInput(f"{path} is a database but not a ledger; name another file.")
    if version > SCHEMA_VERSION:
        raise BadInput(
            f"{path} was written by a newer nightcure (schema {version}, known here "
            f"{SCHEMA_VERSION}); update this one."
        )


class LedgerWriter:
    """Opens or creates the ledger at `path` and holds it for itself.

    Raises:
        LedgerInUse: another controller writes it.
        BadInput: the file is something else, or of a newer version.
        LedgerLost: it cannot be created or opened.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = self._take_lock(path)
        try:
            self._db = self._open(path)
        except sqlite3.Error as error:
            self._lock.close()
            if isinstance(error, sqlite3.OperationalError):
                raise LedgerLost(f"The ledger {path} cannot be opened: {error}.") from None
            raise BadInput(f"{path} is not a ledger ({error}); name another file.") from None
        except BadInput:
            self._lock.close()
            raise

    @staticmethod
    def _take_lock(path: Path) -> IO[bytes]:
        try:
            lock = open(f"{path}.lock", "ab")  # noqa: SIM115 (held for life)
        except OSError as error:
            raise LedgerLost(f"The ledger {path} cannot be locked: {error.strerror}.") from None
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            lock.close()
            raise LedgerInUse(
                f"The ledger {path} is in use by another controller; stop that one first."
            ) from None
        return lock

    @staticmethod
    def _open(path: Path) -> sqlite3.Connection:
        db = connect(path)
        (tables,) = db.execute("SELECT count(*) FROM sqlite_schema").fetchone()
        if tables == 0:
            db.execute("PRAGMA page_size=4096")
            db.execute("PRAGMA journal_mode=WAL")
            schema = resources.files(__package__).joinpath("schema.sql").read_text("utf-8")
            db.executescript(
                f"BEGIN; {schema} PRAGMA application_id={APPLICATION_ID}; "
                f"PRAGMA user_version={SCHEMA_VERSION}; COMMIT;"
            )
            _sync_folder(path)
        else:
            check_is_ledger(db, path)
            db.execute("PRAGMA journal_mode=WAL")
        return db

    @contextmanager
    def transaction(self, durable: bool) -> Iterator[None]:
        """All writes inside happen together or not at all.

        Args:
            durable: on return it is on the disk, and so is all that was written before.

        Raises:
            LedgerLost: nothing of it was written; try again later.
        """
        try:
            self._db.execute(f"PRAGMA synchronous={'FULL' if durable else 'NORMAL'}")
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            self._roll_back()
            raise LedgerLost(f"The ledger {self.path} cannot be written: {error}.") from None
        except BaseException:
            self._roll_back()
            raise

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")

    # ---- inside a transaction ---------------------------------------------------------------

    def begin_night(
        self,
        *,
        oven: str,
        profile: str,
        settings: str,
        version: str,
        opening: str,
        started_s: float,
    ) -> int:
        """A new night; its id."""
        cursor = self._db.execute(
            "INSERT INTO nights (oven, profile, settings, version, opening, started_s)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (oven, profile, settings, version, opening, started_s),
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def end_night(self, night_id: int, ended_s: float, outcome: str, reason: str) -> None:
        """`outcome` is done, stopped, tripped or lost."""
        self._db.execute(
            "UPDATE nights SET ended_s = ?, outcome = ?, reason = ? WHERE id = ?",
            (ended_s, outcome, reason, night_id),
        )

    def tick(self, row: TickRow) -> None:
        """One tick of a night."""
        self._db.execute(f"INSERT INTO ticks VALUES ({_marks(row)})", row)

    def event(self, row: EventRow) -> None:
        """Something that happened."""
        self._db.execute(
            "INSERT INTO events (night_id, seq, mono_s, wall_s, kind, name, state, message)"
            f" VALUES ({_marks(row)})",
            row,
        )

    def live(self, host_s: float, state: str) -> None:
        """Replace what is true now."""
        self._db.execute(
            "INSERT OR REPLACE INTO live (id, host_s, state) VALUES (1, ?, ?)", (host_s, state)
        )

    def snapshot(
        self, night_id: int | None, seq: int, mono_s: float, wall_s: float, state: str
    ) -> None:
        """Replace what a controller would resume from."""
        self._db.execute(
            "INSERT OR REPLACE INTO snapshot (id, night_id, seq, mono_s, wall_s, state)"
            " VALUES (1, ?, ?, ?, ?, ?)",
            (night_id, seq, mono_s, wall_s, state),
        )

    def answer(self, command_id: int, taken_s: float, outcome: str, message: str) -> None:
        """What became of a command."""
        self._db.execute(
            "UPDATE inbox SET taken_s = ?, outcome = ?, message = ? WHERE id = ?",
            (taken_s, outcome, message, command_id),
        )

    # ---- on starting ------------------------------------------------------------------------

    def open_night(self) -> NightRow | None:
        """The latest night without an outcome: a controller was broken off in it."""
        row = self._db.execute(
            "SELECT * FROM nights WHERE outcome IS NULL ORDER BY id DESC LIMIT 1"
        ).fetchone()
        return None if row is None else NightRow(*row)

    def last_snapshot(self) -> SnapshotRow | None:
        """What to resume from."""
        row = self._db.execute(
            "SELECT night_id, seq, mono_s, wall_s, state FROM snapshot"
        ).fetchone()
        return None if row is None else SnapshotRow(*row)

    def last_seq(self, night_id: int) -> int:
        """The last recorded tick of a night, -1 if there is none."""
        (seq,) = self._db.execute(
            "SELECT coalesce(max(seq), -1) FROM ticks WHERE night_id = ?", (night_id,)
        ).fetchone()
        return int(seq)

    def close(self) -> None:
        """Fold the WAL back into the file and let go of both."""
        with suppress(sqlite3.Error):
            self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        self._db.close()
        self._lock.close()


def _marks(row: tuple[Any, ...]) -> str:
    return ", ".join("?" * len(row))


def _sync_folder(path: Path) -> None:
    """Make the new file's name itself survive a power cut."""
    with suppress(OSError):
        fd = os.open(path.absolute().parent, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
