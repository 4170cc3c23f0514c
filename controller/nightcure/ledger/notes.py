"""What people write into the ledger by hand: profiles, labels, notes, cautions they have read.

The controller writes all the rest. This holds no lock for longer than a row takes and folds
nothing, so that a controller that writes the same ledger does not notice it. It never touches
ticks, events or a night's own row but its label.
"""

from __future__ import annotations

import json
import re
import sqlite3
import unicodedata
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ..errors import BadInput
from .file import transaction
from .opened_files import FollowedLedger
from .rows import CARD, NEXT_NOTES, EvidenceRow

#: What people may be asked for, and how it is called on paper; other fields may be added.
FIELDS: dict[str, str] = {
    "mould_number": "Mould number",
    "part_number": "Part number",
    "made_by": "Made by",
    "resin_batch": "Resin batch",
    "catalyst_weighed_g": "Catalyst weighed, g",
    "remarks": "Remarks",
}
#: What a part felt like in the morning, by its place in the profile: `touch_1`, `touch_2` ...
FELT = ("tacky", "leathery", "hard")
#: What ten double rubs with an acetone cloth did to it: `acetone_1` ...
RUBBED = ("clean", "softens")
#: Fields that are numbers: what they may be, and their unit.
NUMBERS: dict[str, tuple[float, float, str]] = {
    "catalyst_weighed_g": (0.0, 10_000.0, " g"),
    "barcol": (0.0, 100.0, ""),
}
LONGEST_LABEL, LONGEST_NOTE, MOST_FIELDS = 80, 2000, 40


def checked_field(field: str) -> str:
    """A field's name, if it may be one. Raises BadInput."""
    if not re.fullmatch(r"[a-z][a-z0-9_]{0,39}", field):
        raise BadInput(
            f"'{field}' cannot be a field; use small letters, digits and _, such as "
            f"{', '.join(FIELDS)}."
        )
    return field


def checked_note(field: str, value: str) -> str:
    """A note's text, if it may be one. Raises BadInput."""
    text = value.strip()
    if len(text) > LONGEST_NOTE:
        raise BadInput(f"{field} has {len(text)} characters; {LONGEST_NOTE} are the most.")
    if not _printable(text.replace("\n", "").replace("\t", "")):
        raise BadInput(f"{field} has characters in it that cannot be printed.")
    for of, words in (("touch", FELT), ("acetone", RUBBED)):
        if text and re.sub(r"_\d+$", "", field) == of and text not in words:
            raise BadInput(f"{field} is '{text[:40]}'; it should be {', '.join(words)}.")
    return _number(field, text) if text else text


def _number(field: str, text: str) -> str:
    """A number's text as it was written, where the field is one. Raises BadInput."""
    least, most, unit = NUMBERS.get(re.sub(r"_\d+$", "", field), (0.0, 0.0, ""))
    if not most:
        return text
    found = re.fullmatch(r"(\d+(?:[.,]\d+)?) ?([a-z]*)", text)
    value = float(found[1].replace(",", ".")) if found else -1.0
    if found is None or found[2] not in ("", unit.strip()) or not least <= value <= most:
        raise BadInput(
            f"{field} is '{text[:40]}'; it should be a number, {least:g} to {most:g}{unit}."
        )
    return text


def checked_label(text: str) -> str:
    """A night's label as it is kept, if it may be one. Raises BadInput."""
    text = text.strip()
    label = " ".join(text.split())
    if len(label) > LONGEST_LABEL or not _printable(text):
        raise BadInput(f"A label is one line of at most {LONGEST_LABEL} characters.")
    if label == "last" or label.isdecimal():
        raise BadInput(f"'{label}' cannot be a label: that is how a night without one is named.")
    return label


def _printable(line: str) -> bool:
    """Whether it is one line without control characters or half a surrogate pair."""
    return not any(unicodedata.category(c) in ("Cc", "Cs", "Zl", "Zp") for c in line)


