"""What a person writes in a cell: a time, a number, whether the heater was on."""

from __future__ import annotations

import math
import re

import numpy as np

from ..errors import BadInput
from .arrays import Array

PER_UNIT_S = {"s": 1.0, "min": 60.0, "h": 3600.0}
WORDS = {
    "on": 1.0, "yes": 1.0, "true": 1.0, "x": 1.0, "off": 0.0, "no": 0.0, "false": 0.0, "": 0.0,
}  # fmt: skip


def time_unit_of(name: str) -> str | None:
    """'s', 'min' or 'h' from a column's name such as time_min, t (s) or minutes; None if unsaid."""
    words = set(re.findall(r"[a-z]+", name.lower()))
    if words & {"min", "mins", "minute", "minutes"}:
        return "min"
    if words & {"h", "hour", "hours"}:
        return "h"
    return "s" if words & {"s", "sec", "second", "seconds"} else None


def cell_number(text: str, where: str) -> float:
    """A finite number."""
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{where} is '{text[:30]}'; it must be a number.")
    return value


def seconds(text: str, unit: str | None, where: str) -> float:
    """s from h:mm, h:mm:ss or a number in `unit`; with no unit the number as it is."""
    match = re.fullmatch(r"(\d+):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?", text.strip())
    if match:
        hours, minutes, rest = match.groups(default="0")
        return 3600.0 * int(hours) + 60.0 * int(minutes) + float(rest)
    if ":" in text:
        raise BadInput(f"{where} is '{text[:30]}'; it must be h:mm, h:mm:ss or a number.")
    named = re.fullmatch(r"([\d.]+)\s*(s|min|h)", text.strip())
    if named:
        return cell_number(named[1], where) * PER_UNIT_S[named[2]]
    return cell_number(text, where) * PER_UNIT_S[unit or "s"]


class HeaterCell:
    """A heater's cell: on/off, 0/1, a duty, per cent or watts."""

    def __init__(self) -> None:
        self.words = False
        """Whether words were seen."""

    def share(self, text: str, where: str) -> float:
        """The cell as a number, words as 1 and 0."""
        word = WORDS.get(text.lower())
        if word is not None:
            self.words = True
            return word
        try:
            return cell_number(text, where)
        except BadInput:
            raise BadInput(
                f"{where} is '{text[:30]}'; it must be on or off, 0 to 1, per cent or watts."
            ) from None

    def shares(
        self, values: Array, name: str, power_w: float | None
    ) -> tuple[Array, float | None, list[str]]:
        """Shares of full power, the power if the column tells it, and what was assumed."""
        low, high = float(values.min()), float(values.max())
        if low < 0:
            raise BadInput(f"the heater's column '{name}' holds {low:g}; it cannot be below 0.")
        watts = bool(re.search(r"(_w|\(w\)|\bw|watts?)$", name.lower()))
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
