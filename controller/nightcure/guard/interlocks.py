"""The interlocks: small named rules that look at each tick and speak one sentence, or nothing.

A rule says what is wrong while it is wrong. `latching` rules trip the oven; the others warn.
Each keeps plain numbers only, so that its state can be written down and restored.
"""

from __future__ import annotations

from typing import Any, ClassVar

from ..settings import Settings
from ..units import TemperatureUnit, show_difference, show_duration, show_temperature
from .view import View


class Interlock:
    """A rule. `look` is called every tick, in order, and returns a sentence or None."""

    name: ClassVar[str]
    latching: ClassVar[bool] = True
    heated_only: ClassVar[bool] = False

    def __init__(self, settings: Settings) -> None:
        self.settings = settings

    def look(self, v: View) -> str | None:
        """What is wrong now, in one sentence."""
        raise NotImplementedError

    def show(self, temperature_c: float) -> str:
        """A temperature in the person's unit."""
        unit: TemperatureUnit = self.settings.units
        return show_temperature(temperature_c, unit)

    def show_change(self, change_k: float) -> str:
        """A change of temperature in the person's unit."""
        return show_difference(change_k, self.settings.units, "+")

    def snapshot(self) -> dict[str, Any]:
        """Its state, JSON-ready."""
        return {k: v for k, v in vars(self).items() if k != "settings"}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        vars(self).update(state)


class ControlSensorLost(Interlock):
    """Reset: a believable air reading. The heater is off from the first missing one."""

    name = "control-sensor-lost"
    AFTER_S = 60.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.lost_s = 0.0

    def look(self, v: View) -> str | None:
        self.lost_s = 0.0 if v.control_c is not None else self.lost_s + v.dt_s
        if self.lost_s <= self.AFTER_S or not (v.night or v.phase == "tripped"):
            return None
        return (
            f"No believable air temperature for {show_duration(self.lost_s)} "
            f"({v.control_fault}): look at the sensor, its cable, and whether it still hangs in a "
            f"closed box."
        )


class OverTemperature(Interlock):
    """Air, part or heater above its limit. Reset: 2 K below it. Two readings in a row."""

    name = "over-temperature"
    BACK_K = 2.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.over_ticks = 0
        self.tripped = False

    def look(self, v: View) -> str | None:
        limits = self.settings.limits
        back_k = self.BACK_K if self.tripped else 0.0
        worst: tuple[str, float, float] | None = None
        for air_c in v.air_c:
            if air_c > limits.air_c - back_k:
                worst = "air", air_c, limits.air_c
        for name, part_c in v.parts_c:
            if part_c > limits.part_c - back_k:
                worst = name, part_c, limits.part_c
        for heater_c in v.heaters_c:
            if heater_c > limits.heater_c - back_k:
                worst = "heater", heater_c, limits.heater_c
        if worst is None:
            self.over_ticks, self.tripped = 0, False
            return None
        self.over_ticks += 1
        self.tripped = self.tripped or self.over_ticks >= 2
        if not self.tripped:
            return None
        what, value_c, limit_c = worst
        return (
            f"Over-temperature: {what} at {self.show(value_c)}, limit {self.show(limit_c)}. Keep "
            f"away from the parts until they cool; find out why before the next heat."
        )


