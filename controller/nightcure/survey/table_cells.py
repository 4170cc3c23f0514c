"""What a person writes in a cell: a time, a number, whether the heater was on."""

from __future__ import annotations

import math
import re
from datetime import UTC, datetime

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array

#: A spreadsheet counts days.
PER_UNIT_S = {"ms": 0.001, "s": 1.0, "min": 60.0, "h": 3600.0, "d": 86400.0}
WORDS = {
    "on": 1.0, "yes": 1.0, "y": 1.0, "true": 1.0, "x": 1.0,
    "off": 0.0, "no": 0.0, "n": 0.0, "false": 0.0,
}  # fmt: skip
#: What people write where they took no reading.
UNREAD = {"", "-", "--", "---", "\u2013", "\u2014", "n/a", "na", "n.a."}


def time_unit_of(name: str) -> str | None:
    """A key of `PER_UNIT_S` from a column's name: time_min, t (s), minutes; None if unsaid."""
    words = set(re.findall(r"[a-z]+", name.lower()))
    if words & {"min", "mins", "minute", "minutes"}:
        return "min"
    if words & {"h", "hour", "hours"}:
        return "h"
    if words & {"d", "day", "days"}:
        return "d"
    if words & {"ms", "millis", "milliseconds"}:
        return "ms"
    return "s" if words & {"s", "sec", "secs", "second", "seconds"} else None


def degrees_of(name: str) -> str | None:
    """'F', 'C' or 'K' from a column's name such as air_c, oven (°F) or Temp K; None if unsaid."""
    found = re.search(r"(?:[_\s(\[°º]|deg)([cfk])[)\]]?$", name.strip(), re.IGNORECASE)
    return found[1].upper() if found else None


def cell_number(text: str, where: str) -> float:
    """A finite number."""
    try:
        value = float(text.replace("\u2212", "-"))  # a typeset minus
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{where} is '{text[:30]}'; it must be a number.")
    return value


def temperature(text: str, where: str) -> tuple[float, str | None]:
    """A temperature and its unit's letter if the cell says it (9 °C, 48F); NaN if none was read."""
    if text.lower() in UNREAD:
        return math.nan, None
    with_unit = re.fullmatch(r"(.*\d\.?)\s*(?:°|º|deg)?\s*([CFK])", text)
    if with_unit is None:
        return cell_number(text, where), None
    return cell_number(with_unit[1], where), with_unit[2]


def year_first(text: str) -> str:
    """26.11.2026 18:30 as 2026-11-26 18:30; any other text as it is. With points the day is first
    (common practice, no source; with slashes it may be either, so those are not read)."""
    found = re.fullmatch(r"(\d\d?)\.(\d\d?)\.(\d{4}|\d\d)[.,]?\s+(\d.*)", text.strip())
    if found is None:
        return text
    day, month, year, clock = found.groups()
    return f"{year if len(year) == 4 else '20' + year}-{month:0>2}-{day:0>2} {clock:0>5}"


def dated(text: str) -> bool:
    """Whether a time is written with its date: year first (ISO 8601), or day.month.year."""
    return re.match(r"\d{4}-\d\d-\d\d[T ]", year_first(text).strip()) is not None


def seconds(text: str, unit: str | None, where: str) -> float:
    """s from h:mm, h:mm:ss (am, pm), an ISO 8601 date and time, or a number in `unit`.

    With no unit the number as it is; with a date, s since 1970, a time of no zone taken as UTC.
    """
    text = year_first(text.strip())
    match = re.fullmatch(
        r"(\d+):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?(?:\s*([ap])\.?m\.?)?", text, re.IGNORECASE
    )
    if match:
        hours, minutes, rest, half = match.groups(default="")
        hour = int(hours)
        if not half or 1 <= hour <= 12:
            if half:
                hour = hour % 12 + (12 if half in "pP" else 0)
            return 3600.0 * hour + 60.0 * int(minutes) + float(rest or 0)
    if dated(text):
        try:
            at = datetime.fromisoformat(text)
        except ValueError:
            pass
        else:
            return (at if at.tzinfo else at.replace(tzinfo=UTC)).timestamp()
    if ":" in text:
        raise BadInput(
            f"{where} is '{text[:30]}'; it must be h:mm, h:mm:ss, a number, or with its date "
            f"2026-11-26 18:30."
        )
    named = re.fullmatch(r"([\d.]+)\s*(s|min|h)", text)
    if named:
        return cell_number(named[1], where) * PER_UNIT_S[named[2]]
    return cell_number(text, where) * PER_UNIT_S[unit or "s"]


