"""The ledger as a file: what makes it one, how it is made and connected to."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from importlib import resources
from pathlib import Path

from ..errors import BadInput, NightcureError

#: "ncur" in ASCII: what makes a SQLite file a ledger.
APPLICATION_ID = 0x6E637572
SCHEMA_VERSION = 2
#: Bytes. A tick changes two or three pages, each written whole: smaller pages wear the flash less.
PAGE_BYTES = 2048
#: Longest wait (s) for another process's write (the page posting a command).
BUSY_S = 2.0


class LedgerLost(NightcureError):
    """The ledger cannot be read or written just now; what was to be written was not."""


class LedgerInUse(NightcureError):
    """Another controller holds this ledger."""


def connect(path: Path, mode: str) -> sqlite3.Connection:
    """A connection in autocommit mode that any thread may use, one at a time.

    Args:
        path: the ledger.
        mode: `ro`, `rw` (the file must be there) or `rwc` (it is made if it is not).
    """
    connection = sqlite3.connect(
        f"{path.absolute().as_uri()}?mode={mode}",
        uri=True,
        timeout=BUSY_S,
        isolation_level=None,
        check_same_thread=False,
    )
    connection.execute("PRAGMA foreign_keys=ON")
    return connection


def check_is_ledger(connection: sqlite3.Connection, path: Path) -> None:
    """Raise BadInput, one sentence, unless `path` holds a ledger of a version known here.

    A ledger that cannot be read now, or is just being made: LedgerLost.
    """
    try:
        (mark,) = connection.execute("PRAGMA application_id").fetchone()
        (version,) = connection.execute("PRAGMA user_version").fetchone()
        (tables,) = connection.execute("SELECT count(*) FROM sqlite_schema").fetchone()
    except sqlite3.OperationalError as error:
        raise LedgerLost(f"The ledger {path} cannot be read: {error}.") from None
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
    if version < SCHEMA_VERSION:
        raise LedgerLost(
            f"The ledger {path} is of an older nightcure (schema {version}, now {SCHEMA_VERSION}); "
            f"start the controller once, which brings it up to date."
        )


def open_ledger(path: Path, mode: str) -> sqlite3.Connection:
    """Connect to a ledger that is there: `mode` is `ro` or `rw`. Raises BadInput, LedgerLost."""
    if not path.exists():
        raise BadInput(f"{path}: there is no such ledger; the controller makes it when it starts.")
    try:
        db = connect(path, mode)
    except sqlite3.Error as error:
        raise LedgerLost(f"The ledger {path} cannot be opened: {error}.") from None
    try:
        check_is_ledger(db, path)
    except NightcureError:
        db.close()
        raise
    return db


@contextmanager
def transaction(db: sqlite3.Connection, path: Path) -> Iterator[sqlite3.Connection]:
    """All that is written inside, or nothing. Raises LedgerLost where the file refuses."""
    try:
        db.execute("BEGIN IMMEDIATE")
        yield db
        db.execute("COMMIT")
    except BaseException as error:
        if db.in_transaction:
            db.execute("ROLLBACK")
        if isinstance(error, sqlite3.Error):
            raise LedgerLost(f"The ledger {path} cannot be written: {error}.") from None
        raise


def make(db: sqlite3.Connection) -> None:
    """The tables, all or none."""
    db.execute(f"PRAGMA page_size={PAGE_BYTES}")
    db.execute("PRAGMA journal_mode=WAL")
    db.execute("PRAGMA synchronous=FULL")
    schema = resources.files(__package__).joinpath("schema.sql").read_text("utf-8")
    db.executescript(
        f"BEGIN; {schema} PRAGMA application_id={APPLICATION_ID}; "
        f"PRAGMA user_version={SCHEMA_VERSION}; COMMIT;"
    )


def bring_up_to_date(db: sqlite3.Connection) -> None:
    """Take an older ledger to the present schema, step by step, each all or nothing.

    What is no ledger, or newer, is left alone: `check_is_ledger` has the words for it.
    """
    (mark,) = db.execute("PRAGMA application_id").fetchone()
    (version,) = db.execute("PRAGMA user_version").fetchone()
    if mark != APPLICATION_ID:
        return
    steps = resources.files(__package__).joinpath("migrations")
    for number in range(version + 1, SCHEMA_VERSION + 1):
        step = steps.joinpath(f"{number}.sql").read_text("utf-8")
        db.execute("PRAGMA synchronous=FULL")
        try:
            db.executescript(f"BEGIN IMMEDIATE; {step} PRAGMA user_version={number}; COMMIT;")
        except BaseException:
            if db.in_transaction:
                db.execute("ROLLBACK")
            raise


def sync_folder(path: Path) -> None:
    """Make the new file's name itself survive a power cut."""
    with suppress(OSError):
        fd = os.open(path.absolute().parent, os.O_RDONLY)
        try:
            os.fsync(fd)
        finally:
            os.close(fd)
