"""Units: what people read and type, against what the program computes with.

Inside the program every temperature is °C, every power W, every time s. This module is the only
place that turns them into something else.
"""

from __future__ import annotations

import re
from typing import Literal

TemperatureUnit = Literal["C", "F"]

#: Below this no temperature exists; every temperature field is checked against it.
ABSOLUTE_ZERO_C = -273.15


def c_to_f(temperature_c: float) -> float:
    """Temperature in °F of `temperature_c` in °C (exact: the scale's definition)."""
    return temperature_c * 1.8 + 32.0


def show_temperature(temperature_c: float, unit: TemperatureUnit = "C", digits: int = 1) -> str:
    """A temperature as people read it, such as ``38.0 °C``."""
    shown = c_to_f(temperature_c) if unit == "F" else temperature_c
    return f"{round(shown, digits) + 0.0:.{digits}f} °{unit}"  # + 0.0: no minus before a zero


def show_difference(difference_k: float, unit: TemperatureUnit = "C", sign: str = "") -> str:
    """A temperature difference as people read it: ``12.0 K``, ``21.6 °F``; `sign` "+" or ""."""
    shown = round(difference_k * 1.8 if unit == "F" else difference_k, 1) + 0.0
    return f"{shown:{sign}.1f} {'°F' if unit == 'F' else 'K'}"


def show_duration(duration_s: float) -> str:
    """A duration as people say it: ``6 h 20 min``, ``45 min``, ``-30 s``."""
    if duration_s < -0.5:
        return f"-{show_duration(-duration_s)}"
    minutes, seconds = divmod(round(duration_s), 60)
    hours, minutes = divmod(minutes, 60)
    if hours:
        return f"{hours} h {minutes:02d} min"
    if minutes:
        return f"{minutes} min" if not seconds else f"{minutes} min {seconds:02d} s"
    return f"{seconds} s"


_DURATION = re.compile(
    r"(?:(?P<h>\d{1,6}(?:\.\d+)?)h(?:(?P<hm>[0-5]?\d)$)?)?"
    r"(?:(?P<m>\d{1,6}(?:\.\d+)?)m(?:in)?)?(?:(?P<s>\d{1,9}(?:\.\d+)?)s)?",
    re.ASCII,
)


def parse_duration(text: str) -> float:
    """Seconds in a duration typed as ``90min`` or ``90m``, ``3h``, ``3h20``, ``3h20min``, ``45s``.

    Raises:
        ValueError: one sentence saying what was typed and what would be right.
    """
    match = _DURATION.fullmatch(text.strip().replace(" ", ""))
    if match is None or not any(match.groups()):
        raise ValueError(f"'{text}' is not a duration; write it as 90min, 3h, 3h20 or 45s.")
    part = {name: float(value or 0.0) for name, value in match.groupdict().items()}
    return part["h"] * 3600.0 + (part["hm"] + part["m"]) * 60.0 + part["s"]
