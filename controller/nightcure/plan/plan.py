"""Is tonight possible, by which profile, and how surely?

In a notebook:

>>> from nightcure.plan.plan import plan_night
>>> from nightcure.plan.tonight import falling_to, tonight
>>> from nightcure.profile import load_profile
>>> from nightcure.simulate.scenario import OVEN_FILE, PARTS_FILE
>>> from nightcure.settings import load_settings
>>> settings, profile = load_settings(OVEN_FILE), load_profile(PARTS_FILE)
>>> shed = falling_to(lowest_c=2.0, lowest_s=10 * 3600, evening_c=9.0)
>>> night = tonight(settings, profile.parts, shed, "demould", 12 * 3600)
>>> plan = plan_night(night, profile, nights=20, improvements=False)
>>> plan.possible
True

`plan.answer()` is the sentence, `plan.as_json()` plain values, `plan.nights` the arrays.

On a cluster, any executor of concurrent.futures does:

    from dask.distributed import Client
    plan = plan_night(night, nights=20_000, executor=Client("scheduler:8786").get_executor())
"""

from __future__ import annotations

import math
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..cure.box_air import Box
from ..cure.clock_figures import MILESTONES
from ..errors import BadInput
from ..oven.arrays import Array
from ..profile import Profile
from .answer import answer, too_soon, warnings_of, weak_point
from .improvements import ENOUGH, Improvement, improvements_of, tried
from .makers import generic_parts, with_slow_makers
from .night_results import Nights
from .pool import Job, Progress, WorkerPool, worker_pool
from .propose import SHORTEST_H, Shape, build, longest_h, room_of, rounded, usual_ramp
from .sampling import SampledParameters, Spreads, draw
from .tonight import Tonight

#: A proposal is to reach the goal in this share of the nights; in the few it is tried in it must do
#: better by their standard error, so as to hold in all.
SURE, TRIED_SURE = 0.9, 0.95
#: How long after the deadline a night that misses it is looked at, s.
NEAR_S = 3.0 * 3600.0
#: Nights a proposal, and the improvements and a slow maker's resin, are tried in.
TRIED_NIGHTS, IMPROVEMENT_NIGHTS = 32, 150


@dataclass(frozen=True)
class Plan:
    """The answer. `as_json` is what `plan --json` prints."""

    tonight: Tonight
    spreads: Spreads
    profile: Profile
    nights: Nights
    sampled: SampledParameters
    improvements: tuple[Improvement, ...]
    warnings: tuple[str, ...]
    price_per_kwh: float | None
    proposed: bool
    seed: int
    slow_probability: float | None
    """The probability if resins on generic cards are a slow maker's; None where none is generic."""

    @property
    def probability(self) -> float:
        """The share of nights in which every part that tells it reaches the goal in time, none of
        them and no air too hot for it."""
        return float(np.mean(self.nights.met(self.tonight.deadline_s)))

    @property
    def standard_error(self) -> float:
        """Of the probability; stratified nights make it less, never more (Agresti and Coull)."""
        n = self.nights.goal_s.shape[0]
        p = (self.probability * n + 2.0) / (n + 4.0)
        return math.sqrt(p * (1.0 - p) / (n + 4.0))

    @property
    def possible(self) -> bool:
        """Whether it is likelier than not."""
        return self.probability >= 0.5

    def quantiles_s(self, times_s: Array) -> tuple[float | None, float | None, float | None]:
        """10, 50 and 90 % points of times (nights, 1) of which some never come (NaN)."""
        times = np.sort(np.where(np.isnan(times_s[:, 0]), np.inf, times_s[:, 0]))
        n = len(times)
        picked = [float(times[min(math.ceil(q * n) - 1, n - 1)]) for q in (0.1, 0.5, 0.9)]
        a, b, c = (None if math.isinf(t) else t for t in picked)
        return a, b, c

    def milestones(self) -> list[dict[str, Any]]:
        """Every part's milestones with their 10-90 % range, s after the start."""
        rows = []
        for i, p in enumerate(self.tonight.parts):
            for name in MILESTONES:
                if (i, name) in self.nights.reached_s:
                    times = self.quantiles_s(self.nights.reached_s[i, name])
                    rows.append(
                        {
                            "part": p.part.name,
                            "name": name,
                            **{
                                key: None if t is None else round(t, 1)
                                for key, t in zip(("p10_s", "p50_s", "p90_s"), times, strict=True)
                            },
                        }
                    )
        return rows

    def energy_kwh(self) -> dict[str, float]:
        """10, 50 and 90 % points of the heater's energy over the night."""
        kwh = np.percentile(self.nights.energy_j[:, 0] / 3.6e6, (10, 50, 90))
        return {k: round(float(v), 3) for k, v in zip(("p10", "p50", "p90"), kwh, strict=True)}

    def answer(self) -> str:
        """The answer in one sentence, the weak point in another."""
        goal_s = self.quantiles_s(self.nights.goal_s)[1]
        return answer(
            self.tonight, self.profile, self.nights, goal_s, self.energy_kwh()["p50"],
            weak_point(self.tonight, self.nights, self.sampled), self.slow_probability,
        )  # fmt: skip

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        energy = self.energy_kwh()
        goal = self.quantiles_s(self.nights.goal_s)
        return {
            "possible": self.possible,
            "probability": round(self.probability, 4),
            "standard_error": round(self.standard_error, 4),
            "probability_if_slow_maker": self.slow_probability and round(self.slow_probability, 4),
            "answer": self.answer(),
            "goal": self.tonight.goal,
            "deadline_s": self.tonight.deadline_s,
            "goal_s": dict(zip(("p10", "p50", "p90"), goal, strict=True)),
            "profile": profile_json(self.profile),
            "regulator": self.profile.regulator or self.tonight.settings.regulator.kind,
            "proposed": self.proposed,
            "energy_kwh": energy,
            "cost": None
            if self.price_per_kwh is None
            else {k: round(v * self.price_per_kwh, 2) for k, v in energy.items()},
            "milestones": self.milestones(),
            "warnings": list(self.warnings),
            "levers": [improvement.as_json() for improvement in self.improvements],
            "nights": int(self.nights.goal_s.shape[0]),
            "seed": self.seed,
            "spreads": self.spreads.model_dump(),
        }


