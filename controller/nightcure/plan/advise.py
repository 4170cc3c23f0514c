"""The profiles of least stress, of least energy and the earliest that meet the goal.

A profile is three numbers (how warm, how steep, how long; see `shapes.Shape`). They are searched
on a coarse lattice first, then around the best of each kind with the steps halved, always in the
same nights, so that profiles differ by what they are and not by their weather.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any, Literal, get_args

import numpy as np

from ..cure.box_air import Box
from ..errors import BadInput
from ..profile import Profile
from .answer import too_soon
from .night_results import Nights
from .plan import Plan, plan_night
from .pool import Job, Progress, WorkerPool, worker_pool
from .propose import SURE, TRIED_SURE, accept, propose
from .sampling import SampledParameters, Spreads, draw
from .shapes import Shape, build, longest_h, room_of, rounded
from .tonight import Tonight

Kind = Literal["least stress", "least energy", "earliest"]
KINDS: tuple[Kind, ...] = get_args(Kind)
#: What each kind's figure is.
UNITS: dict[Kind, str] = {
    "least stress": "°C of the soak and a fifth of the ramp's °C per hour",
    "least energy": "kWh, mean",
    "earliest": "s after the start, in 97 nights of 100",
}
#: Nights a search runs in, and those its result is judged by.
SEARCH_NIGHTS, FINAL_NIGHTS = 48, 500
SLOWEST_C_PER_H = 3.0
#: A degree of soak weighs as much as so many °C per hour of ramp.
RAMP_PER_DEGREE = 5.0
ZOOMS = 4
#: Steps a profile is made surer by at the most, where the nights it is judged by ask for it.
MOST_SURER = 8
#: Where the soak is long enough it is not made longer for a tie; kWh count for so little.
TIE = 1e-3


@dataclass(frozen=True)
class Advice:
    """One kind's best profile."""

    kind: Kind
    plan: Plan
    figure: float
    """What was made small, in `UNITS`; in the nights of the search."""
    sure: bool
    """Whether it meets the goal in 97 nights of 100 and trips in none of them; else it is the
    likeliest there is."""

    def as_json(self) -> dict[str, Any]:
        """Plain values: the kind, and its plan's."""
        return {"kind": self.kind, "sure": self.sure, **self.plan.as_json()}


@dataclass(frozen=True)
class Tried:
    """A shape and how it did."""

    shape: Shape
    chance: float
    figures: dict[Kind, float]
    """Infinite where the goal is not met in 97 nights of 100, or not without a trip."""


class Search:
    """Tries shapes, each once."""

    def __init__(
        self, tonight: Tonight, sampled: SampledParameters, workers: WorkerPool, box: Box | None
    ) -> None:
        self.tonight, self.sampled, self.workers, self.box = tonight, sampled, workers, box
        self.room = room_of(tonight)
        self.known: dict[Shape, Tried] = {}

    def allowed(self, shape: Shape) -> Shape:
        """The nearest shape on the lattice that oven, cards and night allow."""
        room = self.room
        soak = min(max(shape.soak_c, room.coldest_c), room.warmest_c)
        rate = min(max(shape.ramp_c_per_h, SLOWEST_C_PER_H), room.steepest_c_per_h)
        near = rounded(Shape(soak, rate, shape.hours))
        rate = min(near.ramp_c_per_h, room.steepest_c_per_h)
        most = rounded(replace(near, hours=longest_h(self.tonight, room, soak, rate)), up=False)
        return Shape(near.soak_c, rate, min(near.hours, most.hours))

    def at(self, soak_c: float, ramp_c_per_h: float, share: float) -> Shape:
        """A shape whose soak takes a share of the longest there is time for."""
        longest = longest_h(self.tonight, self.room, soak_c, ramp_c_per_h)
        return self.allowed(Shape(soak_c, ramp_c_per_h, share * longest))

    def run(self, shapes: Iterable[Shape]) -> None:
        """Try those not tried yet."""
        fresh = [s for s in dict.fromkeys(map(self.allowed, shapes)) if s not in self.known]
        if not fresh:
            return
        t = self.tonight
        profiles = tuple(build(t, self.room, s, self.box) for s in fresh)
        found = self.workers.run([Job(t, self.sampled, profiles, t.deadline_s + 60.0)])[0]
        for i, s in enumerate(fresh):
            chance, figures = _judged(s, found, i, t.deadline_s)
            if chance < TRIED_SURE:
                figures = dict.fromkeys(KINDS, float("inf"))
            self.known[s] = Tried(s, chance, figures)

    def best(self, kind: Kind, count: int = 1) -> list[Tried]:
        """The best of a kind; the likeliest where none meets the goal."""
        return sorted(self.known.values(), key=lambda t: (t.figures[kind], -t.chance))[:count]

    def go(self) -> dict[Kind, Tried]:
        """Coarse, then finer and finer around the best."""
        room = self.room
        temps = np.linspace(room.coldest_c, room.warmest_c, 7)
        rates = np.linspace(SLOWEST_C_PER_H, room.steepest_c_per_h, 4)
        shares = (0.08, 0.2, 0.4, 0.7, 1.0)
        self.run(self.at(float(t), float(r), f) for t in temps for r in rates for f in shares)
        step_c, step_rate = float(temps[1] - temps[0]), float(rates[1] - rates[0])
        factor = 1.5
        for _ in range(ZOOMS):
            step_c, step_rate, factor = step_c / 2.0, step_rate / 2.0, factor**0.5
            middles = {t.shape for kind in KINDS for t in self.best(kind, 2)}
            self.run(
                Shape(m.soak_c + i * step_c, m.ramp_c_per_h + j * step_rate, m.hours * factor**k)
                for m in middles
                for i in (-1, 0, 1)
                for j in (-1, 0, 1)
                for k in (-1, 0, 1)
            )
        # By the lattice's own steps, as long as it helps.
        for _ in range(3):
            before = [self.best(kind)[0].shape for kind in KINDS]
            self.run(
                Shape(m.soak_c + i, m.ramp_c_per_h + j, m.hours + k / 12.0)
                for m in set(before)
                for i, j, k in ((-0.5, 0, 0), (0, -0.5, 0), (0, 0.5, 0), (0, 0, -1), (-0.5, 0, 2),
                                (0.5, 0, -1), (-0.5, 0.5, 0), (0.5, 0, -3), (0, 0, -3))
            )  # fmt: skip
            if before == [self.best(kind)[0].shape for kind in KINDS]:
                break
        return {kind: self.best(kind)[0] for kind in KINDS}


