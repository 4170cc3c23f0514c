"""`loop.profile_run.ProfileRun` for many nights and profiles at once.

Shapes (nights, profiles). A segment ends on a step; steps are short against segments.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..cure.clock_figures import MILESTONES, Milestone
from ..oven.arrays import Array
from ..profile import (
    NO_NEARER_K,
    NO_NEARER_S,
    WAIT_SHARE,
    Profile,
    Ramp,
    Soak,
    awaited_of,
)
from ..settings import Limits

RAMP, SOAK, COOL, OVER = range(4)
#: A DS18B20 tells sixteenths of a degree (maker's data sheet), so a band ends where the last
#: sixteenth within it is rounded away from.
QUANTUM_C = 0.0625
#: One standard deviation of a reading's noise, as in `simulate.virtual` (common practice, no
#: source).
NOISE_C = 0.03
#: Noise makes a band's edge so wide: readings there are within it now and then. Even noise of this
#: width has that deviation.
EDGE_C = NOISE_C * 12.0**0.5
#: As `loop.profile_run` has it.
RIPPLE_K = 0.5
Reached = Callable[[Milestone], NDArray[np.bool_]]


class Glasses(NamedTuple):
    """See `loop.profile_run.Glasses`."""

    tg_c: Array
    air_tg_c: Array
    degree: Array


class Courses:
    """Where every night is in its profile."""

    def __init__(self, profiles: Sequence[Profile], limits: Limits, start_c: Array) -> None:
        """`start_c`: (nights, profiles), what the control sensor reads at the start."""
        longest = max(len(p.segments) for p in profiles)
        shape = len(profiles), longest + 1
        self._kinds = np.full(shape, OVER)
        self._targets, self._rates, self._times = (np.zeros(shape) for _ in range(3))
        self._awaits = np.full(shape, -1)
        # What a soak ends on (NaN: nothing), and the margin below the parts' Tg (infinite: none).
        self._tgs, self._degrees = np.full(shape, np.nan), np.full(shape, np.nan)
        self._margins = np.full(shape, -np.inf)
        for i, profile in enumerate(profiles):
            margin_k = -math.inf
            for j, s in enumerate(profile.segments):
                if isinstance(s, Ramp):
                    margin_k = -math.inf if s.tg_margin_k is None else s.tg_margin_k
                if isinstance(s, Soak) and s.ends_on_tg:
                    self._tgs[i, j] = -math.inf if s.until_tg_c is None else s.until_tg_c
                    self._degrees[i, j] = s.until_degree or 0.0
                if isinstance(s, Ramp | Soak):
                    self._margins[i, j] = margin_k
                awaited = awaited_of(s)
                if awaited is not None:
                    self._awaits[i, j] = MILESTONES.index(awaited)
                if isinstance(s, Ramp):
                    row = RAMP, s.to_c, s.rate_c_per_h, s.wait_at_most_h if s.wait_for else 0.0
                elif isinstance(s, Soak):
                    row = SOAK, s.at_c, limits.ramp_c_per_h, s.hours
                else:
                    row = COOL, s.below_c, s.rate_c_per_h, 0.0
                self._kinds[i, j] = row[0]
                self._targets[i, j], self._rates[i, j] = row[1], row[2] / 3600.0
                self._times[i, j] = 3600.0 * row[3]
        self.awaited: tuple[Milestone, ...] = tuple(
            MILESTONES[m] for m in sorted(set(self._awaits[self._awaits >= 0].tolist()))
        )
        """Milestones any profile waits for."""
        self._lag = np.array([[p.lag_c for p in profiles]])
        bands = np.array([[p.band_c] for p in profiles])
        lowest = np.ceil((self._targets - bands) / QUANTUM_C - 1e-9)
        self._lowest = (lowest - 0.5) * QUANTUM_C
        self._row = np.arange(len(profiles))[None, :]
        nights = start_c.shape[0], len(profiles)
        self._index = np.zeros(nights, dtype=np.intp)
        self._counted = np.zeros(nights)
        self.setpoint_c: Array = np.broadcast_to(start_c, nights).copy()
        self._wait_left = WAIT_SHARE * self._spare_s(profiles, limits)
        self._nearest_k = np.full(nights, np.inf)
        self._stood_s = np.zeros(nights)
        self._given_up: NDArray[np.bool_] = np.zeros(nights, dtype=bool)
        self._floor = self.setpoint_c.copy()
        self._bound: Array = np.full(nights, np.inf)
        self._look()

    def _spare_s(self, profiles: Sequence[Profile], limits: Limits) -> Array:
        """What each night's profile leaves of the longest night at its start, s."""
        first_c = self._targets[:, 0]
        planned_s = np.array(
            [
                p.planned_s(float(c), limits.ramp_c_per_h) + p.milestone_waits_s()
                for p, c in zip(profiles, first_c, strict=True)
            ]
        )
        planned_s = planned_s + np.abs(first_c - self.setpoint_c) / self._rates[:, 0]
        spare_s: Array = np.maximum(limits.longest_night_h * 3600.0 - planned_s, 0.0)
        return spare_s

    def _look(self) -> None:
        """Gather what every night's segment says."""
        at = self._row, self._index
        kind = self._kinds[at]
        self._target, self._rate = self._targets[at], self._rates[at]
        self._time, self._await = self._times[at], self._awaits[at]
        self._low = self._lowest[at]
        self._ramp, self._soak, self._cool = kind == RAMP, kind == SOAK, kind == COOL
        self.over: NDArray[np.bool_] = kind == OVER
        """The profile is done."""
        self.soaking: NDArray[np.bool_] = self._soak
        self.heated: NDArray[np.bool_] = self._ramp | self._soak
        self._moves = np.where(self.heated, self._rate, 0.0)
        self._tg, self._degree = self._tgs[at], self._degrees[at]
        self._margin = self._margins[at]
        self._on_tg = self._soak & ~np.isnan(self._tg)
        self._held = self._soak & (self._await < 0) & ~self._on_tg

    def advance(
        self,
        dt_s: float,
        control_c: Array,
        parts_c: Sequence[Array],
        ambient_c: Array,
        reached: Reached,
        stopped: NDArray[np.bool_],
        glass: Glasses | None = None,
    ) -> None:
        """Let `dt_s` pass with the oven as it is; `stopped` nights stay where they are."""
        there = self._there(reached, glass)
        # A soak ends on the step nearest to its time, before this step's heat is reckoned.
        ended = self._soak & (there | (self._counted >= self._time - 0.5 * dt_s)) & ~stopped
        if ended.any():
            self._go_on(ended)
            there = self._there(reached, glass)
        if glass is not None:
            bound = glass.air_tg_c - self._margin - RIPPLE_K
            self._bound = np.maximum(bound, self._floor)
        to_c = self._allowed()
        step = self._moves * dt_s
        full = np.clip(self._target - self.setpoint_c, -step, step)
        gained = np.maximum(np.clip(to_c - self.setpoint_c, -step, step), 0.0)
        slowed = self._ramp & (full > gained) & (full > 0.0)
        lost = np.where(slowed, 1.0 - gained / np.maximum(full, 1e-12), 0.0)
        holding = self._ramp & (self._counted < self._time)
        hold = holding & ~there
        behind = self.setpoint_c - control_c
        behind = np.where(self._target < self.setpoint_c, -behind, behind)
        within = self._within(control_c, parts_c)
        waits = np.where(self._held, 1.0 - within, self._ramp & ~hold & (behind > self._lag))
        trails = self._ramp & (waits > 0.0)
        waits = np.where(self._ramp & ~hold, np.maximum(waits, lost), waits)
        hottest_c = coldest_c = control_c
        for part_c in parts_c:
            hottest_c = np.maximum(hottest_c, part_c)
            coldest_c = np.minimum(coldest_c, part_c)
        ends_c = np.maximum(self._target, ambient_c + 2.0)
        waits = np.where(self._cool, self.setpoint_c < self._target, waits)
        distance_k = np.where(self._soak, self._target - coldest_c, hottest_c - ends_c)
        distance_k = np.where(self._ramp, np.abs(self._target - control_c), distance_k)
        tg_k = np.where(slowed, self._target - self._bound, distance_k)
        distance_k = np.where(slowed, np.maximum(distance_k, tg_k), distance_k)
        waits = self._patient(dt_s, waits, distance_k, ~hold & ~stopped)
        moving = self.heated & ~(trails & (waits > 0.0)) & ~hold & ~stopped
        towards = np.clip(to_c - self.setpoint_c, -step, step)
        self.setpoint_c = self.setpoint_c + np.where(moving, towards, 0.0)
        self.setpoint_c -= np.where(self._cool & ~stopped, self._rate * dt_s, 0.0)
        close = np.abs(self.setpoint_c - self._target) < 1e-9
        counts = np.where(self._held, 1.0 - waits, self._soak | hold)
        self._counted = np.where(holding & there, self._time, self._counted + dt_s * counts)
        ended = self._ramp & ~hold & (close | (slowed & self._given_up))
        ended |= self._cool & ((hottest_c < ends_c) | self._given_up)
        ended &= ~stopped
        if ended.any():
            self._go_on(ended)

    def _patient(
        self, dt_s: float, waits: Array, distance_k: Array, looked: NDArray[np.bool_]
    ) -> Array:
        """Of the step, the share that is waited for the oven: see `ProfileRun._waits`."""
        nearer = looked & (distance_k <= self._nearest_k - NO_NEARER_K)
        self._nearest_k = np.where(nearer, distance_k, self._nearest_k)
        self._stood_s = np.where(nearer, 0.0, self._stood_s)
        waits = np.where(self._given_up | ~looked | self.over, 0.0, waits)
        self._stood_s = self._stood_s + dt_s * waits
        self._wait_left = np.maximum(self._wait_left - dt_s * waits, 0.0)
        ends = (self._stood_s >= NO_NEARER_S) | (self._wait_left == 0.0)
        self._given_up |= (waits > 0.0) & ends
        result: Array = np.where(self._given_up, 0.0, waits)
        return result

    def _within(self, control_c: Array, parts_c: Sequence[Array]) -> Array:
        """Of the step's readings, the share that has air and parts no colder than the band."""
        share: Array = np.ones(control_c.shape)
        for c in (control_c, *parts_c):
            share = share * np.clip((c - self._low) / EDGE_C + 0.5, 0.0, 1.0)
        return share

    def _allowed(self) -> Array:
        """`ProfileRun._allowed`."""
        over = (self._bound < self.setpoint_c) & (self.setpoint_c <= self._bound + RIPPLE_K)
        bound = np.where(over, np.minimum(self.setpoint_c, self._target), self._bound)
        result: Array = np.where(self._bound >= self._target, self._target, bound)
        return result

    def _there(self, reached: Reached, glass: Glasses | None) -> NDArray[np.bool_]:
        """Where the milestone that is waited for has come, or what a soak ends on."""
        there: NDArray[np.bool_] = np.zeros(self._ramp.shape, dtype=bool)
        for name in self.awaited:
            there |= (self._await == MILESTONES.index(name)) & reached(name)
        if glass is not None and self._on_tg.any():
            cured = (glass.tg_c >= self._tg) & (glass.degree >= self._degree)
            there = np.where(self._on_tg, cured & (there | (self._await < 0)), there)
        return there

    def _go_on(self, ended: NDArray[np.bool_]) -> None:
        """To the next segment."""
        self._index += ended
        self._counted[ended] = self._stood_s[ended] = 0.0
        self._nearest_k[ended] = np.inf
        self._given_up[ended] = False
        self._look()
        begun = ended & self._ramp
        self._floor[begun] = self.setpoint_c[begun]

    def ahead(self, lead_s: float) -> Array:
        """The setpoint `lead_s` from now, were this segment to go on, °C."""
        reach = self._moves * lead_s
        holding = self._ramp & (self._counted < self._time)
        towards = np.clip(self._allowed() - self.setpoint_c, -reach, reach)
        towards = np.where(holding, 0.0, towards)
        result: Array = self.setpoint_c + np.where(self._cool, -self._rate * lead_s, towards)
        return result
