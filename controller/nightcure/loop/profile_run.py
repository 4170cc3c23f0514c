"""A profile under way: the setpoint it gives as the night goes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from ..cure.clock_figures import Milestone
from ..profile import Cool, Profile, Ramp, Soak, awaited_of


class Oven(NamedTuple):
    """What a profile needs to know of the oven at a tick, °C."""

    control_c: float
    slowest_c: float
    """The part or mould furthest from the setpoint, else the air."""
    hottest_c: float
    ambient_c: float | None


def oven_of(control_c: float, parts_c: list[float], ambient_c: float, setpoint_c: float) -> Oven:
    """The oven as a profile sees it; the first part that is furthest from the setpoint counts."""
    slowest_c = hottest_c = control_c
    furthest_c = -1.0
    for part_c in parts_c:
        if abs(part_c - setpoint_c) > furthest_c:
            furthest_c, slowest_c = abs(part_c - setpoint_c), part_c
        hottest_c = max(hottest_c, part_c)
    return Oven(control_c, slowest_c, hottest_c, ambient_c)


class ProfileRun:
    """A profile under way: its setpoint now and ahead, and how long is left. No clock, no I/O."""

    def __init__(self, profile: Profile, start_c: float, ramp_limit_c_per_h: float) -> None:
        self.profile = profile
        self.ramp_limit_c_per_h = ramp_limit_c_per_h
        self.index = 0
        self.setpoint_c = start_c
        self.counted_s = 0.0
        """Of the present soak: the time that counted. Of a ramp that waits for a milestone: for how
        long; all it may once that is over."""
        self.waiting = False
        """The clock or the ramp stands still because the oven is behind."""

    @property
    def finished(self) -> bool:
        """Whether every segment is over."""
        return self.index >= len(self.profile.segments)

    @property
    def segment(self) -> Ramp | Soak | Cool:
        """The segment under way."""
        return self.profile.segments[self.index]

    def advance(
        self, dt_s: float, oven: Oven, reached: Callable[[Milestone], bool] | None = None
    ) -> None:
        """Let `dt_s` pass with the oven as it is; moves the setpoint and perhaps the segment.

        `reached` tells whether every part's cure is past a milestone.
        """
        s = self.segment
        awaited = awaited_of(s)
        there = awaited is not None and reached is not None and reached(awaited)
        if isinstance(s, Ramp):
            if self._holds(s):
                if not there:
                    self.waiting = True
                    self.counted_s += dt_s
                    return
                self.counted_s = s.wait_at_most_h * 3600.0
            behind_c = self.setpoint_c - oven.control_c
            if s.to_c < self.setpoint_c:
                behind_c = -behind_c
            self.waiting = behind_c > self.profile.lag_c
            if not self.waiting:
                self._move(s.to_c, s.rate_c_per_h, dt_s)
            if self.setpoint_c == s.to_c:
                self._next()
        elif isinstance(s, Soak):
            self._move(s.at_c, self.ramp_limit_c_per_h, dt_s)
            self.waiting = awaited is None and (
                self.setpoint_c != s.at_c
                or abs(oven.slowest_c - s.at_c) > self.profile.band_c
                or abs(oven.control_c - s.at_c) > self.profile.band_c
            )
            if not self.waiting:
                self.counted_s += dt_s
            if there or self.counted_s >= s.hours * 3600.0:
                self._next()
        else:
            self.waiting = False
            self.setpoint_c -= s.rate_c_per_h * dt_s / 3600.0
            coldest_c = s.below_c if oven.ambient_c is None else max(s.below_c, oven.ambient_c + 2)
            if oven.hottest_c < coldest_c:
                self._next()

    def ahead(self, lead_s: float) -> float:
        """The setpoint (°C) `lead_s` from now, were this segment to go on.

        A ramp's end is foreseen; what comes after a soak is not, so that a soak is held to its end.
        """
        if self.finished:
            return self.setpoint_c
        s = self.segment
        at_c = self.setpoint_c
        if isinstance(s, Ramp):
            if self._holds(s):
                return at_c
            # Waiting for the air it may go on at any moment; a lead that came and went with every
            # stop would switch the heater off just when all of it is needed.
            return _towards(at_c, s.to_c, s.rate_c_per_h * lead_s / 3600.0)
        if isinstance(s, Soak):
            return _towards(at_c, s.at_c, self.ramp_limit_c_per_h * lead_s / 3600.0)
        return at_c - s.rate_c_per_h * lead_s / 3600.0

    def left_s(self) -> float:
        """Time (s) until the end if nothing waits."""
        if self.finished:
            return 0.0
        plan_s = self.profile.planned_s(self.setpoint_c, self.ramp_limit_c_per_h, self.index)
        return max(plan_s - (self.counted_s if isinstance(self.segment, Soak) else 0.0), 0.0)

    def skip(self) -> None:
        """Leave the present segment; the setpoint stays where it is."""
        self._next()

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready; `restore` gives the same run again."""
        return {
            "profile": self.profile.model_dump(mode="json"),
            "ramp_limit_c_per_h": self.ramp_limit_c_per_h,
            "index": self.index,
            "setpoint_c": self.setpoint_c,
            "counted_s": self.counted_s,
            "waiting": self.waiting,
        }

    @classmethod
    def restore(cls, state: dict[str, Any]) -> ProfileRun:
        """The run that `snapshot` was taken from."""
        run = cls(Profile.model_validate(state["profile"]), 0.0, state["ramp_limit_c_per_h"])
        for key in ("index", "setpoint_c", "counted_s", "waiting"):
            setattr(run, key, state[key])
        return run

    def _holds(self, ramp: Ramp) -> bool:
        """Whether a ramp still holds for its milestone."""
        return ramp.wait_for is not None and self.counted_s < ramp.wait_at_most_h * 3600.0

    def _move(self, target_c: float, rate_c_per_h: float, dt_s: float) -> None:
        self.setpoint_c = _towards(self.setpoint_c, target_c, rate_c_per_h * dt_s / 3600.0)

    def _next(self) -> None:
        self.index += 1
        self.counted_s = 0.0
        self.waiting = False


def _towards(from_c: float, to_c: float, most_c: float) -> float:
    """`from_c` moved towards `to_c` by at most `most_c`."""
    if abs(to_c - from_c) <= most_c:
        return to_c
    return from_c + most_c if to_c > from_c else from_c - most_c