def advise(
    tonight: Tonight,
    *,
    spreads: Spreads | None = None,
    nights: int = FINAL_NIGHTS,
    search_nights: int | None = None,
    seed: int = 0,
    box: Box | None = None,
    executor: Executor | None = None,
    on_progress: Progress | None = None,
) -> tuple[Advice, ...]:
    """Least stress, least energy, earliest; each judged in nights of its own.

    Arguments and errors as `plan.plan_night`, in `plan.plan`; `search_nights` are those the search
    runs in, `SEARCH_NIGHTS` if None. Where nothing meets the goal as surely
    as `SURE` without a trip, all three are the likeliest there is.
    """
    why = too_soon(tonight)
    if why is not None:
        raise BadInput(why)
    spreads = Spreads() if spreads is None else spreads
    sampled = draw(tonight, spreads, search_nights or SEARCH_NIGHTS, seed + 1)
    with worker_pool(executor, on_progress) as workers:
        search = Search(tonight, sampled, workers, box)
        mildest = search.at(search.room.coldest_c, SLOWEST_C_PER_H, 0.0)
        accept(tonight, build(tonight, search.room, mildest, box))
        found = search.go()

        def planned(profile: Profile) -> Plan:
            return plan_night(
                tonight, profile, spreads=spreads, nights=nights, seed=seed,
                improvements=False, executor=workers.executor,
            )  # fmt: skip

        if max(t.chance for t in found.values()) == 0.0:
            plan = planned(propose(tonight, spreads, seed, workers, box))
            return tuple(Advice(kind, plan, found[kind].figures[kind], False) for kind in KINDS)
        judges = draw(tonight, spreads, nights, seed)

        def chance(shape: Shape) -> float:
            job = Job(
                tonight, judges, (build(tonight, search.room, shape, box),),
                tonight.deadline_s + 60.0,
            )  # fmt: skip
            share, figures = _judged(shape, workers.run([job])[0], 0, tonight.deadline_s)
            if share >= SURE:
                sure[shape] = figures
            return share

        sure: dict[Shape, dict[Kind, float]] = {}
        for kind in KINDS:
            if found[kind].chance >= TRIED_SURE:
                _surer(search, found[kind].shape, chance)
        out = []
        for kind in KINDS:
            # Of all that proved sure: what made one kind's surer may have made it the worse.
            shape, figure = found[kind].shape, found[kind].figures[kind]
            if sure:
                shape = min(sure, key=lambda s: sure[s][kind])
                figure = sure[shape][kind]
            plan = planned(build(tonight, search.room, shape, box))
            out.append(Advice(kind, plan, figure, bool(sure)))
    return tuple(out)


def _judged(
    shape: Shape, found: Nights, i: int, deadline_s: float
) -> tuple[float, dict[Kind, float]]:
    """The share of nights that reach the goal without a trip, and each kind's figure."""
    met = found.met_without_trip(deadline_s)[:, i]
    kwh = float(found.energy_j[:, i].mean() / 3.6e6)
    goal_s = np.sort(np.where(met, found.goal_s[:, i], np.inf))
    by_s = float(goal_s[int(np.ceil(SURE * len(goal_s))) - 1])
    mild = shape.soak_c + shape.ramp_c_per_h / RAMP_PER_DEGREE
    return float(np.mean(met)), {
        "least stress": mild + TIE * kwh,
        "least energy": kwh,
        "earliest": by_s + TIE * kwh,
    }


def _surer(search: Search, shape: Shape, chance: Callable[[Shape], float]) -> None:
    """Longer, then warmer, in growing steps, until the nights it is judged by find it sure too."""
    for step in range(MOST_SURER):
        if chance(shape) >= SURE:
            return
        more = 1.5**step
        longer = search.allowed(replace(shape, hours=(1.0 + 0.05 * more) * shape.hours + 1.0 / 12))
        if longer == shape:
            longer = search.allowed(replace(shape, soak_c=shape.soak_c + 0.5 * more))
        if longer == shape:
            return
        shape = longer
