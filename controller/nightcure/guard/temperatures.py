"""Interlocks on what the thermometers say, and on those that say nothing."""

from __future__ import annotations

import math

from ..settings import HOTTEST_C, Role, Settings
from ..tick import FAULT_WORDS, Fault
from ..units import show_duration
from .interlock import Interlock
from .interlock_inputs import InterlockInputs


class ControlSensorLost(Interlock):
    """Reset: a believable air reading. The heater is off from the first missing one."""

    name = "control-sensor-lost"
    AFTER_S = 60.0
    #: A sensor that answers and stood still shows within that time, with nothing heated, that the
    #: air falls.
    STOOD_S = 900.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.lost_s = 0.0
        self.silent_s = 0.0
        """Of it, since a sensor answered last: a doubt may last longer than a silence."""

    def look(self, v: InterlockInputs) -> str | None:
        self.lost_s = 0.0 if v.control_c is not None else self.lost_s + v.dt_s
        answers = v.control_c is not None or v.control_fault == Fault.FROZEN
        self.silent_s = 0.0 if answers else self.silent_s + v.dt_s
        lost = self.silent_s > self.AFTER_S or self.lost_s > self.STOOD_S
        if not lost or not (v.night or v.phase == "tripped"):
            return None
        fault = FAULT_WORDS.get(v.control_fault, v.control_fault)
        return (
            f"No believable air temperature for {show_duration(self.lost_s)} ({fault}): look at "
            f"the sensor, its cable, and whether it still hangs in a closed box."
        )


class AirDoubted(Interlock):
    """A warning: the box is open, or the air sensor is not in it. Heat pauses, and a short pulse
    tells (see `heat_check`).

    In a cool-down, where open boxes are common and nothing is pulsed, only once heat would be
    wanted.
    """

    name = "air-doubted"
    latching = False

    def look(self, v: InterlockInputs) -> str | None:
        wanted = v.control_c is None or v.setpoint_c is None or v.setpoint_c > v.control_c
        if not (v.night and v.doubted and wanted):
            return None
        told = f" Unanswered so far: {v.heat.pulses}." if v.heat.pulses else ""
        then = (
            "Nothing is heated meanwhile: it cools faster than asked."
            if v.phase == "cool"
            else f"The heater pauses, then a short pulse tells.{told}"
        )
        return (
            "The air is far below the parts, or two air sensors are far apart: is the box open, or "
            f"does a sensor hang outside? {then}"
        )


class SensorLost(Interlock):
    """A warning: a thermometer says nothing believable, and the night goes on without it.

    A soak is then timed by the parts that are left (else by the air), and a part nobody measures
    is not watched for its exotherm.
    """

    name = "sensor-lost"
    latching = False
    AFTER_S = 60.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.lost_s: dict[str, float] = {}

    def look(self, v: InterlockInputs) -> str | None:
        lost_s = self.lost_s
        if not v.lost and not lost_s:
            return None
        self.lost_s = {name: lost_s.get(name, 0.0) + v.dt_s for name, _ in v.lost}
        if not v.night or v.control_c is None:
            return None
        gone = [
            f"{name} ({FAULT_WORDS.get(fault, fault)})"
            for name, fault in v.lost
            if self.lost_s[name] > self.AFTER_S
        ]
        if not gone:
            return None
        return (
            f"Sensor lost: nothing believable from {', '.join(gone)}. The night goes on without "
            f"it; look at its plug and cable."
        )


