"""One part on its clock, and the heat that is expected of it."""

from __future__ import annotations

import math

from ..cure.clock_figures import Milestone
from ..cure.cure_clock import EARLY, LATE, LIKELY, CureClock
from ..cure.part import Part
from ..settings import Role, Settings
from .part_belief import NightBelief


class PartClock:
    """One part: its clock, and how hot its own heat should make it."""

    STATE = ("excess_k", "idle_c", "lag_k", "last_c")
    __slots__ = (*STATE, "belief", "capacity_j_per_k", "clock", "part", "sensor", "start_s")

    def __init__(self, part: Part, settings: Settings) -> None:
        assert part.figures is not None
        self.part = part
        self.clock = CureClock(part.figures)
        names = [t.name for t in settings.thermometers]
        self.sensor = None if part.sensor is None else names.index(part.sensor)
        self.start_s = 3600.0 * part.start_h
        moulds = max(len(settings.indices(Role.PART, Role.MOULD)), 1)
        self.capacity_j_per_k = part.mould_j_per_k or max(
            settings.model.mould_capacity_j_per_k / moulds, 500.0
        )
        self.excess_k = [0.0, 0.0, 0.0]
        """By track: what its own heat adds to its temperature, as reckoned."""
        self.idle_c: float | None = None
        """What its mould would be at without that heat: it follows the air."""
        self.lag_k = 0.0
        """How far that is behind the air; never above it."""
        self.last_c: float | None = None
        self.belief: NightBelief | None = None
        """By all that was seen; None for a night of an earlier version, which had none."""

    def reached(self, name: Milestone, now_s: float) -> bool:
        """Whether it is past a milestone, surely: by its card, and by what is believed of it."""
        sure = self.belief is None or now_s >= self.belief.sure_s(name)
        return sure and self.clock.reached(name)

    def advance(
        self, now_s: float, dt_s: float, part_c: float, around_c: float, lag_s: float
    ) -> list[Milestone]:
        """Let `dt_s` pass at `part_c` in surroundings of `around_c`; the milestones reached.

        The heat that is expected is reckoned at no more than the temperature it explains: what
        makes the part hotter than that is not expected.
        """
        self.last_c = part_c
        fresh = self.clock.advance(now_s, dt_s, part_c)
        if self.clock.figures.self_heat is not None:
            keep = math.exp(-dt_s / lag_s)
            idle_c = part_c if self.idle_c is None else self.idle_c
            self.idle_c = idle_c = around_c + keep * (idle_c - around_c)
            self.lag_k = min(idle_c - around_c, 0.0)
            for track in (EARLY, LIKELY, LATE):
                rates = self.clock.rates(min(part_c, idle_c + self.excess_k[track]))
                heat_w = self.part.resin_kg * self.clock.heat_w_per_kg(rates, track)
                settled_k = heat_w * lag_s / self.capacity_j_per_k
                self.excess_k[track] = settled_k + keep * (self.excess_k[track] - settled_k)
        return fresh
