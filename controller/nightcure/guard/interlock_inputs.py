"""What the interlocks see of a tick."""

from __future__ import annotations

from typing import NamedTuple


class InterlockInputs(NamedTuple):
    """One tick, as every rule sees it. Temperatures °C, None where nothing is believed.

    `night`: a night is running. `heated`: the regulator is at work (ramp, soak). `heater_on`,
    `duty`: as decided the tick before, so what the readings may already show. `lost`: name and
    fault of every thermometer that is not believed. `self_heat_k`: for each of `parts_c` how much
    hotter its resin's own heat may make it now; None where no resin card tells. `doubted`: the air
    is measured and cannot be the oven's. `band_c`: the profile's.
    """

    dt_s: float
    gap_s: float
    wall_step_s: float
    night: bool
    heated: bool
    phase: str
    night_s: float
    control_c: float | None
    control_fault: str
    lost: tuple[tuple[str, str], ...]
    air_c: tuple[float, ...]
    parts_c: tuple[tuple[str, float], ...]
    heaters_c: tuple[float, ...]
    ambient_c: float
    setpoint_c: float | None
    heater_on: bool
    duty: float
    ledger_silent_s: float
    inbox_silent_s: float
    self_heat_k: tuple[float | None, ...] = ()
    doubted: bool = False
    band_c: float = 2.0