class PartWarm(Interlock):
    """A warning: in a soak a part stays warmer than the setpoint by more than the band.

    The soak counts all the same. What the part's own heat explains is not told, nor a part that
    cools to a setpoint below it.
    """

    name = "part-warm"
    latching = False
    FOR_S = 1800.0
    FALLING_K = 0.5

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.warm_s: dict[str, float] = {}
        self.lowest_c: dict[str, float] = {}

    def look(self, v: InterlockInputs) -> str | None:
        warm_s, lowest_c = self.warm_s, self.lowest_c
        self.warm_s, self.lowest_c = {}, {}
        if v.phase != "soak" or v.setpoint_c is None:
            return None
        expected = v.self_heat_k or (None,) * len(v.parts_c)
        worst: tuple[str, float] | None = None
        for (name, part_c), own_k in zip(v.parts_c, expected, strict=True):
            if part_c - (own_k or 0.0) <= v.setpoint_c + v.band_c:
                continue
            falls = part_c < lowest_c.get(name, part_c) - self.FALLING_K
            self.warm_s[name] = 0.0 if falls else warm_s.get(name, 0.0) + v.dt_s
            self.lowest_c[name] = part_c if falls else lowest_c.get(name, part_c)
            if self.warm_s[name] > self.FOR_S and (worst is None or part_c > worst[1]):
                worst = name, part_c
        if worst is None:
            return None
        name, part_c = worst
        return (
            f"{name} is {self.show_change(part_c - v.setpoint_c)} above the setpoint of "
            f"{self.show(v.setpoint_c)}, at {self.show(part_c)}, and the soak counts all the same. "
            f"Move it away from the heater, or lower the setpoint."
        )


class OverTemperature(Interlock):
    """Air, part or heater above its limit for a tick's time. Reset: seen 2 K below it."""

    name = "over-temperature"
    BACK_K = 2.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.over_s: float | None = None
        self.tripped = False
        self.hot = ""
        """What was above its limit last."""

    def look(self, v: InterlockInputs) -> str | None:
        limits = self.settings.limits
        back_k = self.BACK_K if self.tripped else 0.0
        worst: tuple[str, float, float] | None = None
        for air_c in v.air_c:
            if air_c > limits.air_c - back_k:
                worst = "air", air_c, limits.air_c
        for name, part_c in v.parts_c:
            if part_c > limits.part_c - back_k:
                worst = name, part_c, limits.part_c
        for name in v.too_hot:
            worst = name, HOTTEST_C, HOTTEST_C
        for heater_c in v.heaters_c:
            if heater_c > limits.heater_c - back_k:
                worst = "heater", heater_c, limits.heater_c
        if worst is None:
            if self.tripped and self._unseen(v):
                return (
                    f"Over-temperature: {self.hot} was above its limit and says nothing believable "
                    f"since: look at its sensor, and how hot it is, before the reset."
                )
            self.over_s, self.tripped = None, False
            return None
        self.hot = worst[0]
        self.over_s = 0.0 if self.over_s is None else self.over_s + v.dt_s
        self.tripped = self.tripped or self.over_s > 0.9 * self.settings.timing.tick_s
        if not self.tripped:
            return None
        what, value_c, limit_c = worst
        if what in v.too_hot:
            return (
                f"Over-temperature: {what} rose past the {self.show(value_c)} that its thermometer "
                f"can measure. Keep away from the oven until it cools; find out why before the "
                f"next heat."
            )
        return (
            f"Over-temperature: {what} at {self.show(value_c)}, limit {self.show(limit_c)}. Keep "
            f"away from the parts until they cool; find out why before the next heat."
        )

    def _unseen(self, v: InterlockInputs) -> bool:
        """Whether what was hot says nothing, though the oven still has a thermometer there."""
        there = {t.role.value for t in self.settings.thermometers}
        there |= {t.name for t in self.settings.thermometers if t.role in (Role.PART, Role.MOULD)}
        seen = {name for name, _ in v.parts_c}
        seen |= {what for what, c in (("air", v.air_c), ("heater", v.heaters_c)) if c}
        return self.hot in there - seen


