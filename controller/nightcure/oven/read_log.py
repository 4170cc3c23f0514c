"""Reading a noted or logged heat-and-cool test from a CSV whose columns the person names."""

from __future__ import annotations

import re
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import count as counter
from pathlib import Path
from typing import TextIO

import numpy as np

from ..errors import BadInput
from .arrays import Array
from .cells import HeaterCell, cell_number, seconds, time_unit_of
from .log import Log, check

#: What a column may be called without being named; case and units aside.
KNOWN = {
    "time": ("time", "t", "elapsed", "clock", "min", "minutes", "seconds"),
    "air": ("air", "oven", "temperature", "temp", "control"),
    "part": ("part", "mould", "mold"),
    "ambient": ("ambient", "shed", "room", "outside"),
    "heater": ("heater", "heat", "power", "duty", "on"),
}
#: A log shorter than this whose times have no unit is more likely in minutes or hours, s.
SHORTEST_UNSAID_S = 600.0
#: Bytes of lines taken at a time.
CHUNK = 1 << 23


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
    checked: bool = True,
) -> Log:
    """A log from a CSV (comma, semicolon or tab; decimal comma with the latter two).

    Args:
        columns: names of the columns that are not called as usual.
        time_unit: 's', 'min' or 'h' where the column's name does not say it; h:mm is seen.
        fahrenheit: temperatures are °F.
        power_w: the heater's full power, if known.
        on, off: when the heater was switched, as in the time column, in place of a column.
        ambient_c: stated besides, for the checks alone.
        checked: refuse what no survey can be made of; False for a swing about one temperature.

    Raises:
        BadInput: what is wrong, on which line, what would be right.
    """
    try:
        with path.open(encoding="utf-8-sig", newline="") as file:
            header = file.readline()
            table = _Table(path, header, columns, time_unit, bool(on or off))
            table.read(file)
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file.") from None
    except UnicodeDecodeError:
        raise BadInput(f"{path} cannot be read: it is not text; a CSV is wanted.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    log = table.log(fahrenheit, power_w, on, off)
    if checked:
        check(log, ambient_c)
    return log


class _Table:
    """The named columns of a file, read in chunks: numbers fast, anything else cell by cell."""

    def __init__(
        self, path: Path, header: str, columns: Columns, time_unit: str | None, switched: bool
    ) -> None:
        self.path = path
        self.delimiter = max((",", ";", "\t"), key=header.count)
        self.names = [cell.strip().strip('"') for cell in header.strip().split(self.delimiter)]
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
        self.values: dict[str, list[Array]] = {role: [] for role in self.at}
        self.heater = HeaterCell()
        self.clock = False
        self.rows = 0
        self._blanks: list[int] = []

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

    def line(self, row: int) -> int:
        """The file's line of a row."""
        return row + 2 + bisect_right(self._blanks, row)

    def read(self, file: TextIO) -> None:
        """All rows."""
        while lines := file.readlines(CHUNK):
            kept = [line for line in lines if not line.isspace()]
            if len(kept) < len(lines):
                self._note_blanks(lines)
            if not kept:
                continue
            block = self._fast(kept)
            if block is None:
                block = self._slow(kept)
            for i, role in enumerate(self.at):
                kind = np.float64 if role == "time" else np.float32
                self.values[role].append(block[:, i].astype(kind))
            self.rows += len(kept)

    def _note_blanks(self, lines: list[str]) -> None:
        row = self.rows
        for line in lines:
            if line.isspace():
                self._blanks.append(row)
            else:
                row += 1

    def _fast(self, lines: list[str]) -> Array | None:
        if self.clock or ":" in lines[0] or self.heater.words:
            return None
        try:
            block: Array = np.loadtxt(
                lines, delimiter=self.delimiter, usecols=list(self.at.values()), comments=None,
                ndmin=2,
            )  # fmt: skip
        except ValueError:
            return None
        return block if len(block) == len(lines) and np.isfinite(block).all() else None

    def _slow(self, lines: list[str]) -> Array:
        block = np.empty((len(lines), len(self.at)))
        for number, line in zip(counter(), lines):
            cells = [c.strip().strip('"') for c in line.strip("\r\n").split(self.delimiter)]
            where = f"{self.path}, line {self.line(self.rows + number)}"
            for i, (role, place) in enumerate(self.at.items()):
                if place >= len(cells):
                    raise BadInput(
                        f"{where} has {len(cells)} values; the first line names {len(self.names)}."
                    )
                text = cells[place]
                if self.delimiter != ",":
                    text = text.replace(",", ".")
                what = f"{where}: {self.names[place]}"
                if role == "time":
                    self.clock |= ":" in text
                    block[number, i] = seconds(text, "s" if ":" in text else None, what)
                elif role == "heater":
                    block[number, i] = self.heater.share(text, what)
                elif not text and role in ("part", "ambient"):
                    block[number, i] = np.nan
                else:
                    block[number, i] = cell_number(text, what)
        return block

    def log(
        self, fahrenheit: bool, power_w: float | None, on: Sequence[str], off: Sequence[str]
    ) -> Log:
        """The rows as a log."""
        if not self.rows:
            raise BadInput(f"{self.path} has no rows under its first line.")
        columns: dict[str, Array] = {}
        for role in list(self.values):
            columns[role] = np.concatenate(self.values.pop(role))
        per_unit = 1.0 if self.clock else {"s": 1.0, "min": 60.0, "h": 3600.0}[self.unit]
        time_s = columns["time"] * per_unit
        if self.clock:  # past midnight the clock begins anew
            time_s = time_s + 86400.0 * np.cumsum(np.r_[0.0, np.diff(time_s) < -43200.0])
        back = np.flatnonzero(np.diff(time_s) <= 0)
        if len(back):
            i = int(back[0])
            raise BadInput(
                f"{self.path}, line {self.line(i + 1)}: the time is {time_s[i + 1]:g} s after "
                f"{time_s[i]:g} s; times must rise."
            )
        assumed = [] if self.clock or self.unit_said else ["Times are read as seconds."]
        if assumed and time_s[-1] - time_s[0] < SHORTEST_UNSAID_S:
            raise BadInput(
                f"{self.path}: the whole log is {time_s[-1] - time_s[0]:g} s long if its times are "
                f"seconds; if they are minutes, say --time-unit min."
            )
        for role in ("air", "part", "ambient"):
            if role in columns:
                columns[role] = self._temperature(role, columns[role], time_s, fahrenheit)
        if "heater" in columns:
            heat, power_w, said = self.heater.shares(
                columns["heater"], self.names[self.at["heater"]], power_w
            )
            heat_time_s = time_s
            assumed += said
        else:
            heat_time_s, heat = self._switched(time_s, on, off)
        return Log(
            time_s, columns["air"], heat_time_s, heat, columns.get("part"),
            columns.get("ambient"), power_w, tuple(assumed), str(self.path),
        )  # fmt: skip

    def _temperature(self, role: str, values: Array, time_s: Array, fahrenheit: bool) -> Array:
        missing = np.isnan(values)
        if missing.all():
            raise BadInput(f"{self.path}: the column of the {role} is empty; leave it out.")
        if missing.any():
            values = np.interp(time_s, time_s[~missing], values[~missing])
        return (values - 32.0) / 1.8 if fahrenheit else values

    def _switched(
        self, time_s: Array, on: Sequence[str], off: Sequence[str]
    ) -> tuple[Array, Array]:
        unit = "s" if self.clock else self.unit
        first_s = float(time_s[0])
        events = [(first_s, 0.0)]
        for texts, share, option in ((on, 1.0, "--on"), (off, 0.0, "--off")):
            for text in texts:
                at_s = seconds(text, unit, option)
                if self.clock and at_s < first_s:
                    at_s += 86400.0
                events.append((max(at_s, first_s), share))
        if off and not on:
            events.append((first_s, 1.0))
        events.sort()
        kept = dict(events)
        return np.array(list(kept)), np.array(list(kept.values()))
