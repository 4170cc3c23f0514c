"""A copy of a ledger while it is written, and whether a ledger is sound."""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Callable
from contextlib import closing, suppress
from pathlib import Path

from ..errors import BadInput
from .checksum import intact
from .file import LedgerLost, open_ledger, sync_folder
from .latch_file import MISSING, Latch, as_json, read_latch, state_folder
from .photo import FIELD, keep_photo, photo_folder, photo_of
from .reader import LedgerReader
from .rows import LATCH


def backup(source: Path, target: Path) -> int:
    """Copy a ledger, a controller writing it or not; the copy is checked, then takes its place.

    By SQLite's online backup: what is copied is the ledger as it was at one moment. The copy is
    written beside `target`, checked, synced, and only then renamed over what was there before. The
    nights' photos go into the folder beside it, as they lie beside the ledger.

    Returns:
        Its size, bytes.

    Raises:
        BadInput: no such ledger, or the target cannot be written or is the ledger itself.
        LedgerLost: the ledger cannot be read now, or the copy is not sound; the old one is kept.
    """
    if target.is_dir():
        raise BadInput(f"{target} is a folder; name the file of the copy.")
    if not target.parent.is_dir():
        raise BadInput(f"{target} cannot be written: there is no folder {target.parent}.")
    if target.exists() and target.samefile(source):
        raise BadInput(f"{target} is the ledger itself; name another file.")
    beside = target.with_name(f".{target.name}.part")
    try:
        with closing(open_ledger(source, "ro")) as live:
            _copy(live, beside, read_latch(state_folder(source)))
        faults = unsound(beside, ticks=False)
        if faults:
            raise LedgerLost(f"The copy is not sound: {faults[0]} The old copy was kept.")
        with open(beside, "rb+") as copied:
            os.fsync(copied.fileno())
        # Before the copy takes its place: its notes never name a photo that is not beside it.
        named = _photos(beside)
        for sha256 in named:
            data = photo_of(source, sha256)
            if data is not None:
                keep_photo(target, data)
        os.replace(beside, target)
        sync_folder(target)
        for old in photo_folder(target).glob("*.jpg"):
            if old.stem not in named:
                old.unlink()
    except OSError as error:
        raise BadInput(f"{target} cannot be written: {error.strerror}.") from None
    except sqlite3.Error as error:
        raise LedgerLost(f"The ledger {source} cannot be copied: {error}.") from None
    finally:
        for end in ("", "-wal", "-shm", "-journal"):
            with suppress(OSError):
                os.unlink(f"{beside}{end}")
    return target.stat().st_size


def _photos(path: Path) -> set[str]:
    """SHA-256 of every photo that a ledger's notes name."""
    with closing(open_ledger(path, "ro")) as db:
        rows = db.execute("SELECT DISTINCT value FROM notes WHERE field = ?", (FIELD,)).fetchall()
    return {row[0] for row in rows}


def _copy(live: sqlite3.Connection, beside: Path, latch: Latch) -> None:
    """The copy carries the trip latch, which is no part of the ledger."""
    with suppress(FileNotFoundError):
        beside.unlink()
    with closing(sqlite3.connect(beside)) as copy:
        live.backup(copy)
        if latch.state != MISSING:
            told = (LATCH, as_json(latch))
            copy.execute("INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)", told)
            copy.commit()
        # One file, to be carried away: no WAL beside it.
        copy.execute("PRAGMA journal_mode=DELETE")


def unsound(
    path: Path, ticks: bool = True, on_night: Callable[[int], None] | None = None
) -> list[str]:
    """What is wrong with a ledger, a sentence each; empty if it is sound.

    Args:
        ticks: look at every tick too: its checksum, its JSON, and that none is missing.
        on_night: told each night before its ticks are looked at.

    Raises:
        BadInput: there is no such file, or it is something else.
        LedgerLost: it cannot be read now.
    """
    faults: list[str] = []
    with closing(open_ledger(path, "ro")) as db:
        try:
            for (told,) in db.execute("PRAGMA integrity_check(20)").fetchall():
                if told != "ok":
                    faults.append(f"The file is damaged: {told}.")
            if faults:
                return faults
            for table, _, parent, _ in db.execute("PRAGMA foreign_key_check").fetchmany(20):
                faults.append(f"A row of {table} belongs to a row of {parent} that is not there.")
            found = db.execute(
                "SELECT id FROM nights WHERE NOT (json_valid(profile) AND json_valid(settings)"
                " AND json_valid(opening))"
            ).fetchall()
            faults += [f"Night {i}: profile, settings or opening is not JSON." for (i,) in found]
            bad = {i for (i,) in found}
            nights = [i for (i,) in db.execute("SELECT id FROM nights ORDER BY id").fetchall()]
        except sqlite3.DatabaseError as error:
            return [*faults, f"The file is damaged: {error}."]
    if ticks:
        reader = LedgerReader(path)
        for night_id in nights:
            if on_night is not None:
                on_night(night_id)
            if night_id not in bad:
                faults += unsound_night(reader, night_id)
    return faults


def unsound_night(reader: LedgerReader, night_id: int) -> list[str]:
    """What is wrong with the ticks of one night, a sentence each; empty if they are sound.

    Every tick's checksum, its JSON, and that none is missing.

    Raises:
        LedgerLost: it cannot be read now.
    """
    faults: list[str] = []
    expected, missing = 0, 0
    whole = reader.thinned(night_id) is None
    for row in reader.ticks(night_id):
        if whole and row.seq != expected:
            missing += row.seq - expected
        expected = row.seq + 1
        if not intact(row.mono_s, row.wall_s, row.inputs):
            faults.append(f"Night {night_id}, tick {row.seq}: its inputs are not what was written.")
        try:
            for text in (row.inputs, row.believed, row.decision):
                reader.parsed(text)
        except LedgerLost:
            faults.append(f"Night {night_id}, tick {row.seq} is not JSON.")
        if len(faults) >= 20:
            break
    if missing:
        faults.append(f"Night {night_id}: {missing} ticks are missing.")
    return faults
