"""A reading: one temperature, when it was taken, and what is wrong with it."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class Fault(StrEnum):
    """Why a reading is not believed. The first four come from the wire, the rest from screening."""

    MISSING = "missing"
    CRC = "crc"
    POWER_ON = "power-on"
    BUS = "bus"
    RANGE = "range"
    RATE = "rate"
    FROZEN = "frozen"
    STALE = "stale"
    DISAGREES = "disagrees"


class Reading(NamedTuple):
    """What one thermometer said.

    Attributes:
        value_c: °C as the sensor gave it, without its offset; None when it gave nothing usable.
        taken_s: monotonic time (s) of the conversion that made the value.
        fault: what the wire found wrong with it, or None.
    """

    value_c: float | None
    taken_s: float
    fault: Fault | None = None
