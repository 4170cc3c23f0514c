"""Reading a noted or logged heat-and-cool test from a CSV whose columns the person names."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from .log import LEAST_ROWS, Log, check, right_way_round
from .table_cells import dated, degrees_of, seconds, time_unit_of
from .table_rows import Rows
from .table_text import cells_of, delimiter_of, header_of, opened
from .table_times import once

#: What a column may be called without being named; case and units aside.
KNOWN = {
    "time": (
        *("time", "t", "elapsed", "clock", "timestamp", "datetime"),
        *("min", "minutes", "h", "hours", "s", "seconds", "date"),
    ),
    "air": ("air", "oven", "temperature", "temp", "control"),
    "part": ("part", "mould", "mold"),
    "ambient": ("ambient", "shed", "room", "outside"),
    "heater": ("heater", "heat", "power", "duty", "on", "watts"),
}


@dataclass(frozen=True)
class Columns:
    """Which column is what, as the person names it; None: by its usual name, if there is one."""

    time: str | None = None
    air: str | None = None
    part: str | None = None
    ambient: str | None = None
    heater: str | None = None


def read_log(
    path: Path,
    columns: Columns = Columns(),
    time_unit: str | None = None,
    fahrenheit: bool = False,
    power_w: float | None = None,
    on: Sequence[str] = (),
    off: Sequence[str] = (),
    ambient_c: float | None = None,
) -> Log:
    """A log from a CSV (comma, semicolon, tab or spaces; a decimal comma among commas in quotes).

    Args:
        columns: names of the columns that are not called as usual.
        time_unit: 's', 'min', 'h' or 'd' where the column's name does not say it; h:mm is seen.
        fahrenheit: temperatures are °F.
        power_w: the heater's full power, if known.
        on, off: when the heater was switched, as in the time column, in place of a column.
        ambient_c: stated besides, for the checks alone.

    Raises:
        BadInput: what is wrong, on which line, what would be right.
    """
    try:
        with opened(path) as file:
            header, number = header_of(file)
            table = _Table(path, header, number, columns, time_unit, bool(on or off))
            table.rows.read(file)
    except UnicodeDecodeError:
        raise BadInput(f"{path} cannot be read: it is not text; a CSV is wanted.") from None
    log = table.log(fahrenheit, power_w, on, off)
    check(log, ambient_c)
    return log


class _Table:
    """A file's columns found by their names, and its rows as a log."""

    def __init__(
        self, path: Path, header: str, header_line: int, columns: Columns,
        time_unit: str | None, switched: bool,
    ) -> None:  # fmt: skip
        self.path = path
        self.delimiter = delimiter_of(header)
        self.names = cells_of(header, self.delimiter)
        if not header.strip():
            raise BadInput(f"{path} is empty; its first line must name the columns.")
        if all(re.fullmatch(r"[-+\d.,:\s]*", name) for name in self.names):
            raise BadInput(
                f"{path}: the first line is '{header.strip()[:40]}'; it must name the columns, "
                f"such as time_s,air_c,heater."
            )
        self.at: dict[str, int] = {}
        for role in KNOWN:
            if role == "heater" and switched:
                continue
            place = self._find(role, getattr(columns, role))
            if place is not None:
                self.at[role] = place
        said = time_unit or time_unit_of(self.names[self.at["time"]])
        self.unit, self.unit_said = said or "s", said is not None
        self.rows = Rows(path, self.names, self.delimiter, self.at, header_line + 1)
        self.times = self.rows.times

    def _find(self, role: str, named: str | None) -> int | None:
        if named is not None:
            if named in self.names:
                return self.names.index(named)
            raise BadInput(f"{self.path} has no column '{named}'; it has {', '.join(self.names)}.")
        for known in KNOWN[role]:
            for i, name in enumerate(self.names):
                if re.sub(r"[_ ([].*$", "", name.lower()) == known:
                    return i
        if role in ("time", "air"):
            raise BadInput(
                f"{self.path}: none of the columns {', '.join(self.names)} is called "
                f"{role}; name it with --{role}."
            )
        return None

    def log(
        self, fahrenheit: bool, power_w: float | None, on: Sequence[str], off: Sequence[str]
    ) -> Log:
        """The rows as a log."""
        if not self.rows.count:
            raise BadInput(f"{self.path} has no rows under its first line.")
        columns = self.rows.columns()
        assumed = [] if self.times.clock or self.unit_said else ["Times are read as seconds."]
        columns["time"] = self.times.rising(
            columns["time"], self.unit, bool(assumed), self.rows.line
        )
        time_s = columns["time"]
        for role in ("part", "ambient"):
            if role in columns and np.isnan(columns[role]).all():
                del columns[role]  # drawn in the table, never filled in
        for role in ("air", "part", "ambient"):
            if role in columns:
                columns[role] = self._temperature(role, columns[role], time_s, fahrenheit)
        if "heater" in columns:
            heat, power_w, said = self.rows.heater.shares(
                columns.pop("heater"), self.names[self.at["heater"]], power_w
            )
            switched = once({"time": time_s, "heat": heat})
            heat_time_s, heat = switched["time"], switched["heat"]
            assumed += said
        else:
            heat_time_s, heat = self._switched(time_s, on, off)
        noted = ~np.isnan(columns["air"])
        if not noted.all():
            assumed.append(f"Rows without an air temperature are left out: {np.sum(~noted)}.")
        kept = once({role: values[noted] for role, values in columns.items()})
        twice = int(np.sum(noted)) - len(kept["time"])
        if twice and len(kept["time"]) < LEAST_ROWS:
            raise BadInput(
                f"{self.path}: its {np.sum(noted)} rows hold {len(kept['time'])} different times; "
                f"a survey needs at least {LEAST_ROWS}."
            )
        if twice:
            assumed.append(f"Of rows at one and the same time the last is taken, {twice} left out.")
        log = Log(
            kept["time"], kept["air"], heat_time_s, heat, kept.get("part"),
            kept.get("ambient"), power_w, tuple(assumed), str(self.path),
        )  # fmt: skip
        right_way_round(log)
        return log

    def _temperature(self, role: str, values: Array, time_s: Array, fahrenheit: bool) -> Array:
        name = self.names[self.at[role]]
        for degrees, by, other in (
            (degrees_of(name), "name", "rename it"),
            *((said, "cells", "mend them") for said in sorted(self.rows.degrees[role])),
        ):
            if degrees == "K":
                raise BadInput(
                    f"{self.path}: the column '{name}' is in kelvin by its {by}; take 273.15 from "
                    f"each and call it °C, else {other}."
                )
            if degrees == ("C" if fahrenheit else "F"):
                option = "leave out" if fahrenheit else "say"
                raise BadInput(
                    f"{self.path}: the column '{name}' is in °{degrees} by its {by}; if it is, "
                    f"{option} --fahrenheit, else {other}."
                )
        missing = np.isnan(values)
        if missing.all():
            raise BadInput(f"{self.path}: the column of the {role} is empty.")
        if missing.any() and role != "air":
            values = np.interp(time_s, time_s[~missing], values[~missing])
        return (values - 32.0) / 1.8 if fahrenheit else values

    def _switched(
        self, time_s: Array, on: Sequence[str], off: Sequence[str]
    ) -> tuple[Array, Array]:
        unit = "s" if self.times.clock else self.unit
        first_s = float(time_s[0])
        midnight_s = first_s // 86400.0 * 86400.0 if self.times.dated else 0.0
        events = [(first_s, 0.0)]
        for texts, share, option in ((on, 1.0, "--on"), (off, 0.0, "--off")):
            for text in texts:
                at_s = seconds(text, unit, option)
                if (
                    self.times.clock
                    and ":" not in text
                    and (first_s or text.replace(".", "").isdigit())
                ):
                    raise BadInput(
                        f"{option} is '{text}'; the table's times are h:mm, write it so."
                    )
                if self.times.clock and not dated(text):
                    at_s += midnight_s
                    at_s += 86400.0 if at_s < first_s else 0.0
                events.append((max(at_s, first_s), share))
        if off and not on:
            events.append((first_s, 1.0))
        events.sort()
        kept = dict(events)
        return np.array(list(kept)), np.array(list(kept.values()))
