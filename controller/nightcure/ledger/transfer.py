"""Nights out of a ledger and into one."""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import suppress
from pathlib import Path

from ..errors import BadInput
from .export import NightExport, changed, csv_lines, export_of, read_zip, write_zip
from .maintenance import IdleLedger
from .night_hash import night_hash
from .photo import FIELD, keep_photo
from .reader import LedgerReader
from .rows import THINNED, EventRow, NightRow, TickRow
from .writer import LedgerWriter

ENDS = (".csv", ".zip")


def export_night(reader: LedgerReader, night_id: int, file: Path) -> str:
    """Write a night: .zip to be imported again, .csv for people alone.

    Returns:
        The night's hash.

    Raises:
        BadInput: no such night, an unknown ending, a file that cannot be written.
    """
    end = file.suffix.lower()
    if end not in ENDS:
        raise BadInput(f"{file} must end in .csv or .zip.")
    beside = file.with_name(f".{file.name}.part")
    exported = export_of(reader, night_id)
    try:
        if end == ".csv":
            with beside.open("w", encoding="utf-8", newline="") as out:
                out.writelines(csv_lines(reader, night_id))
        else:
            write_zip(exported, beside)
        os.replace(beside, file)
    except OSError as error:
        raise BadInput(f"{file} cannot be written: {error.strerror}.") from None
    finally:
        with suppress(OSError):
            beside.unlink()
    return exported.night_hash


def import_night(path: Path, file: Path) -> int:
    """Put an exported night into a ledger, which is made if it is not there; its number there.

    Raises:
        BadInput: no such file, an export that was changed, a night that is there
            already, or a night runs.
        LedgerLost: the ledger cannot be written now.
    """
    if not file.exists():
        raise BadInput(f"{file}: there is no such file.")
    end = file.suffix.lower()
    if end == ".csv":
        raise BadInput(
            f"{file} is the table for people; to be imported a night is exported as .zip."
        )
    if end not in ENDS:
        raise BadInput(f"{file} must end in .zip.")
    try:
        exported, stated = read_zip(file)
    except OSError as error:
        raise BadInput(f"{file} cannot be read: {error.strerror}.") from None
    if exported.night_hash != stated:
        raise changed(file, "its seal")
    if exported.night.outcome is None:
        raise BadInput(
            f"The night in {file} was not over when it was exported; export it again when it is."
        )
    if not path.exists():
        LedgerWriter(path).close()
    reader = LedgerReader(path)
    for night in reader.nights(limit=-1):
        same_start = night["started_s"] == exported.night.started_s
        if same_start and night_hash(reader, night["id"]) == stated:
            raise BadInput(f"{path} holds this night already, as number {night['id']}.")
    return _put(path, exported)


def _put(path: Path, exported: NightExport) -> int:
    noted = exported.beside.get("notes", {}).get(FIELD)
    if exported.photo is not None and hashlib.sha256(exported.photo).hexdigest() == noted:
        keep_photo(path, exported.photo)
    night, names = exported.night, NightRow._fields[1:]
    with IdleLedger(path) as ledger, ledger.transaction() as db:
        row = db.execute(
            f"INSERT INTO nights ({', '.join(names)}) VALUES ({', '.join('?' * len(names))})",
            night[1:],
        )
        number = row.lastrowid
        assert number is not None
        db.executemany(
            f"INSERT INTO ticks ({', '.join(TickRow._fields)})"
            f" VALUES ({', '.join('?' * len(TickRow._fields))})",
            [tick._replace(night_id=number) for tick in exported.ticks],
        )
        db.executemany(
            f"INSERT INTO events ({', '.join(EventRow._fields)})"
            f" VALUES ({', '.join('?' * len(EventRow._fields))})",
            [event._replace(night_id=number) for event in exported.events],
        )
        for field, value in exported.beside.get("notes", {}).items():
            db.execute(
                "INSERT INTO notes (night_id, field, value, who, host_s) VALUES (?, ?, ?, ?, ?)",
                (number, field, value, "import", night.started_s),
            )
        if exported.beside.get("refit"):
            found = dict(exported.beside["refit"])
            version = found.pop("version")
            db.execute(
                "INSERT INTO refits (night_id, fitted_s, version, found) VALUES (?, ?, ?, ?)",
                (number, night.started_s, version, json.dumps(found)),
            )
        if exported.beside.get("thinned"):
            db.execute(
                "INSERT OR REPLACE INTO meta (key, value) VALUES (?, ?)",
                (f"{THINNED}{number}", json.dumps(exported.beside["thinned"])),
            )
    return number