class Exotherm(Interlock):
    """A part heats itself: hotter than air and setpoint by its allowance, or rising unheated."""

    name = "exotherm"
    FOR_S = 60.0
    OFF_S = 900.0
    RISE_K = 1.5

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.hot_s = 0.0
        self.off_s = 0.0
        self.lowest_c: dict[str, float] = {}

    def look(self, v: View) -> str | None:
        self.off_s = 0.0 if v.heater_on else self.off_s + v.dt_s
        if not v.parts_c or v.control_c is None:
            return None
        name, part_c = max(v.parts_c, key=lambda p: p[1])
        base_c = v.control_c
        if v.setpoint_c is not None and v.setpoint_c > base_c:
            base_c = v.setpoint_c
        hot = v.heated and part_c > base_c + self.settings.limits.exotherm_c
        self.hot_s = self.hot_s + v.dt_s if hot else 0.0
        if self.hot_s > self.FOR_S:
            return self._sentence(name, part_c, v.control_c, "")
        if self.off_s <= self.OFF_S:
            if self.lowest_c:
                self.lowest_c = {}
            return None
        for name, part_c in v.parts_c:
            lowest_c = min(self.lowest_c.get(name, part_c), part_c)
            self.lowest_c[name] = lowest_c
            if part_c > lowest_c + self.RISE_K and part_c > v.control_c + 1.0:
                return self._sentence(name, part_c, v.control_c, " and rising with the heater off")
        return None

    def _sentence(self, name: str, part_c: float, air_c: float, more: str) -> str:
        return (
            f"Exotherm: {name} is at {self.show(part_c)} in air of {self.show(air_c)}{more}: the "
            f"resin heats itself. Do not open the box over fumes; let it cool, watch for smoke."
        )


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

    def look(self, v: View) -> str | None:
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

    def look(self, v: View) -> str | None:
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

    def look(self, v: View) -> str | None:
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

    def look(self, v: View) -> str | None:
        self.on_s = self.on_s + v.dt_s if v.heater_on else 0.0
        longest_s = self.settings.limits.longest_heater_on_h * 3600.0
        if self.on_s <= longest_s:
            return None
        return (
            f"Heater on for {show_duration(self.on_s)} without a pause; the longest allowed is "
            f"{show_duration(longest_s)}. The box may be open, or the heater too weak for it."
        )


class NightTooLong(Interlock):
    """The night has not ended by the settings' longest."""

    name = "night-too-long"

    def look(self, v: View) -> str | None:
        longest_s = self.settings.limits.longest_night_h * 3600.0
        if not v.night or v.night_s <= longest_s:
            return None
        return (
            f"The night has run for {show_duration(v.night_s)}; the longest allowed is "
            f"{show_duration(longest_s)}. What kept it waiting is in the events."
        )


class TickLate(Interlock):
    """The loop stood still; the dead-man has opened the relay meanwhile."""

    name = "tick-late"
    TRIP_S = 30.0

    def look(self, v: View) -> str | None:
        if not v.night or v.gap_s <= self.TRIP_S:
            return None
        return (
            f"The controller stood still for {show_duration(v.gap_s)} (more than "
            f"{show_duration(self.TRIP_S)}): look at the board's load, card and supply."
        )


class LedgerLost(Interlock):
    """Neither record nor commands: a full disk, a dead card."""

    name = "ledger-lost"
    AFTER_S = 60.0

    def look(self, v: View) -> str | None:
        silent_s, what = max((v.ledger_silent_s, "written"), (v.inbox_silent_s, "read"))
        if not v.night or silent_s <= self.AFTER_S:
            return None
        return (
            f"The ledger could not be {what} for {show_duration(silent_s)}, so nobody can see or "
            f"stop the oven from the page: look at the disk's free space and the card."
        )


class ClockStepped(Interlock):
    """The wall clock moved against the monotonic one: the record's times cannot be trusted."""

    name = "clock-stepped"
    TRIP_S = 60.0

    def look(self, v: View) -> str | None:
        if not v.night or abs(v.wall_step_s) <= self.TRIP_S:
            return None
        way = "ahead" if v.wall_step_s > 0 else "back"
        return (
            f"The clock jumped {way} by {show_duration(abs(v.wall_step_s))}, so this night's times "
            f"cannot be trusted: check the board's time and time server."
        )


RULES: tuple[type[Interlock], ...] = (
    OverTemperature,
    Exotherm,
    HeaterStuckOn,
    ControlSensorLost,
    HeaterWithoutEffect,
    CannotHold,
    HeaterOnTooLong,
    NightTooLong,
    TickLate,
    LedgerLost,
    ClockStepped,
)
