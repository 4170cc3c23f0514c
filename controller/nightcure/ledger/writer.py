"""The single writer of a ledger: what the controller records, atomically, tick by tick.

Durability. The file is in WAL mode. A commit under `synchronous=NORMAL` reaches the page at once
but is synced to the disk only later; one under `synchronous=FULL` syncs the WAL, and with it all
that was committed before (SQLite documentation, PRAGMA synchronous and "Write-Ahead Logging"). So
a power cut costs at most what was committed since the last durable transaction, and the file never
needs repair.
"""

from __future__ import annotations

import fcntl
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import IO, Any

from ..errors import BadInput
from .file import (
    LedgerInUse,
    LedgerLost,
    bring_up_to_date,
    check_is_ledger,
    connect,
    make,
    sync_folder,
)
from .latch_file import Latch, from_json
from .opened_files import OpenedFiles
from .rows import LATCH, CheckRow, EventRow, EvidenceRow, NightRow, SnapshotRow, TickRow

#: The WAL is folded into the file at this size, and cut back to twice this if it ever outgrew it.
WAL_BYTES = 4_000_000

#: The latest check of each thermometer counts; what no person can have entered does not.
LATEST_OFFSETS = (
    "SELECT sensor_id, offset_c FROM checks WHERE abs(offset_c) <= 5 AND id IN"
    " (SELECT max(id) FROM checks GROUP BY sensor_id)"
)

#: Errors of what is to be written, not of the disk: the same row will never be accepted.
WRONG_ROW = (
    sqlite3.IntegrityError,
    sqlite3.DataError,
    sqlite3.ProgrammingError,
    sqlite3.InterfaceError,
)

__all__ = [
    "CheckRow",
    "EventRow",
    "EvidenceRow",
    "LedgerInUse",
    "LedgerLost",
    "LedgerWriter",
    "NightRow",
    "SnapshotRow",
    "TickRow",
    "hold_ledger",
]


def hold_ledger(path: Path) -> IO[bytes]:
    """The ledger's lock, which one controller holds for life; close it to let go.

    Raises:
        LedgerInUse: another process holds it.
        LedgerLost: it cannot be locked.
    """
    try:
        lock = open(f"{path.resolve()}.lock", "ab")  # noqa: SIM115 (held for life)
    except OSError as error:
        raise LedgerLost(f"The ledger {path} cannot be locked: {error.strerror}.") from None
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        lock.close()
        raise LedgerInUse(
            f"The ledger {path} is in use by another controller; stop that one first."
        ) from None
    except OSError as error:
        lock.close()
        raise LedgerLost(f"The ledger {path} cannot be locked: {error.strerror}.") from None
    return lock