class Exotherm(Interlock):
    """A part heats itself: risen until it is hotter than air and setpoint by its allowance, or
    rising with the heater off past what it was.

    Where a resin card tells how much hotter its own heat may make it, the allowance is that and
    6 K: a normal exotherm passes, an abnormal one trips earlier. What a part slowly came to lie
    above the air before its resin heats, as under a radiant heater, is allowed on top. A mould that
    is only left behind by air that falls (a ramp down, a lower setpoint, an open box) falls itself;
    one whose skin was chilled by an open box comes back no higher than it was.
    """

    name = "exotherm"
    FOR_S = 60.0
    OFF_S = 900.0
    RISE_K = 1.5
    UNEXPECTED_K = 6.0
    """A card's figure for a thick laminate may be 4 K too low."""
    USUAL_S, USUAL_MOST_K, NO_OWN_HEAT_K = 1800.0, 4.0, 0.5
    FALLS_K = 0.3
    """A part so far below what it was is falling, or on its way back."""
    ROSE_K = 0.5
    """A part so far above the coldest it was of late has risen."""
    REMEMBERS_S = 1800.0
    """How long a mould holds what it was, beside its own lag."""

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.hot_s = 0.0
        self.off_s = 0.0
        self.was_c: dict[str, float] = {}
        """The warmest each part was of late: it falls slowly after the part and, while the heater
        is long off, rises slowly, too."""
        self.usual_k: dict[str, float] = {}
        """How far each part has come to lie above the air without its resin's heat."""
        self.low_c: dict[str, float] = {}
        """The coldest each part was of late, rising after it."""

    def look(self, v: InterlockInputs) -> str | None:
        self.off_s = 0.0 if v.heater_on else self.off_s + v.dt_s
        forgets = math.exp(-v.gap_s / (self.settings.model.mould_lag_s + self.REMEMBERS_S))
        was_c, low_c, lately = self.was_c, self.low_c, self.off_s <= self.OFF_S
        for name, part_c in v.parts_c:
            was = part_c + (was_c.get(name, part_c) - part_c) * forgets
            low_c[name] = min(part_c, part_c + (low_c.get(name, part_c) - part_c) * forgets)
            was_c[name] = max(was, part_c) if lately else was
        if v.night and v.night_s <= 0.0:
            self.usual_k = {}  # other parts, or the same in other places
        if not v.parts_c or v.control_c is None:
            return None
        expected = v.self_heat_k or (None,) * len(v.parts_c)
        base_c = v.control_c
        if v.setpoint_c is not None and v.setpoint_c > base_c:
            base_c = v.setpoint_c
        if v.heated:
            self._learn(v, base_c, expected)
        hot = [
            (name, part_c)
            for (name, part_c), expected_k in zip(v.parts_c, expected, strict=True)
            if part_c > low_c[name] + self.ROSE_K
            and part_c > was_c[name] - self.FALLS_K
            and part_c > base_c + self._allowed_k(name, expected_k)
        ]
        self.hot_s = self.hot_s + v.dt_s if hot and v.night else 0.0
        if self.hot_s > self.FOR_S:
            name, part_c = max(hot, key=lambda p: p[1])
            return self._sentence(name, part_c, v.control_c, "")
        return self._rising_unheated(v, expected)

    def _rising_unheated(
        self, v: InterlockInputs, expected: tuple[float | None, ...]
    ) -> str | None:
        """The heater long off and a part still rising, past what it was and above the air."""
        assert v.control_c is not None
        if self.off_s <= self.OFF_S:
            return None
        for (name, part_c), expected_k in zip(v.parts_c, expected, strict=True):
            own_k = expected_k or 0.0
            risen = part_c > self.was_c[name] + self.RISE_K + own_k
            if risen and part_c > v.control_c + self._allowed_k(name, expected_k):
                return self._sentence(name, part_c, v.control_c, " and rising with the heater off")
        return None

    def _allowed_k(self, name: str, expected_k: float | None) -> float:
        """How much hotter than its surroundings a part may be."""
        limit_k = self.settings.limits.exotherm_c
        if expected_k is None:
            return limit_k
        return min(limit_k, self.UNEXPECTED_K) + expected_k + self.usual_k.get(name, 0.0)

    def _learn(self, v: InterlockInputs, base_c: float, expected: tuple[float | None, ...]) -> None:
        """What lies above the air for hours before it cures is the oven's doing."""
        keeps = math.exp(-v.dt_s / self.USUAL_S)
        for (name, part_c), expected_k in zip(v.parts_c, expected, strict=True):
            if expected_k is None or expected_k < self.NO_OWN_HEAT_K:
                above_k = part_c - base_c
                usual_k = above_k + (self.usual_k.get(name, 0.0) - above_k) * keeps
                self.usual_k[name] = min(max(usual_k, 0.0), self.USUAL_MOST_K)

    def _sentence(self, name: str, part_c: float, air_c: float, more: str) -> str:
        return (
            f"Exotherm: {name} is at {self.show(part_c)} in air of {self.show(air_c)}{more}: the "
            f"resin heats itself. Do not open the box over fumes; let it cool, watch for smoke."
        )