def profile_json(profile: Profile) -> dict[str, Any]:
    """A profile as its file has it: the parts by their cards, without the cards' numbers."""
    data = profile.model_dump(mode="json", exclude_none=True)
    for part in data.get("parts", ()):
        part.pop("figures", None)
    return data


def plan_night(
    tonight: Tonight,
    profile: Profile | None = None,
    *,
    spreads: Spreads | None = None,
    nights: int = 500,
    seed: int = 0,
    price_per_kwh: float | None = None,
    box: Box | None = None,
    improvements: bool = True,
    executor: Executor | None = None,
    on_progress: Progress | None = None,
) -> Plan:
    """Plan tonight.

    Args:
        tonight: see `tonight.tonight`.
        profile: to be judged; a sensible one is proposed if None.
        spreads: what is not known; `Spreads()` if None.
        nights: how many to draw. The same seed gives the same answer, whatever the executor.
        price_per_kwh: in whatever money.
        box: for the vapour, where a profile is proposed.
        improvements: whether to try what would raise the odds, where they are not good enough.
        executor: of concurrent.futures; a process for each core if None.
        on_progress: told how many pieces of how many are done.

    Raises:
        BadInput: a deadline no warmth can meet, a profile this oven will not run.
    """
    why = too_soon(tonight)
    if why is not None:
        raise BadInput(why)
    spreads = Spreads() if spreads is None else spreads
    sampled = draw(tonight, spreads, nights, seed)
    if profile is not None:
        profile = profile.model_copy(update={"parts": tuple(p.part for p in tonight.parts)})
        _accept(tonight, profile)
    with worker_pool(executor, on_progress) as workers:
        chosen = profile or propose(tonight, spreads, seed, workers, box)
        found = workers.run([Job(tonight, sampled, (chosen,), keep=True)])[0]
        some: tuple[Improvement, ...] = ()
        there = found.met(tonight.deadline_s)
        few = sampled[:IMPROVEMENT_NIGHTS]
        slow = None
        if generic_parts(tonight):
            job = Job(tonight, with_slow_makers(tonight, few), (chosen,), tonight.deadline_s + 60.0)
            slow = float(np.mean(workers.run([job])[0].met(tonight.deadline_s)))
        if improvements and there.mean() < ENOUGH:
            base = float(np.mean(there[:IMPROVEMENT_NIGHTS]))
            some = tried(workers, improvements_of(tonight, few, spreads, seed, chosen, found), base)
    return Plan(
        tonight, spreads, chosen, found, sampled, some, warnings_of(tonight, chosen, found),
        price_per_kwh, profile is None, seed, slow,
    )  # fmt: skip


def _accept(tonight: Tonight, profile: Profile) -> None:
    refusals = profile.refusals(tonight.settings.limits, to_start=False)
    if refusals:
        raise BadInput(*refusals)


def propose(
    tonight: Tonight, spreads: Spreads, seed: int, workers: WorkerPool, box: Box | None = None
) -> Profile:
    """The mildest soak that reaches the goal in nine nights of ten, then no longer than it needs.

    By a usual ramp; where that is too slow, by the steepest that oven and cards allow. Where none
    does it, the one that does in most, or comes nearest to it.
    """
    room = room_of(tonight)
    few = draw(tonight, spreads, TRIED_NIGHTS, seed + 1)

    def tried(shapes: list[Shape], spare_s: float = 60.0) -> Nights:
        profiles = tuple(build(tonight, room, s, box) for s in shapes)
        return workers.run([Job(tonight, few, profiles, tonight.deadline_s + spare_s)])[0]

    def chances(shapes: list[Shape]) -> Array:
        result: Array = np.mean(tried(shapes).met(tonight.deadline_s), axis=0)
        return result

    def whole(soak_c: float, rate: float) -> Shape:
        hours = longest_h(tonight, room, soak_c, rate)
        return rounded(Shape(soak_c, rate, hours), up=False)

    steps = max(math.ceil((room.warmest_c - room.coldest_c) / 4.0), 1)
    temps = sorted({round(t) for t in np.linspace(room.coldest_c, room.warmest_c, steps + 1)})
    _accept(tonight, build(tonight, room, whole(temps[0], usual_ramp(room)), box))
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
    _accept(tonight, profile)
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
