"""A night's curves in figures, the original's beside the changed one's."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from .whatif import Curves

#: A part is warm when it is within this of the highest setpoint, K.
NEAR_K = 2.0
#: A gap counts as heater time for so long at most, s.
MOST_S = 30.0


@dataclass(frozen=True)
class Figures:
    """Numbers of one night; None where it has none."""

    outcome: str
    trip: str | None
    length_s: float
    highest_air_c: float | None
    over_setpoint_k: float | None
    mean_abs_error_k: float | None
    """Air against setpoint, in ramp and soak."""
    soak_error_k: float | None
    """The furthest the air was from a soak's setpoint while its clock counted."""
    counted_s: float
    """Of all soaks, the time that counted."""
    hottest_part_c: float | None
    slowest_near_s: float | None
    """When the slowest part came within `NEAR_K` of the highest setpoint, s of the night."""
    energy_kwh: float
    switchings: int

    def as_json(self) -> dict[str, Any]:
        """Plain values, rounded to what they are good for."""
        return {k: round(v, 4) if isinstance(v, float) else v for k, v in vars(self).items()}


def figures(c: Curves) -> Figures:
    """Figures of a night's curves."""
    time_s = np.array(c.time_s)
    air, setpoint = np.array(c.air_c), np.array(c.setpoint_c)
    heat = np.array(c.heat)
    phase, waiting = np.array(c.phase), np.array(c.waiting)
    parts = {name: np.array(values) for name, values in c.parts_c.items()}
    dt = np.minimum(np.diff(time_s, append=time_s[-1]), MOST_S)
    led = np.isin(phase, ("ramp", "soak")) & ~np.isnan(setpoint) & ~np.isnan(air)
    counts = (phase == "soak") & ~waiting & led
    highest_c = float(setpoint[led].max()) if led.any() else None
    error = air - setpoint
    near = [_near(time_s, p, highest_c) for p in parts.values()] if highest_c is not None else []
    night = np.isin(phase, ("ramp", "soak", "cool"))
    return Figures(
        outcome=c.outcome,
        trip=c.trip,
        length_s=float(time_s[night].max() - time_s[0]) if night.any() else 0.0,
        highest_air_c=_largest(air),
        over_setpoint_k=None if highest_c is None else float((air[led] - highest_c).max()),
        mean_abs_error_k=float(np.abs(error[led]).mean()) if led.any() else None,
        soak_error_k=float(np.abs(error[counts]).max()) if counts.any() else None,
        counted_s=float(dt[counts].sum()),
        hottest_part_c=max((m for p in parts.values() if (m := _largest(p)) is not None),
                           default=None),
        slowest_near_s=_last(near),
        energy_kwh=float((heat * dt).sum()) * c.power_w / 3.6e6,
        switchings=int(np.count_nonzero(np.diff(heat > 0.5))),
    )  # fmt: skip


def _last(times_s: list[float | None]) -> float | None:
    known = [t for t in times_s if t is not None]
    return max(known) if known and len(known) == len(times_s) else None


def _largest(values: Any) -> float | None:
    return None if np.isnan(values).all() else float(np.nanmax(values))


def _near(time_s: Any, part_c: Any, highest_c: float) -> float | None:
    there = np.flatnonzero(part_c >= highest_c - NEAR_K)
    return float(time_s[there[0]]) if len(there) else None
