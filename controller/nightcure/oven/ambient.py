"""The shed's temperature over a night, from a file."""

from __future__ import annotations

import csv
import math
from bisect import bisect_right
from collections.abc import Callable
from pathlib import Path

from ..errors import BadInput

#: Colder or warmer than any shed; such a value is a wrong unit or a typo.
COLDEST_C, WARMEST_C = -60.0, 60.0


def interpolated(times_s: list[float], values_c: list[float]) -> Callable[[float], float]:
    """Straight lines between points; the first and last value hold beyond the ends."""

    def at(t_s: float) -> float:
        i = bisect_right(times_s, t_s)
        if i == 0:
            return values_c[0]
        if i == len(times_s):
            return values_c[-1]
        share = (t_s - times_s[i - 1]) / (times_s[i] - times_s[i - 1])
        return values_c[i - 1] + share * (values_c[i] - values_c[i - 1])

    return at


def read_ambient(path: Path) -> Callable[[float], float]:
    """°C at a time (s) of the night from a CSV with the columns `time_s,ambient_c`.

    Raises:
        BadInput: one sentence naming the file, the line and what would be right.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file)
            if not {"time_s", "ambient_c"} <= set(rows.fieldnames or ()):
                found = ",".join(rows.fieldnames or ()) or "nothing"
                raise BadInput(
                    f"{path}: the first line is '{found}'; it must name the columns "
                    f"time_s,ambient_c."
                )
            times_s: list[float] = []
            values_c: list[float] = []
            for row in rows:
                where = f"{path}, line {rows.line_num}"
                time_s = _number(row["time_s"], f"{where}: time_s")
                value_c = _number(row["ambient_c"], f"{where}: ambient_c")
                if times_s and time_s <= times_s[-1]:
                    raise BadInput(
                        f"{where}: time_s is {time_s:g} after {times_s[-1]:g}; times must rise."
                    )
                if not COLDEST_C <= value_c <= WARMEST_C:
                    raise BadInput(
                        f"{where}: ambient_c is {value_c:g}; it must be °C between "
                        f"{COLDEST_C:g} and {WARMEST_C:g}."
                    )
                times_s.append(time_s)
                values_c.append(value_c)
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{path} cannot be read: {error}.") from None
    if not times_s:
        raise BadInput(f"{path} has no rows; it needs at least one of time_s,ambient_c.")
    return interpolated(times_s, values_c)


def _number(text: str | None, where: str) -> float:
    try:
        value = float(text or "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{where} is '{text or ''}'; it must be a number.")
    return value
