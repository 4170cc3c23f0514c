"""A profile under way: the setpoint it gives as the night goes."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, Literal, NamedTuple

from ..cure.clock_figures import Milestone
from ..profile import (
    NO_NEARER_K,
    NO_NEARER_S,
    WAIT_SHARE,
    Cool,
    Profile,
    Ramp,
    Soak,
    awaited_of,
)

#: The longest night that any oven allows, s.
LONGEST_S = 72.0 * 3600.0
#: The air is kept so much further below what the parts' glass transition allows, K: a regulator's
#: ripple. Where it is above that by as much again the setpoint comes down.
RIPPLE_K = 0.5
#: Why a wait was given up.
GivenUp = Literal["no-nearer", "no-time"]


class Glasses(NamedTuple):
    """The parts' glass transition and cure, by their cards' late figures."""

    tg_c: float
    """The lowest of them."""
    air_tg_c: float
    """What the air may be at while every part stays below its own: less by so much as a part is
    warmer than the air."""
    degree: float
    """The lowest degree of cure."""


class Oven(NamedTuple):
    """What a profile needs to know of the oven at a tick, °C."""

    control_c: float
    coldest_c: float
    """Of air, parts and moulds."""
    hottest_c: float
    ambient_c: float | None
    paused: bool = False
    """Heat was not allowed: the oven cannot be expected to come nearer."""
    glass: Glasses | None = None
    """Of the parts whose cards tell it."""


class ProfileRun:
    """A profile under way: its setpoint now and ahead, and how long is left. No clock, no I/O.

    Args:
        start_c: the air's temperature at first.
        longest_s: the longest night allowed; every wait ends well before it.
    """

    STATE = (
        *("ramp_limit_c_per_h", "index", "setpoint_c", "counted_s", "waiting"),
        *("wait_left_s", "nearest_k", "stood_s", "given_up", "floor_c", "held_c"),
    )

    def __init__(
        self,
        profile: Profile,
        start_c: float,
        ramp_limit_c_per_h: float,
        longest_s: float = LONGEST_S,
    ) -> None:
        self.profile = profile
        self.ramp_limit_c_per_h = ramp_limit_c_per_h
        self.index = 0
        self.setpoint_c = start_c
        self.counted_s = 0.0
        """Of the present soak: the time that counted. Of a ramp that waits for a milestone: for how
        long; all it may once that is over."""
        self.waiting = False
        """The clock or the ramp stands still because the oven is behind."""
        self.wait_left_s = 0.0
        """How long it may still wait for the oven this night, s; `plan_waits` reckons it."""
        self.nearest_k: float | None = None
        """Where the present segment's oven last came nearer to what is waited for."""
        self.stood_s = 0.0
        """How long it has waited since then, s."""
        self.given_up: GivenUp | None = None
        """Why the present segment waits no more."""
        self._gives_up: GivenUp | None = None
        self.floor_c = start_c
        """Where the last ramp began: no glass transition brings the setpoint below it."""
        self.held_c: float | None = None
        """What the parts' glass transition lets the setpoint be; None: nothing bounds it."""
        self.plan_waits(longest_s)

    def plan_waits(self, left_s: float) -> None:
        """Set what may be waited, for a night that may last `left_s` more from now on."""
        self.wait_left_s = WAIT_SHARE * max(left_s - self.longest_left_s(), 0.0)

    @property
    def finished(self) -> bool:
        """Whether every segment is over."""
        return self.index >= len(self.profile.segments)

    @property
    def segment(self) -> Ramp | Soak | Cool:
        """The segment under way."""
        return self.profile.segments[self.index]

    @property
    def cools_to_c(self) -> float | None:
        """The setpoint where air may lie below its parts by rights; else None.

        In a cool-down, in a ramp down, and in a soak, which may have been lowered.
        """
        if self.finished:
            return None
        s = self.segment
        rises = isinstance(s, Ramp) and s.to_c >= self.setpoint_c
        return None if rises else self.setpoint_c

    def advance(
        self, dt_s: float, oven: Oven, reached: Callable[[Milestone], bool] | None = None
    ) -> GivenUp | None:
        """Let `dt_s` pass with the oven as it is; moves the setpoint and perhaps the segment.

        `reached` tells whether every part's cure is past a milestone. Returns why a wait was given
        up, on the tick on which it was.
        """
        s = self.segment
        self._gives_up = None
        awaited = awaited_of(s)
        there = awaited is not None and reached is not None and reached(awaited)
        self.held_c = self._bound(oven.glass)
        if isinstance(s, Ramp):
            if self._holds(s):
                if not there:
                    self.waiting = True
                    self.counted_s += dt_s
                    return None
                self.counted_s = s.wait_at_most_h * 3600.0
            behind_c = self.setpoint_c - oven.control_c
            if s.to_c < self.setpoint_c:
                behind_c = -behind_c
            behind = behind_c > self.profile.lag_c
            lost, distance_k = self._lost(s, dt_s), abs(s.to_c - oven.control_c)
            if lost > 0.0 and self.held_c is not None:
                distance_k = max(distance_k, s.to_c - self.held_c)
            lost_s = dt_s if behind else lost * dt_s
            waits = self._waits(lost_s, behind or lost > 0.0, distance_k, oven.paused)
            self.waiting = waits and (behind or lost > 0.5)
            if not (waits and behind):
                self._move(self._allowed(s.to_c), s.rate_c_per_h, dt_s)
            if self.setpoint_c == s.to_c or (lost > 0.0 and self.given_up is not None):
                self._next()
        elif isinstance(s, Soak):
            self._move(self._allowed(s.at_c), self.ramp_limit_c_per_h, dt_s)
            missing_k = s.at_c - oven.coldest_c
            if s.ends_on_tg:
                there = (there or awaited is None) and _cured(s, oven.glass)
            behind = awaited is None and not s.ends_on_tg and missing_k > self.profile.band_c
            self.waiting = self._waits(dt_s, behind, missing_k, oven.paused)
            if not self.waiting:
                self.counted_s += dt_s
            if there or self.counted_s >= s.hours * 3600.0:
                self._next()
        else:
            self.waiting = False
            self.setpoint_c -= s.rate_c_per_h * dt_s / 3600.0
            coldest_c = s.below_c if oven.ambient_c is None else max(s.below_c, oven.ambient_c + 2)
            behind = self.setpoint_c < s.below_c
            self._waits(dt_s, behind, oven.hottest_c - coldest_c, paused=False)
            if oven.hottest_c < coldest_c or self.given_up is not None:
                self._next()
        return self._gives_up

    def _waits(self, dt_s: float, behind: bool, distance_k: float, paused: bool) -> bool:
        """Whether to stand still for an oven that is `behind`, `distance_k` from being there."""
        if paused or self.nearest_k is None or distance_k <= self.nearest_k - NO_NEARER_K:
            self.nearest_k, self.stood_s = distance_k, 0.0
        if not behind or self.given_up is not None:
            return False
        self.stood_s += dt_s
        self.wait_left_s = max(self.wait_left_s - dt_s, 0.0)
        if self.stood_s >= NO_NEARER_S:
            self.given_up = self._gives_up = "no-nearer"
        elif self.wait_left_s == 0.0:
            self.given_up = self._gives_up = "no-time"
        return self.given_up is None

    # ---- below the parts' glass transition --------------------------------------------------

    @property
    def margin_k(self) -> float | None:
        """How far every part is kept below its glass transition now, K: as the last ramp had it."""
        if self.finished or isinstance(self.segment, Cool):
            return None
        for s in reversed(self.profile.segments[: self.index + 1]):
            if isinstance(s, Ramp):
                return s.tg_margin_k
        return None

    @property
    def held_by_glass(self) -> bool:
        """Whether the setpoint would go on, were it not for the parts' glass transition."""
        if self.held_c is None or self.finished or isinstance(self.segment, Cool):
            return False
        s = self.segment
        to_c = s.to_c if isinstance(s, Ramp) else s.at_c
        return self.held_c < to_c and self.setpoint_c >= self.held_c - RIPPLE_K

    def _lost(self, ramp: Ramp, dt_s: float) -> float:
        """Of a ramp's `dt_s`, the share that the parts' glass transition takes from it, 0 to 1."""
        full_c = _towards(self.setpoint_c, ramp.to_c, ramp.rate_c_per_h * dt_s / 3600.0)
        if self.held_c is None or self.held_c >= full_c or full_c <= self.setpoint_c:
            return 0.0
        gained_k = max(self._allowed(ramp.to_c) - self.setpoint_c, 0.0)
        return 1.0 - gained_k / (full_c - self.setpoint_c)

    def _bound(self, glass: Glasses | None) -> float | None:
        margin_k = self.margin_k
        if margin_k is None:
            return None
        if glass is None:  # a margin was asked for, and nobody knows it
            return self.floor_c
        # In this order: what is no number holds it where the ramp began, too.
        return max(self.floor_c, glass.air_tg_c - margin_k - RIPPLE_K)

    def _allowed(self, to_c: float) -> float:
        """`to_c`, or as near to it as the parts' glass transition lets the setpoint be."""
        if self.held_c is None or self.held_c >= to_c:
            return to_c
        if self.held_c < self.setpoint_c <= self.held_c + RIPPLE_K:
            return min(self.setpoint_c, to_c)
        return self.held_c

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
            return _towards(at_c, self._allowed(s.to_c), s.rate_c_per_h * lead_s / 3600.0)
        if isinstance(s, Soak):
            return _towards(at_c, self._allowed(s.at_c), self.ramp_limit_c_per_h * lead_s / 3600.0)
        return at_c - s.rate_c_per_h * lead_s / 3600.0

    def left_s(self) -> float:
        """Time (s) until the end if nothing waits."""
        if self.finished:
            return 0.0
        plan_s = self.profile.planned_s(self.setpoint_c, self.ramp_limit_c_per_h, self.index)
        return max(plan_s - (self.counted_s if isinstance(self.segment, Soak) else 0.0), 0.0)

    def longest_left_s(self) -> float:
        """Time (s) until the end if every wait for a milestone takes its longest."""
        return self.left_s() + self.profile.milestone_waits_s(self.index)

    def skip(self) -> None:
        """Leave the present segment; the setpoint stays where it is."""
        self._next()

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready; `restore` gives the same run again."""
        state = {name: getattr(self, name) for name in self.STATE}
        return {"profile": self.profile.model_dump(mode="json"), **state}

    @classmethod
    def restore(cls, state: dict[str, Any]) -> ProfileRun:
        """The run that `snapshot` was taken from."""
        run = cls(Profile.model_validate(state["profile"]), 0.0, state["ramp_limit_c_per_h"])
        for name in cls.STATE:  # an older snapshot has fewer
            setattr(run, name, state.get(name, getattr(run, name)))
        return run

    def _holds(self, ramp: Ramp) -> bool:
        """Whether a ramp still holds for its milestone."""
        return ramp.wait_for is not None and self.counted_s < ramp.wait_at_most_h * 3600.0

    def _move(self, target_c: float, rate_c_per_h: float, dt_s: float) -> None:
        self.setpoint_c = _towards(self.setpoint_c, target_c, rate_c_per_h * dt_s / 3600.0)

    def _next(self) -> None:
        self.index += 1
        self.counted_s = self.stood_s = 0.0
        self.waiting = False
        self.nearest_k = self.given_up = self.held_c = None
        if not self.finished and isinstance(self.segment, Ramp):
            self.floor_c = self.setpoint_c


def _cured(soak: Soak, glass: Glasses | None) -> bool:
    """Whether every part has come to what a soak ends on."""
    if glass is None:
        return False
    hard = soak.until_tg_c is None or glass.tg_c >= soak.until_tg_c
    return hard and (soak.until_degree is None or glass.degree >= soak.until_degree)


def _towards(from_c: float, to_c: float, most_c: float) -> float:
    """`from_c` moved towards `to_c` by at most `most_c`."""
    if abs(to_c - from_c) <= most_c:
        return to_c
    return from_c + most_c if to_c > from_c else from_c - most_c