class NotesWriter:
    """One process's writer; not for sharing between threads at the same moment.

    Every method writes durably or not at all. What a label, a field and a note may be is decided
    here, for the page and the command line alike.

    Raises:
        BadInput: there is no such ledger, or it is something else.
        LedgerLost: it cannot be written now (every method, too).
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        # Folding the WAL into the file is the controller's work: it must not wait for this.
        self._ledger = FollowedLedger(path, "rw", "synchronous=FULL", "wal_autocheckpoint=0")

    def __enter__(self) -> NotesWriter:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[sqlite3.Connection]:
        """One transaction, all or nothing. Raises LedgerLost."""
        self._db = self._ledger.db
        with transaction(self._db, self.path) as db:
            yield db

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

    def save_card(self, name: str, card: str, replace: bool) -> bool:
        """Keep a resin card (JSON); False if the name is taken and it may not `replace` it."""
        verb = "INSERT OR REPLACE" if replace else "INSERT OR IGNORE"
        with self.writing():
            return self._changed(
                f"{verb} INTO meta (key, value) VALUES (?, ?)", (f"{CARD}{name}", card)
            )

    def remove_card(self, name: str) -> bool:
        """Forget a resin card; False if there is none of this name."""
        with self.writing():
            return self._changed("DELETE FROM meta WHERE key = ?", (f"{CARD}{name}",))

    def accept(self, what: str, who: str, host_s: float) -> None:
        """Somebody confirmed something for this oven; the first time counts."""
        with self.writing():
            self._changed(
                "INSERT OR IGNORE INTO accepted (what, who, host_s) VALUES (?, ?, ?)",
                (what, who, host_s),
            )

    def label(self, night_id: int, text: str) -> None:
        """Name a night; an empty text takes its label away.

        Raises:
            BadInput: there is no such night, or the text cannot be a label.
        """
        label = checked_label(text)
        with self.writing():
            if not self._changed("UPDATE nights SET label = ? WHERE id = ?", (label, night_id)):
                raise BadInput(f"{self.path} holds no night {night_id}.")

    def note(self, night_id: int, notes: Mapping[str, str], who: str, host_s: float) -> None:
        """Note fields of a night; an empty text takes a field away. Raises BadInput."""
        checked = {checked_field(f): checked_note(f, v) for f, v in notes.items()}
        with self.writing() as db:
            if db.execute("SELECT 1 FROM nights WHERE id = ?", (night_id,)).fetchone() is None:
                raise BadInput(f"{self.path} holds no night {night_id}.")
            self._adopt(db)
            sql = "SELECT field FROM notes WHERE night_id = ?"
            fields = {row[0] for row in db.execute(sql, (night_id,))} | checked.keys()
            fields -= {field for field, value in checked.items() if not value}
            if len(fields) > MOST_FIELDS:
                raise BadInput(
                    f"Night {night_id} would have {len(fields)} fields; {MOST_FIELDS} at most."
                )
            for field, value in checked.items():
                if value:
                    db.execute(
                        "INSERT OR REPLACE INTO notes (night_id, field, value, who, host_s)"
                        " VALUES (?, ?, ?, ?, ?)",
                        (night_id, field, value, who, host_s),
                    )
                else:
                    db.execute(
                        "DELETE FROM notes WHERE night_id = ? AND field = ?", (night_id, field)
                    )

    def note_next(self, notes: Mapping[str, str], who: str, host_s: float) -> None:
        """Keep notes for the next night, which has not started yet. Raises BadInput."""
        checked = {checked_field(f): checked_note(f, v) for f, v in notes.items()}
        with self.writing() as db:
            self._adopt(db)
            row = db.execute("SELECT value FROM meta WHERE key = ?", (NEXT_NOTES,)).fetchone()
            before = json.loads(row[0])["notes"] if row else {}
            merged = {f: v for f, v in {**before, **checked}.items() if v}
            if len(merged) > MOST_FIELDS:
                raise BadInput(f"That would be {len(merged)} fields; {MOST_FIELDS} at most.")
            text = json.dumps({"notes": merged, "who": who, "host_s": host_s})
            db.execute("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", (NEXT_NOTES, text))

    @staticmethod
    def _adopt(db: sqlite3.Connection) -> None:
        """Give what was noted for the next night to it, once it has started."""
        row = db.execute("SELECT value FROM meta WHERE key = ?", (NEXT_NOTES,)).fetchone()
        if row is None:
            return
        waiting = json.loads(row[0])
        night = db.execute(
            "SELECT id FROM nights WHERE started_s >= ? ORDER BY id LIMIT 1", (waiting["host_s"],)
        ).fetchone()
        if night is None:
            return
        for field, value in waiting["notes"].items():
            db.execute(
                "INSERT OR IGNORE INTO notes (night_id, field, value, who, host_s)"
                " VALUES (?, ?, ?, ?, ?)",
                (night[0], field, value, waiting["who"], waiting["host_s"]),
            )
        db.execute("DELETE FROM meta WHERE key = ?", (NEXT_NOTES,))

    def evidence(self, row: EvidenceRow) -> None:
        """Keep what somebody says of a batch of resin."""
        with self.writing():
            self._changed("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", row.as_meta())

    def refit(self, night_id: int, found: Mapping[str, Any], version: str, host_s: float) -> None:
        """Keep the oven as refitted from a night."""
        text = json.dumps(dict(found), separators=(",", ":"), allow_nan=False)
        with self.writing() as db:
            db.execute(
                "INSERT OR REPLACE INTO refits (night_id, fitted_s, version, found)"
                " VALUES (?, ?, ?, ?)",
                (night_id, host_s, version, text),
            )

    def _changed(self, sql: str, values: tuple[str | float, ...]) -> bool:
        return self._db.execute(sql, values).rowcount > 0

    def close(self) -> None:
        """Let go of the file."""
        self._ledger.close()
