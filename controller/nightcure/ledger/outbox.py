"""What is to be told, and to whom it has been: the notifier's own file, beside the ledger.

A message has a number, and a key that the same happening has whenever it is found again; so it is
put in once. Each service is handed the messages in their order, the next only when the one before
is taken: at least once, and with the number by which a reader drops a second copy.
"""

from __future__ import annotations

import os
import sqlite3
import threading
from collections.abc import Iterable
from contextlib import suppress
from pathlib import Path
from typing import Any, NamedTuple

#: What is told of nothing any more after so long, s.
KEPT_S = 30 * 86400.0
#: "nout" in ASCII.
OUTBOX_ID = 0x6E6F7574
SCHEMA = """
CREATE TABLE IF NOT EXISTS messages (
    id    INTEGER PRIMARY KEY AUTOINCREMENT,
    key   TEXT NOT NULL UNIQUE,
    kind  TEXT NOT NULL,
    at_s  REAL NOT NULL,                    -- when it happened, wall
    due_s REAL,                             -- not to be told to people before, host; NULL: never
    title TEXT NOT NULL,
    text  TEXT NOT NULL
);
CREATE TABLE IF NOT EXISTS deliveries (
    message_id INTEGER NOT NULL REFERENCES messages (id) ON DELETE CASCADE,
    service    TEXT NOT NULL,
    sent_s     REAL NOT NULL,
    PRIMARY KEY (service, message_id)
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS services (
    name      TEXT PRIMARY KEY,
    since_id  INTEGER NOT NULL,             -- messages up to it were before the service
    sent_s    REAL,
    failing_s REAL,                         -- since when; NULL: it works, or was not tried
    sentence  TEXT
) WITHOUT ROWID;
CREATE TABLE IF NOT EXISTS places (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) WITHOUT ROWID;
"""


class Message(NamedTuple):
    """Something to tell."""

    key: str
    kind: str
    at_s: float
    due_s: float | None
    title: str
    text: str
    id: int = 0


class ServiceState(NamedTuple):
    """How it stands with a service."""

    name: str
    waiting: int
    """Messages that are due and were not taken yet."""
    sent_s: float | None
    failing_s: float | None
    sentence: str | None


def outbox_path(ledger: Path) -> Path:
    """Where the outbox of a ledger's oven is."""
    return ledger.with_name(ledger.name + ".outbox")


