"""The profile that is proposed where none is given: the mildest that is sure enough."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ..cure.box_air import Box
from ..errors import BadInput
from ..oven.arrays import Array
from ..profile import Profile
from .night_results import Nights
from .pool import Job, WorkerPool
from .sampling import Spreads, draw
from .shapes import SHORTEST_H, Shape, build, longest_h, room_of, rounded, usual_ramp
from .tonight import Tonight

#: A proposal is to reach the goal in this share of the nights, without a trip; in the few it is
#: tried in it must do better by their standard error, so as to hold in all.
SURE, TRIED_SURE = 0.97, 0.975
#: How long after the deadline a night that misses it is looked at, s.
NEAR_S = 3.0 * 3600.0
#: Nights a proposal is tried in.
TRIED_NIGHTS = 100


def accept(tonight: Tonight, profile: Profile) -> None:
    refusals = profile.refusals(tonight.settings.limits, to_start=False)
    if refusals:
        raise BadInput(*refusals)


def propose(
    tonight: Tonight, spreads: Spreads, seed: int, workers: WorkerPool, box: Box | None = None
) -> Profile:
    """The mildest soak that reaches the goal as surely as `SURE`, then no longer than it needs.

    By a usual ramp; where that is too slow, by the steepest that oven and cards allow. Where none
    does it, the one that does in most, or comes nearest to it.
    """
    room = room_of(tonight)
    few = draw(tonight, spreads, TRIED_NIGHTS, seed + 1)

    def tried(shapes: list[Shape], spare_s: float = 60.0) -> Nights:
        profiles = tuple(build(tonight, room, s, box) for s in shapes)
        return workers.run([Job(tonight, few, profiles, tonight.deadline_s + spare_s)])[0]

    def chances(shapes: list[Shape]) -> Array:
        result: Array = np.mean(tried(shapes).met_without_trip(tonight.deadline_s), axis=0)
        return result

    def whole(soak_c: float, rate: float) -> Shape:
        hours = longest_h(tonight, room, soak_c, rate)
        return rounded(Shape(soak_c, rate, hours), up=False)

    steps = max(math.ceil((room.warmest_c - room.coldest_c) / 4.0), 1)
    temps = sorted({round(t) for t in np.linspace(room.coldest_c, room.warmest_c, steps + 1)})
    accept(tonight, build(tonight, room, whole(temps[0], usual_ramp(room)), box))
    every: list[Shape] = []
    for rate in sorted({usual_ramp(room), room.steepest_c_per_h}):
        shapes = [whole(float(t), rate) for t in temps]
        good = np.flatnonzero(chances(shapes) >= TRIED_SURE)
        every += shapes
        if len(good):
            best = int(good[0])
            cooler = range(temps[max(best - 1, 0)] + 1, temps[best])
            chosen = _shortest([whole(float(t), rate) for t in (*cooler, temps[best])], chances)
            break
    else:
        chosen = _nearest(every, tried(every, NEAR_S), tonight.deadline_s)
    profile = build(tonight, room, chosen, box)
    accept(tonight, profile)
    return profile


def _shortest(shapes: list[Shape], chances: Callable[[list[Shape]], Array]) -> Shape:
    """Of soaks as long as there is time for, the mildest that will do, and of it the shortest."""
    every = shapes + [
        rounded(replace(s, hours=max(f * s.hours, SHORTEST_H)))
        for s in shapes
        for f in (0.3, 0.5, 0.7, 0.85)
    ]
    sure = [s for s, c in zip(every, chances(every), strict=True) if c >= TRIED_SURE]
    return min(sure, key=lambda s: (s.soak_c, s.hours))


def _nearest(shapes: list[Shape], found: Nights, deadline_s: float) -> Shape:
    """The likeliest; of equals the one that is usually there the soonest, then the mildest."""
    times_s = np.where(found.met(np.inf), found.goal_s, np.inf)
    chances = np.mean(found.met(deadline_s), axis=0)
    # To ten minutes: nobody takes ten degrees more for less.
    usual = np.ceil(np.median(times_s, axis=0) / 600.0)
    ranked = zip(-chances, usual, (s.soak_c for s in shapes), range(len(shapes)), strict=True)
    return shapes[min(ranked)[3]]
