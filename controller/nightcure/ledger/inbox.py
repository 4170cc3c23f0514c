"""The inbox: commands as rows. The page puts them in, the controller takes each once."""

from __future__ import annotations

import json
import sqlite3
from pathlib import Path
from typing import Any, NamedTuple

from .file import LedgerLost
from .opened_files import FollowedLedger

#: A command that was not taken within this is refused, never run late.
TTL_S = 10.0


class InboxRow(NamedTuple):
    """A command that waits."""

    id: int
    word: str
    args: dict[str, Any]
    who: str
    expired: bool
    broken: bool = False
    """Its arguments are not a JSON object: nobody knows what was meant."""


class Inbox:
    """One side of the inbox; the page and the controller each have their own. Not for sharing
    between threads at the same moment.

    A posted command is seen by the controller at once but not synced to the disk: it becomes
    durable with its answer, and one that a power cut takes away would have expired anyway.

    Raises:
        BadInput: there is no such ledger, or it is something else.
        LedgerLost: it cannot be opened now.
    """

    def __init__(self, path: Path, follows: bool = True) -> None:
        """`follows`: another ledger that takes this one's place is opened; not the controller's."""
        self.path = path
        # Folding the WAL into the file is the writer's work: it must not delay a stop.
        pragmas = ("synchronous=NORMAL", "wal_autocheckpoint=0")
        self._ledger = FollowedLedger(path, "rw", *pragmas, follows=follows)
        self._taken = 0

    # ---- the page's side ----------------------------------------------------------------------

    def put(
        self, word: str, args: dict[str, Any], who: str, host_s: float, ttl_s: float = TTL_S
    ) -> int:
        """Ask for something. Returns the row's id; raises LedgerLost."""
        try:
            cursor = self._ledger.db.execute(
                "INSERT INTO inbox (word, args, who, asked_s, expires_s) VALUES (?, ?, ?, ?, ?)",
                (word, json.dumps(args), who, host_s, host_s + ttl_s),
            )
        except sqlite3.Error as error:
            raise LedgerLost(f"The command could not be written down: {error}.") from None
        assert cursor.lastrowid is not None
        return cursor.lastrowid

    def outcome(self, command_id: int) -> tuple[str, str] | None:
        """What became of it (done, refused, expired; a sentence), None while it waits."""
        try:
            row = self._ledger.db.execute(
                "SELECT outcome, message FROM inbox WHERE id = ? AND outcome IS NOT NULL",
                (command_id,),
            ).fetchone()
        except sqlite3.Error as error:
            raise LedgerLost(f"The inbox cannot be read: {error}.") from None
        return None if row is None else (row[0], row[1])

    # ---- the controller's side ----------------------------------------------------------------

    def anything_waiting(self) -> bool:
        """Whether `waiting` would give something; cheap enough to ask several times a second."""
        try:
            row = self._ledger.db.execute(
                "SELECT 1 FROM inbox WHERE taken_s IS NULL AND id > ? LIMIT 1", (self._taken,)
            ).fetchone()
        except sqlite3.Error as error:
            raise LedgerLost(f"The inbox cannot be read: {error}.") from None
        return row is not None

    def waiting(self, host_s: float) -> list[InboxRow]:
        """New commands, each handed out once, `stop` first. Raises LedgerLost.

        A command has expired when its time is over, and also when it is dated further ahead than
        it may live: then the machine's clock was set back since, and nobody knows how old it is.
        A `stop` never expires: whoever pressed it while the controller was down wants no heat.
        """
        try:
            rows = self._ledger.db.execute(
                "SELECT id, word, args, who, asked_s, expires_s FROM inbox"
                " WHERE taken_s IS NULL AND id > ? ORDER BY word <> 'stop', id",
                (self._taken,),
            ).fetchall()
        except sqlite3.Error as error:
            raise LedgerLost(f"The inbox cannot be read: {error}.") from None
        found: list[InboxRow] = []
        for number, word, args_text, who, asked_s, expires_s in rows:
            expired = word != "stop" and not 2.0 * asked_s - expires_s <= host_s <= expires_s
            args = _object(args_text)
            found.append(InboxRow(number, word, args or {}, who, expired, args is None))
        if found:
            self._taken = max(row.id for row in found)
        return found

    def close(self) -> None:
        """Let go of the file."""
        self._ledger.close()


def _object(text: object) -> dict[str, Any] | None:
    """The JSON object in `text`, None if it is anything else, or holds what no ledger can keep.

    Python's JSON reads NaN, Infinity, 1e400 and half a surrogate pair; they are no JSON (RFC 8259)
    or no Unicode, and a tick with one of them could not be recorded.
    """
    try:
        value = json.loads(text) if isinstance(text, str) else None
        json.dumps(value, allow_nan=False, ensure_ascii=False).encode()
    except (ValueError, RecursionError):
        return None
    return value if isinstance(value, dict) else None