class LedgerWriter:
    """Opens or creates the ledger at `path` and holds it for itself.

    Raises:
        LedgerInUse: another controller writes it.
        BadInput: the file is something else, or of a newer version.
        LedgerLost: it cannot be created or opened.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.gone: str | None = None
        """The sentence for files that were removed or replaced under this writer: nothing more is
        written."""
        self._unsure = False
        self._lock = hold_ledger(path)
        try:
            self._db = self._open(path)
        except BaseException:
            self._lock.close()
            raise
        self._files = OpenedFiles(path)

    @staticmethod
    def _open(path: Path) -> sqlite3.Connection:
        db = None
        try:
            OpenedFiles(path).set_aside_strays()
            db = connect(path, "rwc")
            if db.execute("SELECT count(*) FROM sqlite_schema").fetchone() == (0,):
                make(db)
                sync_folder(path)
            bring_up_to_date(db)
            check_is_ledger(db, path)
            db.execute("PRAGMA journal_mode=WAL")
            (page_bytes,) = db.execute("PRAGMA page_size").fetchone()
            db.execute(f"PRAGMA wal_autocheckpoint={WAL_BYTES // page_bytes}")
            db.execute(f"PRAGMA journal_size_limit={2 * WAL_BYTES}")
        except BaseException as error:
            if db is not None:
                db.close()
            if isinstance(error, sqlite3.OperationalError):
                raise LedgerLost(f"The ledger {path} cannot be opened: {error}.") from None
            if isinstance(error, sqlite3.Error):
                raise BadInput(f"{path} is not a ledger ({error}); name another file.") from None
            raise
        return db

    @contextmanager
    def transaction(self, durable: bool) -> Iterator[None]:
        """All writes inside happen together or not at all.

        Args:
            durable: on return it is on the disk, and so is all that was written before.

        Raises:
            LedgerLost: nothing of it was written; try again later, unless it is `gone`.
            sqlite3.Error, ValueError: a row is impossible; nothing of it was written.
        """
        self.gone = self.gone or self._files.changed()
        if self.gone is not None:
            raise LedgerLost(self.gone)
        try:
            self._db.execute(f"PRAGMA synchronous={'FULL' if durable else 'NORMAL'}")
            self._db.execute("BEGIN IMMEDIATE")
            yield
            self._db.execute("COMMIT")
        except WRONG_ROW:
            self._roll_back()
            raise
        except sqlite3.Error as error:
            self._unsure = True
            self._roll_back()
            raise LedgerLost(f"The ledger {self.path} cannot be written: {error}.") from None
        except BaseException:
            self._roll_back()
            raise
        if durable and self._unsure:
            self._unsure = not self._fold()

    def _roll_back(self) -> None:
        with suppress(sqlite3.Error):
            if self._db.in_transaction:
                self._db.execute("ROLLBACK")

    def _fold(self) -> bool:
        """Move the whole WAL into the file; whether it was done.

        After an error the WAL may have a hole on the disk where a sync failed, and all behind the
        hole would be lost with the power: so it is emptied at the next durable transaction.
        """
        with suppress(sqlite3.Error):
            (busy, _, _) = self._db.execute("PRAGMA wal_checkpoint(TRUNCATE)").fetchone()
            return bool(busy == 0)
        return False

    def _do(self, sql: str, values: tuple[Any, ...]) -> sqlite3.Cursor:
        if not self._db.in_transaction:
            raise RuntimeError("The ledger is written within `transaction` only.")
        return self._db.execute(sql, values)

    def _all(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        try:
            return self._db.execute(sql, values).fetchall()
        except sqlite3.Error as error:
            raise LedgerLost(f"The ledger {self.path} cannot be read: {error}.") from None

    def _first(self, sql: str, *values: Any) -> tuple[Any, ...] | None:
        return next(iter(self._all(sql, *values)), None)

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
        cursor = self._do(
            "INSERT INTO nights (oven, profile, settings, version, opening, started_s)"
            " VALUES (?, ?, ?, ?, ?, ?)",
            (oven, profile, settings, version, opening, started_s),
        )
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def date_night(self, night_id: int, started_s: float) -> None:
        """Correct the start time of a night that began before the board's clock was set."""
        self._do("UPDATE nights SET started_s = ? WHERE id = ?", (started_s, night_id))

    def end_night(self, night_id: int, ended_s: float, outcome: str, reason: str) -> None:
        """`outcome` is done, stopped, tripped or lost."""
        self._do(
            "UPDATE nights SET ended_s = ?, outcome = ?, reason = ? WHERE id = ?",
            (ended_s, outcome, reason, night_id),
        )

    def tick(self, row: TickRow) -> None:
        """One tick of a night."""
        self._do(f"INSERT INTO ticks ({', '.join(TickRow._fields)}) VALUES ({_marks(row)})", row)

    def event(self, row: EventRow) -> None:
        """Something that happened."""
        self._do(f"INSERT INTO events ({', '.join(EventRow._fields)}) VALUES ({_marks(row)})", row)

    def check(self, row: CheckRow) -> None:
        """A thermometer was corrected."""
        self._do(f"INSERT INTO checks ({', '.join(CheckRow._fields)}) VALUES ({_marks(row)})", row)

    def live(self, host_s: float, state: str) -> None:
        """Replace what is true now."""
        self._do(
            "INSERT OR REPLACE INTO live (id, host_s, state) VALUES (1, ?, ?)", (host_s, state)
        )

    def evidence(self, row: EvidenceRow) -> None:
        """Something was seen of a batch."""
        self._do("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", row.as_meta())

    def snapshot(
        self, night_id: int | None, seq: int, mono_s: float, wall_s: float, state: str
    ) -> None:
        """Replace what a controller would resume from."""
        self._do(
            "INSERT OR REPLACE INTO snapshot (id, night_id, seq, mono_s, wall_s, state)"
            " VALUES (1, ?, ?, ?, ?, ?)",
            (night_id, seq, mono_s, wall_s, state),
        )

    def answer(self, command_id: int, taken_s: float, outcome: str, message: str) -> None:
        """What became of a command."""
        self._do(
            "UPDATE inbox SET taken_s = ?, outcome = ?, message = ? WHERE id = ?",
            (taken_s, outcome, message, command_id),
        )

    # ---- on starting ------------------------------------------------------------------------

    def open_night(self) -> NightRow | None:
        """The latest night without an outcome: its controller ended before it did."""
        row = self._first(
            f"SELECT {', '.join(NightRow._fields)} FROM nights"
            " WHERE outcome IS NULL ORDER BY id DESC LIMIT 1"
        )
        return None if row is None else NightRow(*row)

    def last_snapshot(self) -> SnapshotRow | None:
        """What to resume from."""
        row = self._first(f"SELECT {', '.join(SnapshotRow._fields)} FROM snapshot")
        return None if row is None else SnapshotRow(*row)

    def carried_latch(self) -> Latch | None:
        """The latch as a backup carries it; None in a ledger that was never copied."""
        row = self._first("SELECT value FROM meta WHERE key = ?", LATCH)
        return None if row is None else from_json(row[0])

    def offsets_c(self) -> dict[str, float]:
        """The offset of every thermometer that was ever checked, by 1-Wire id, K."""
        rows = self._all(LATEST_OFFSETS)
        return {str(sensor_id): float(offset_c) for sensor_id, offset_c in rows}

    def end_broken_off(self, but: int | None, outcome: str, reason: str) -> None:
        """Close every night that has no outcome, but one, with its last tick."""
        self._do(
            "UPDATE nights SET outcome = ?, reason = ?, ended_s = coalesce("
            "(SELECT wall_s FROM ticks WHERE night_id = nights.id ORDER BY seq DESC LIMIT 1),"
            " started_s) WHERE outcome IS NULL AND id IS NOT ?",
            (outcome, reason, but),
        )

    def last_seq(self, night_id: int) -> int:
        """The last recorded tick of a night, -1 if there is none."""
        row = self._first("SELECT max(seq) FROM ticks WHERE night_id = ?", night_id)
        return -1 if row is None or row[0] is None else int(row[0])

    def close(self) -> None:
        """Fold the WAL back into the file, where that is still ours, and let go of both."""
        if self._files.ours:
            self._fold()
        self._db.close()
        if self.gone is not None:
            self._files.set_aside()
        self._lock.close()


def _marks(row: tuple[Any, ...]) -> str:
    return ", ".join("?" * len(row))