class HeaterCell:
    """A heater's cell: on/off, 0/1, a duty, per cent or watts; or nothing."""

    def __init__(self) -> None:
        self.words = False
        """Whether anything but bare numbers was seen."""
        self._watts = False

    def share(self, text: str, where: str) -> float:
        """The cell as a number, words as 1 and 0; NaN where nothing is noted."""
        if text.lower() in UNREAD:
            return math.nan
        word = WORDS.get(text.lower())
        if word is not None:
            self.words = True
            return word
        with_unit = re.fullmatch(r"([\d.]+)\s*(%|[wW])", text)
        try:
            if with_unit is None:
                return cell_number(text, where)
            self.words = True
            self._watts |= with_unit[2] != "%"
            return cell_number(with_unit[1], where) / (100.0 if with_unit[2] == "%" else 1.0)
        except BadInput:
            raise BadInput(
                f"{where} is '{text[:30]}'; it must be on or off, 0 to 1, per cent or watts."
            ) from None

    def shares(
        self, values: Array, name: str, power_w: float | None
    ) -> tuple[Array, float | None, list[str]]:
        """Shares of full power, the power if the column tells it, and what was assumed."""
        values, said = self._filled(values, name)
        shares, power_w, more = self._scaled(values, name, power_w)
        return shares, power_w, said + more

    @staticmethod
    def _filled(values: Array, name: str) -> tuple[Array, list[str]]:
        """Empty cells: as before where off is noted when it is meant, else off."""
        empty = np.isnan(values)
        if not empty.any():
            return values, []
        if not (values == 0).any():
            return np.where(empty, 0.0, values), [
                f"The heater is off where its column '{name}' is empty."
            ]
        last = np.maximum.accumulate(np.where(empty, -1, np.arange(len(values))))
        return np.where(last < 0, 0.0, values[last]), [
            f"Where the heater's column '{name}' is empty, it is taken as in the row before."
        ]

    def _scaled(
        self, values: Array, name: str, power_w: float | None
    ) -> tuple[Array, float | None, list[str]]:
        low, high = float(values.min()), float(values.max())
        if low < 0:
            raise BadInput(f"the heater's column '{name}' holds {low:g}; it cannot be below 0.")
        watts = self._watts or bool(re.search(r"(_w|\(w\)|\bw|watts?)$", name.lower()))
        if watts or (high > 100.0 and power_w is not None):
            full_w = power_w or high
            if high > 1.05 * full_w:
                raise BadInput(
                    f"the heater's column '{name}' goes to {high:g} W, the heater's power is "
                    f"{full_w:g} W; one of the two is wrong."
                )
            said = [] if power_w else [f"Full power is the column's highest value, {high:g} W."]
            shares: Array = np.minimum(np.asarray(values, np.float64) / max(full_w, 1e-9), 1.0)
            return shares, full_w or None, said
        if high <= 1.0:
            return np.asarray(values, np.float64), power_w, []
        if high <= 100.0:
            return (
                np.asarray(values, np.float64) / 100.0,
                power_w,
                [f"The heater's column '{name}' is read as per cent of full power."],
            )
        raise BadInput(
            f"the heater's column '{name}' goes to {high:g}; if these are watts, call the column "
            f"heater_w."
        )
