"""A fan that stands still, found by the heater's thermometer and the air's."""

from __future__ import annotations

from ..settings import Settings
from .energy_balance import toward
from .interlock import Interlock
from .interlock_inputs import InterlockInputs


class FanFailed(Interlock):
    """The heater's thermometer is further above the air, for the heat it gives, than it was.

    While the fan turns, kelvins above the air for each watt are the oven's own, night after night;
    the lowest ever seen is kept. A fan that stands still leaves still air and radiation: half as
    much again, at the least (common practice, no source). Only steady heat is looked at, and both
    sides run through the same filter, so that the heater's lag does not matter.

    Needs a declared fan and a thermometer of role heater. A fan that never turned is not found so.
    """

    name = "fan-failed"
    SMOOTH_S = 300.0
    MOST = 1.6
    """Of the lowest; above it the fan is taken to stand still."""
    FOR_S = 600.0
    LEAST_K, LEAST_SHARE = 5.0, 0.15
    """Above the air, and of the heater's power: with less there is nothing to tell."""
    STEADY = 0.12
    """Of the power: heat has to have changed by less over a few lags."""
    CALM_S = 900.0
    """Steady for so long before it is looked at."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.fan = settings.has_fan
        self.given_w = self.smooth_w = self.slow_w = 0.0
        self.above_k = 0.0
        self.calm_s = self.high_s = 0.0
        self.lowest_k_per_w: float | None = None

    def look(self, v: InterlockInputs) -> str | None:
        if not self.fan or v.control_c is None or not v.heaters_c:
            self.calm_s = self.high_s = 0.0
            return None
        power_w, lag_s = self.settings.heater.power_w, self.settings.model.heater_lag_s
        now_w = power_w if v.heater_on else 0.0
        self.given_w = toward(self.given_w, now_w, v.dt_s, max(lag_s, 1.0))
        self.smooth_w = toward(self.smooth_w, self.given_w, v.dt_s, self.SMOOTH_S)
        self.slow_w = toward(self.slow_w, self.smooth_w, v.dt_s, 4.0 * self.SMOOTH_S)
        above_k = max(v.heaters_c) - v.control_c
        self.above_k = toward(self.above_k, above_k, v.dt_s, self.SMOOTH_S)
        steady = abs(self.smooth_w - self.slow_w) < self.STEADY * power_w
        tells = self.smooth_w > self.LEAST_SHARE * power_w and self.above_k > self.LEAST_K
        self.calm_s = self.calm_s + v.dt_s if v.heated and steady and tells else 0.0
        if self.calm_s < self.CALM_S:
            self.high_s = 0.0
            return None
        k_per_w = self.above_k / self.smooth_w
        lowest = min(k_per_w, self.lowest_k_per_w or k_per_w)
        self.lowest_k_per_w = lowest
        high = min(self.above_k, above_k) > self.MOST * lowest * self.smooth_w
        self.high_s = self.high_s + v.dt_s if high else 0.0
        if self.high_s < self.FOR_S:
            return None
        return (
            f"Fan failed: the heater is {self.show_change(self.above_k)} above the air, where "
            f"{self.show_change(lowest * self.smooth_w)} is usual for the heat it gives. Look "
            f"whether the fan turns, with the plug out; do not heat without it."
        )
