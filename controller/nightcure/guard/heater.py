"""Interlocks on what the heater does, does not do, or does unasked."""

from __future__ import annotations

from ..settings import Settings
from ..units import show_duration
from .interlock import Interlock
from .interlock_inputs import InterlockInputs


class HeaterWithoutEffect(Interlock):
    """Full duty for as long as the oven's lag allows, and next to no rise.

    What is due is reckoned as if the oven lost half as much again as its model says, so that a
    leaky box or a frost is not taken for a dead heater; `cannot-hold` speaks of those.
    """

    name = "heater-without-effect"
    heated_only = True
    FULL = 0.95
    SHARE = 0.2
    """Of the rise the model expects; below it the heat does not arrive."""
    LEAST_K = 0.25
    SLEEP_K = 0.8
    """Where less is due than this, the rule sleeps."""
    DOUBT = 1.5

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.full_s = 0.0
        self.from_c = 0.0
        self.expected_k = 0.0
        self.allow_s = max(600.0, 3.0 * settings.model.heater_lag_s)

    def look(self, v: InterlockInputs) -> str | None:
        if not v.heated or v.duty < self.FULL or v.control_c is None:
            self.full_s = 0.0
            return None
        m = self.settings.model
        if self.full_s == 0.0:
            self.from_c, self.expected_k = v.control_c, 0.0
        self.full_s += v.dt_s
        lost_w = self.DOUBT * m.loss_w_per_k * max(v.control_c - v.ambient_c, 0.0)
        spare_w = self.settings.heater.power_w - lost_w
        capacity = m.air_capacity_j_per_k + m.mould_capacity_j_per_k
        self.expected_k += max(spare_w, 0.0) / capacity * v.dt_s
        if self.full_s < self.allow_s:
            return None
        rise_k = v.control_c - self.from_c
        expected_k = self.expected_k
        if expected_k > self.SLEEP_K and rise_k < max(self.LEAST_K, self.SHARE * expected_k):
            return (
                f"Heater without effect: {show_duration(self.full_s)} at full power and the air "
                f"changed by {self.show_change(rise_k)} where {self.show_change(expected_k)} was "
                f"due. Burnt-out heater, "
                f"blown fuse, open lid, or the sensor has fallen out of the box."
            )
        self.full_s = 0.0
        return None


class HeaterStuckOn(Interlock):
    """Rising with the relay off: welded contacts, or a solid-state relay failed short.

    Looked for after a night that was stopped as well, for as long as its heat may last.
    """

    name = "heater-stuck-on"
    IDLE_S = 7200.0
    WINDOW_S = 150.0
    RISE_K = 0.4
    ABOVE_K, ABOVE_OFF_S, ABOVE_RISE_K = 3.0, 180.0, 0.2

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.off_s = 0.0
        self.window_s = 0.0
        self.from_c: float | None = None
        self.stuck = False
        self.heated = False
        self.allow_s = 2.5 * settings.model.heater_lag_s + 60.0

    def look(self, v: InterlockInputs) -> str | None:
        self.off_s = 0.0 if v.heater_on else self.off_s + v.dt_s
        self.heated = self.heated or v.heater_on
        at_rest = v.phase == "idle" and (not self.heated or self.off_s > self.IDLE_S)
        if v.control_c is None or at_rest or self.off_s == 0.0:
            self.from_c, self.window_s, self.stuck = None, 0.0, False
            return None
        if self.from_c is None:
            self.from_c, self.window_s = v.control_c, 0.0
        self.window_s += v.dt_s
        if self.window_s >= self.WINDOW_S:
            rise_k = v.control_c - self.from_c
            warmest_c = max((c for _, c in v.parts_c), default=-300.0)
            fed = warmest_c > v.control_c + 1.0
            above = v.setpoint_c is not None and v.control_c > v.setpoint_c + self.ABOVE_K
            self.stuck = not fed and (
                (self.off_s - self.window_s > self.allow_s and rise_k > self.RISE_K)
                or (above and self.off_s > self.ABOVE_OFF_S and rise_k > self.ABOVE_RISE_K)
            )
            self.from_c, self.window_s = v.control_c, 0.0
        if not self.stuck:
            return None
        return (
            f"Heater stuck on: the relay has been off for {show_duration(self.off_s)} and the air "
            f"still rises, now {self.show(v.control_c)}. Pull the heater's plug; the relay's "
            f"contacts may be welded."
        )


class CannotHold(Interlock):
    """A warning: the shed is too cold for this heater, or it has long been at full power."""

    name = "cannot-hold"
    latching = False
    heated_only = True
    FOR_S = 300.0
    FULL_S = 2700.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.cold_s = 0.0
        self.full_s = 0.0

    def look(self, v: InterlockInputs) -> str | None:
        if not v.heated or v.setpoint_c is None or v.control_c is None:
            self.cold_s = self.full_s = 0.0
            return None
        s = self.settings
        most_c = v.ambient_c + s.heater.power_w / s.model.loss_w_per_k
        cold = v.setpoint_c > most_c - 0.05 * (most_c - v.ambient_c)
        self.cold_s = self.cold_s + v.dt_s if cold else 0.0
        behind = v.duty >= 0.98 and v.control_c < v.setpoint_c - 1.0 and v.phase == "soak"
        self.full_s = self.full_s + v.dt_s if behind else 0.0
        if self.cold_s > self.FOR_S:
            return (
                f"Cannot hold {self.show(v.setpoint_c)}: with the shed at "
                f"{self.show(v.ambient_c)} this heater holds about {self.show(most_c)}. Add "
                f"insulation or a warmer place; the profile waits meanwhile."
            )
        if self.full_s > self.FULL_S:
            return (
                f"Cannot hold {self.show(v.setpoint_c)}: {show_duration(self.full_s)} at full "
                f"power and the air is at {self.show(v.control_c)}. Look at lid, tape and heater; "
                f"the profile waits meanwhile."
            )
        return None


class HeaterOnTooLong(Interlock):
    """Without a pause for longer than the settings allow."""

    name = "heater-on-too-long"

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.on_s = 0.0

    def look(self, v: InterlockInputs) -> str | None:
        self.on_s = self.on_s + v.dt_s if v.heater_on else 0.0
        longest_s = self.settings.limits.longest_heater_on_h * 3600.0
        if self.on_s <= longest_s:
            return None
        return (
            f"Heater on for {show_duration(self.on_s)} without a pause; the longest allowed is "
            f"{show_duration(longest_s)}. The box may be open, or the heater too weak for it."
        )