class Outbox:
    """For several threads. Where its file cannot be written (a full disk) it goes on in memory:
    nothing is left untold for it, and after a restart a message may come once more.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._lock = threading.RLock()
        try:
            self._db = self._opened()
        except sqlite3.DatabaseError:
            for end in ("", "-wal", "-shm"):
                with suppress(OSError):
                    os.replace(f"{path}{end}", f"{path}.spoiled{end}")
            self._db = self._opened()

    def _opened(self) -> sqlite3.Connection:
        with suppress(FileExistsError):
            os.close(os.open(self.path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o640))
        db = _connect(str(self.path))
        db.execute("PRAGMA journal_mode=WAL")
        db.execute("PRAGMA synchronous=FULL")
        db.executescript(SCHEMA)
        db.execute(f"PRAGMA application_id={OUTBOX_ID}")
        return db

    def _change(self, *statements: tuple[str, tuple[Any, ...]]) -> None:
        """All or nothing; in memory from now on where the disk refuses."""
        with self._lock:
            try:
                self._all(statements)
            except sqlite3.OperationalError:
                if self.in_memory:
                    raise
                self._to_memory()
                self._all(statements)

    def _all(self, statements: Iterable[tuple[str, tuple[Any, ...]]]) -> None:
        with self._db:
            self._db.execute("BEGIN")
            for sql, values in statements:
                self._db.execute(sql, values)

    def _to_memory(self) -> None:
        memory = _connect(":memory:")
        memory.executescript(SCHEMA)
        with suppress(sqlite3.Error):
            self._db.backup(memory)
        with suppress(sqlite3.Error):
            self._db.close()
        self._db = memory

    @property
    def in_memory(self) -> bool:
        """Whether it could not be written and nothing is durable."""
        return not self._db.execute("PRAGMA database_list").fetchone()[2]

    def _rows(self, sql: str, *values: Any) -> list[tuple[Any, ...]]:
        with self._lock:
            return self._db.execute(sql, values).fetchall()

    # ---- what is to be told ------------------------------------------------------------------

    def put(self, messages: Iterable[Message], **places: str) -> None:
        """Put in what is not there yet, and remember how far the ledger was read, in one write."""
        new = [m for m in messages if not self._rows("SELECT 1 FROM messages WHERE key=?", m.key)]
        kept = [(n, v) for n, v in places.items() if self.place(n) != v]
        if not new and not kept:
            return
        sql = (
            "INSERT OR IGNORE INTO messages (key, kind, at_s, due_s, title, text)"
            " VALUES (?, ?, ?, ?, ?, ?)"
        )
        self._change(
            *((sql, tuple(m[:6])) for m in new),
            *(("INSERT OR REPLACE INTO places VALUES (?, ?)", pair) for pair in kept),
        )

    def place(self, name: str) -> str | None:
        """How far something was read, as it was kept under this name; None if it never was."""
        rows = self._rows("SELECT value FROM places WHERE name = ?", name)
        return rows[0][0] if rows else None

    def last(self, count: int = 20) -> list[Message]:
        """The newest messages, newest first."""
        return [
            Message(*row)
            for row in self._rows(
                "SELECT key, kind, at_s, due_s, title, text, id FROM messages"
                " ORDER BY id DESC LIMIT ?",
                count,
            )
        ]

    def forget_before(self, at_s: float) -> None:
        """Delete messages that were made more than `KEPT_S` before `at_s`."""
        # What may still stand would be found again, and told as if it were new.
        sql = "DELETE FROM messages WHERE at_s < ? AND kind NOT IN ('trip', 'no_answer')"
        self._change((sql, (at_s - KEPT_S,)))

    # ---- a service -----------------------------------------------------------------------------

    def join(self, service: str) -> None:
        """A service is there from now on; what was before it is not for it."""
        sql = (
            "INSERT OR IGNORE INTO services (name, since_id)"
            " SELECT ?, coalesce(max(id), 0) FROM messages"
        )
        if not self._rows("SELECT 1 FROM services WHERE name = ?", service):
            self._change((sql, (service,)))

    def part(self, keep: Iterable[str]) -> None:
        """Services that are none of `keep` are there no more."""
        gone = {row[0] for row in self._rows("SELECT name FROM services")} - set(keep)
        if gone:
            self._change(
                *(
                    (f"DELETE FROM {table} WHERE {column} = ?", (name,))
                    for name in gone
                    for table, column in (("services", "name"), ("deliveries", "service"))
                )
            )

    def next(self, service: str, now_s: float | None) -> Message | None:
        """The oldest message that is due and that the service has not taken.

        `now_s`: None for a machine, which hears everything at once.
        """
        due = "" if now_s is None else " AND due_s <= ?"
        rows = self._rows(
            "SELECT key, kind, at_s, due_s, title, text, m.id FROM messages m JOIN services s"
            " ON s.name = ? AND m.id > s.since_id WHERE NOT EXISTS (SELECT 1 FROM deliveries d"
            f" WHERE d.service = s.name AND d.message_id = m.id){due} ORDER BY m.id LIMIT 1",
            *((service,) if now_s is None else (service, now_s)),
        )
        return Message(*rows[0]) if rows else None

    def sent(self, service: str, message_id: int, now_s: float) -> None:
        """The service has taken it."""
        self._change(
            ("INSERT OR REPLACE INTO deliveries VALUES (?, ?, ?)", (message_id, service, now_s)),
            (
                "UPDATE services SET sent_s=?, failing_s=NULL, sentence=NULL WHERE name=?",
                (now_s, service),
            ),
        )

    def failed(self, service: str, sentence: str, now_s: float) -> None:
        """The service has not taken it, or does not answer; written when that is news."""
        sql = "SELECT 1 FROM services WHERE name=? AND sentence=? AND failing_s IS NOT NULL"
        with suppress(sqlite3.Error):  # it is told on the page only
            if not self._rows(sql, service, sentence):
                self._change(
                    (
                        "UPDATE services SET failing_s=coalesce(failing_s, ?), sentence=?"
                        " WHERE name=?",
                        (now_s, sentence, service),
                    )
                )

    def works(self, service: str) -> None:
        """The service is well again."""
        sql = "SELECT 1 FROM services WHERE name=? AND failing_s IS NOT NULL"
        with suppress(sqlite3.Error):
            if self._rows(sql, service):
                self._change(
                    ("UPDATE services SET failing_s=NULL, sentence=NULL WHERE name=?", (service,))
                )

    def services(self, now_s: float) -> list[ServiceState]:
        """How it stands with each."""
        with self._lock:
            return _services(self._db, now_s)

    def close(self) -> None:
        """Let go of the file."""
        with self._lock:
            self._db.close()


def _connect(place: str) -> sqlite3.Connection:
    db = sqlite3.connect(place, timeout=2.0, isolation_level=None, check_same_thread=False)
    db.execute("PRAGMA foreign_keys=ON")
    return db


def _services(db: sqlite3.Connection, now_s: float) -> list[ServiceState]:
    rows = db.execute(
        "SELECT s.name, (SELECT count(*) FROM messages m WHERE m.id > s.since_id AND m.due_s <= ?"
        " AND NOT EXISTS (SELECT 1 FROM deliveries d WHERE d.service = s.name"
        " AND d.message_id = m.id)), s.sent_s, s.failing_s, s.sentence FROM services s"
        " ORDER BY s.name",
        (now_s,),
    ).fetchall()
    return [ServiceState(*row) for row in rows]


class OutboxState(NamedTuple):
    """What a reader is told of an outbox."""

    alive_s: float
    """When the notifier was seen last, by the machine's clock."""
    services: list[ServiceState]
    messages: list[tuple[int, str, float, str, str]]
    """The last ones, newest first: number, kind, when (wall, s), title, text."""


def read_outbox(path: Path, now_s: float, count: int = 20) -> OutboxState | None:
    """How it stands with the notifier; None where there is none, or its file cannot be read."""
    try:
        alive_s = path.stat().st_mtime
        db = sqlite3.connect(f"{path.absolute().as_uri()}?mode=ro", uri=True, timeout=1.0)
    except (OSError, sqlite3.Error):
        return None
    try:
        messages = db.execute(
            "SELECT id, kind, at_s, title, text FROM messages ORDER BY id DESC LIMIT ?", (count,)
        ).fetchall()
        return OutboxState(alive_s, _services(db, now_s), messages)
    except sqlite3.Error:
        return None
    finally:
        db.close()
