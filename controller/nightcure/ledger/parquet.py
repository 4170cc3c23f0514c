"""A night's export as one Parquet file; needs pyarrow (the extra 'archive')."""

from __future__ import annotations

import base64
import json
from pathlib import Path
from typing import Any

from ..errors import BadInput
from .export import EXACT, NightExport, about_of, changed, checked_hash, table, with_hash
from .rows import EventRow, NightRow, TickRow

#: Under this key the file's own metadata says all that is no table.
KEY = b"nightcure"
UNITS = {"_s": "s", "_c": "°C", "duty": "share of full power", "heater": "0 or 1",
         "contactor": "0 or 1"}  # fmt: skip


def _pyarrow() -> Any:
    try:
        import pyarrow
        import pyarrow.parquet
    except ImportError:
        raise BadInput(
            "Parquet needs pyarrow; install nightcure with its extra 'archive', or take a .zip."
        ) from None
    return pyarrow


def write_parquet(exported: NightExport, file: Path) -> None:
    """Write an export. Raises BadInput, OSError."""
    pa = _pyarrow()
    people = table(exported.night, exported.ticks)
    names = [*next(people), *EXACT]
    columns: list[list[Any]] = [[] for _ in names]
    for shown, row in zip(people, exported.ticks, strict=True):
        exact = (row.seq, row.mono_s, row.wall_s, row.inputs, row.believed, row.decision)
        for column, value in zip(columns, (*shown, *exact), strict=True):
            column.append(value)
    fields, arrays = [], []
    for name, column in zip(names, columns, strict=True):
        kind = _kind(pa, name)
        unit = next((u for end, u in UNITS.items() if name.endswith(end)), "")
        fields.append(pa.field(name, kind, metadata={"unit": unit} if unit else None))
        arrays.append(pa.array(column, kind))
    about = about_of(exported) | {"events": [list(e[1:]) for e in exported.events]}
    if exported.photo is not None:
        about["photo"] = base64.b64encode(exported.photo).decode("ascii")
    said = json.dumps(with_hash(about), ensure_ascii=True).encode()
    whole = pa.Table.from_arrays(arrays, schema=pa.schema(fields, metadata={KEY: said}))
    pa.parquet.write_table(whole, str(file), compression="zstd")


def _kind(pa: Any, name: str) -> Any:
    if name in ("phase", "utc", "inputs", "believed", "decision"):
        return pa.string()
    if name in ("seq", "segment", "heater", "contactor"):
        return pa.int64()
    return pa.float64()


def read_parquet(file: Path) -> tuple[NightExport, str]:
    """An export and the hash it states. Raises BadInput."""
    pa = _pyarrow()
    try:
        whole = pa.parquet.read_table(str(file))
        about = json.loads((whole.schema.metadata or {})[KEY])
    except (pa.ArrowException, KeyError, ValueError, OSError):
        raise BadInput(
            f"{file} is no night that nightcure exported, or it is damaged; nothing was imported."
        ) from None
    about = checked_hash(about, file)
    try:
        names = [name for name in TickRow._fields if name != "night_id"]
        columns = [whole.column(name).to_pylist() for name in names]
        ticks = [TickRow(0, *values) for values in zip(*columns, strict=True)]
        events = [EventRow(0, *values) for values in about["events"]]
        night = NightRow(**about["night"])
        photo = base64.b64decode(about["photo"]) if "photo" in about else None
        people = table(night, ticks)
        shown = [whole.column(name).to_pylist() for name in next(people)]
        same = all(list(a) == b for a, b in zip(zip(*shown, strict=True), people, strict=True))
    except (KeyError, TypeError, ValueError):
        raise changed(file, "a column") from None
    if not same:
        raise changed(file, "a column")
    return NightExport(night, ticks, events, about["beside"], photo), about["seal"]
