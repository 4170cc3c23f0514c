"""`loop.profile_run.ProfileRun` for many nights and profiles at once.

Shapes (nights, profiles). A segment ends on a step; steps are short against segments.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from ..cure.clock_figures import MILESTONES, Milestone
from ..oven.arrays import Array
from ..profile import Profile, Ramp, Soak, awaited_of
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
Reached = Callable[[Milestone], NDArray[np.bool_]]


class Courses:
    """Where every night is in its profile."""

    def __init__(self, profiles: Sequence[Profile], limits: Limits, start_c: Array) -> None:
        """`start_c`: (nights, profiles), what the control sensor reads at the start."""
        longest = max(len(p.segments) for p in profiles)
        shape = len(profiles), longest + 1
        self._kinds = np.full(shape, OVER)
        self._targets, self._rates, self._times = (np.zeros(shape) for _ in range(3))
        self._awaits = np.full(shape, -1)
        for i, profile in enumerate(profiles):
            for j, s in enumerate(profile.segments):
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
        highest = np.floor((self._targets + bands) / QUANTUM_C + 1e-9)
        self._lowest, self._highest = (lowest - 0.5) * QUANTUM_C, (highest + 0.5) * QUANTUM_C
        self._row = np.arange(len(profiles))[None, :]
        nights = start_c.shape[0], len(profiles)
        self._index = np.zeros(nights, dtype=np.intp)
        self._counted = np.zeros(nights)
        self.setpoint_c: Array = np.broadcast_to(start_c, nights).copy()
        self._look()

    def _look(self) -> None:
        """Gather what every night's segment says."""
        at = self._row, self._index
        kind = self._kinds[at]
        self._target, self._rate = self._targets[at], self._rates[at]
        self._time, self._await = self._times[at], self._awaits[at]
        self._low, self._high = self._lowest[at], self._highest[at]
        self._ramp, self._soak, self._cool = kind == RAMP, kind == SOAK, kind == COOL
        self.over: NDArray[np.bool_] = kind == OVER
        """The profile is done."""
        self.soaking: NDArray[np.bool_] = self._soak
        self.heated: NDArray[np.bool_] = self._ramp | self._soak
        self._moves = np.where(self.heated, self._rate, 0.0)
        self._held = self._soak & (self._await < 0)

    def advance(
        self,
        dt_s: float,
        control_c: Array,
        parts_c: Sequence[Array],
        ambient_c: Array,
        reached: Reached,
        stopped: NDArray[np.bool_],
    ) -> None:
        """Let `dt_s` pass with the oven as it is; `stopped` nights stay where they are."""
        there = self._there(reached)
        # A soak ends on the step nearest to its time, before this step's heat is reckoned.
        ended = self._soak & (there | (self._counted >= self._time - 0.5 * dt_s)) & ~stopped
        if ended.any():
            self._go_on(ended)
            there = self._there(reached)
        holding = self._ramp & (self._counted < self._time)
        hold = holding & ~there
        behind = self.setpoint_c - control_c
        behind = np.where(self._target < self.setpoint_c, -behind, behind)
        moving = self.heated & ~(self._ramp & (behind > self._lag)) & ~hold & ~stopped
        step = self._moves * dt_s
        towards = np.clip(self._target - self.setpoint_c, -step, step)
        self.setpoint_c = self.setpoint_c + np.where(moving, towards, 0.0)
        self.setpoint_c -= np.where(self._cool & ~stopped, self._rate * dt_s, 0.0)
        close = np.abs(self.setpoint_c - self._target) < 1e-9
        counts = np.where(self._held, close * self._within(control_c, parts_c), self._soak | hold)
        self._counted = np.where(holding & there, self._time, self._counted + dt_s * counts)
        ended = self._ramp & ~hold & close
        if self._cool.any():
            hottest_c = control_c
            for part_c in parts_c:
                hottest_c = np.maximum(hottest_c, part_c)
            ended |= self._cool & (hottest_c < np.maximum(self._target, ambient_c + 2.0))
        ended &= ~stopped
        if ended.any():
            self._go_on(ended)

    def _within(self, control_c: Array, parts_c: Sequence[Array]) -> Array:
        """Of the step's readings, the share that has air and parts within the band."""
        share: Array = np.ones(control_c.shape)
        for c in (control_c, *parts_c):
            inside_c = np.minimum(c - self._low, self._high - c)
            share = share * np.clip(inside_c / EDGE_C + 0.5, 0.0, 1.0)
        return share

    def _there(self, reached: Reached) -> NDArray[np.bool_]:
        """Where the milestone that is waited for has come."""
        there: NDArray[np.bool_] = np.zeros(self._ramp.shape, dtype=bool)
        for name in self.awaited:
            there |= (self._await == MILESTONES.index(name)) & reached(name)
        return there

    def _go_on(self, ended: NDArray[np.bool_]) -> None:
        """To the next segment."""
        self._index += ended
        self._counted[ended] = 0.0
        self._look()

    def ahead(self, lead_s: float) -> Array:
        """The setpoint `lead_s` from now, were this segment to go on, °C."""
        reach = self._moves * lead_s
        holding = self._ramp & (self._counted < self._time)
        towards = np.where(holding, 0.0, np.clip(self._target - self.setpoint_c, -reach, reach))
        result: Array = self.setpoint_c + np.where(self._cool, -self._rate * lead_s, towards)
        return result
