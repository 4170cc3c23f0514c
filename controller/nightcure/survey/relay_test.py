"""Relay feedback: gains from the swing of a bang-bang night, the alternative to a survey.

A heater that is only on or off is a lopsided relay, so its ultimate gain is not taken from the
describing function of a symmetric one (which reads 18 % low on a lag of 10 with a dead time of 1),
but from both fundamentals over whole periods: at that one frequency the ratio is exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ..errors import BadInput
from ..oven.thermal import Array
from .log import Log
from .tuning import Gains

#: Periods wanted, after the first, which is not yet a steady swing.
LEAST_PERIODS = 3
#: Periods may differ by so much of their mean, standard deviation.
STEADY = 0.15


@dataclass(frozen=True)
class Swing:
    """A steady swing and the oven's response at its frequency."""

    period_s: float
    periods: int
    amplitude_k: float
    """Of the air's fundamental."""
    gain_k_per_w: float
    lag_deg: float
    """Air behind heater: 180 where the relay has no hysteresis and nothing delays it."""

    @property
    def ultimate_w_per_k(self) -> float:
        """1 / gain: the ultimate gain, if the lag is near 180 degrees."""
        return 1.0 / self.gain_k_per_w

    def gains(self) -> Gains:
        """PI after Tyreus and Luyben: Ku/3.2, 2.2 Pu (Ind. Eng. Chem. Res. 31 (1992) 2625, from
        memory)."""
        return Gains(
            self.ultimate_w_per_k / 3.2, 2.2 * self.period_s, 0.0, "relay feedback, Tyreus-Luyben"
        )


def swing(log: Log) -> Swing:
    """The swing at the end of a log whose heater was switched by bang-bang.

    Raises:
        BadInput: its heater's power is unknown, or the swing is not steady; says what would do.
    """
    if log.power_w is None:
        raise BadInput(f"{log.name}: the heater's power is unknown; say --power.")
    on = log.heat > 0.5
    ups = log.heat_time_s[1:][on[1:] & ~on[:-1]]
    ups = ups[ups <= log.time_s[-1]]
    if len(ups) < LEAST_PERIODS + 2:
        raise BadInput(
            f"{log.name}: the heater came on {len(ups)} times; a relay test needs "
            f"{LEAST_PERIODS + 2}. Hold a temperature by bang-bang for longer."
        )
    periods = np.diff(ups)
    steady = _steady(periods)
    if steady < LEAST_PERIODS:
        raise BadInput(
            f"{log.name}: the swing is not steady, its last periods last "
            f"{', '.join(f'{p:.0f}' for p in periods[-LEAST_PERIODS:])} s; hold one temperature."
        )
    begin_s, end_s = float(ups[-1 - steady]), float(ups[-1])
    omega = 2.0 * math.pi * steady / (end_s - begin_s)
    grid = np.linspace(begin_s, end_s, 400 * steady, endpoint=False)
    air = np.interp(grid, log.time_s, log.air_c)
    # What the temperature drifts by from period to period is no part of the swing.
    means = air.reshape(steady, -1).mean(axis=1)
    air = air - (means[-1] - means[0]) / (steady - 1) * steady * (grid - begin_s) / (
        end_s - begin_s
    )
    at = np.searchsorted(log.heat_time_s, grid, side="right") - 1
    watts = log.heat[at] * log.power_w
    y, u = _fundamental(air, grid, omega), _fundamental(watts, grid, omega)
    if abs(y) < 0.05:
        raise BadInput(f"{log.name}: the air swings by less than 0.1 K; widen the hysteresis.")
    ratio = y / u
    lag = -math.degrees(math.atan2(ratio.imag, ratio.real)) % 360.0
    return Swing((end_s - begin_s) / steady, steady, abs(y), abs(ratio), lag)


def _steady(periods: Array) -> int:
    """How many of the last periods are alike."""
    best = 0
    for count in range(LEAST_PERIODS, len(periods)):
        last = periods[-count:]
        if float(np.std(last)) <= STEADY * float(np.mean(last)):
            best = count
    return best


def _fundamental(values: Array, grid: Array, omega: float) -> complex:
    """Complex amplitude at omega over whole periods."""
    return complex(2.0 * np.mean(values * np.exp(-1j * omega * grid)))
