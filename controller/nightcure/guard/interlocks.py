"""Every interlock there is, in the order in which they look."""

from __future__ import annotations

from .fan import FanFailed
from .heater import (
    CannotHold,
    HeaterOnTooLong,
    HeaterStuckOn,
    HeaterWithoutEffect,
    HeatUnanswered,
    HeatUnexplained,
)
from .housekeeping import LedgerLost, NightTooLong, TickLate, TimeWentBack
from .interlock import Interlock
from .temperatures import (
    AirDoubted,
    ControlSensorLost,
    Exotherm,
    OverTemperature,
    PartWarm,
    SensorLost,
)

__all__ = [
    "RULES",
    "AirDoubted",
    "CannotHold",
    "ControlSensorLost",
    "Exotherm",
    "FanFailed",
    "HeatUnanswered",
    "HeatUnexplained",
    "HeaterOnTooLong",
    "HeaterStuckOn",
    "HeaterWithoutEffect",
    "Interlock",
    "LedgerLost",
    "NightTooLong",
    "OverTemperature",
    "PartWarm",
    "SensorLost",
    "TickLate",
    "TimeWentBack",
]

RULES: tuple[type[Interlock], ...] = (
    OverTemperature,
    Exotherm,
    HeatUnexplained,
    HeaterStuckOn,
    ControlSensorLost,
    AirDoubted,
    SensorLost,
    PartWarm,
    HeatUnanswered,
    HeaterWithoutEffect,
    CannotHold,
    HeaterOnTooLong,
    FanFailed,
    NightTooLong,
    TickLate,
    LedgerLost,
    TimeWentBack,
)
