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
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..cure.box_air import Box
from ..cure.clock_figures import MILESTONES
from ..errors import BadInput
from ..oven.arrays import Array
from ..profile import Profile
from .answer import answer, too_soon
from .improvements import ENOUGH, Improvement, improvements_of, tried
from .makers import MakerOdds, maker_odds
from .night_results import Nights
from .pool import Job, Progress, worker_pool
from .propose import accept, propose
from .sampling import SampledParameters, Spreads, draw
from .to_know import warnings_of
from .tonight import Tonight
from .too_much import TooMuch, too_much_at_once
from .weak_point import weak_point

#: Nights the improvements are tried in.
IMPROVEMENT_NIGHTS = 150


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
    proposed: bool
    seed: int
    makers: MakerOdds | None
    """The odds by whose resin the parts on generic cards are of; None where none is generic."""
    too_much: TooMuch | None
    """More resin at once than the night bears."""

    @property
    def probability(self) -> float:
        """The share of nights in which every part whose card knows the goal reaches it in time, and
        neither part nor air gets too hot. On a generic card, over all makers' resins."""
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

    def cost(self) -> dict[str, float] | None:
        """Of the energy, in the oven's currency; None where no price is told."""
        price = self.tonight.settings.electricity.price_per_kwh
        if price is None:
            return None
        return {k: round(kwh * price, 2) for k, kwh in self.energy_kwh().items()}

    def weak_point(self) -> str:
        """What spoils the night, else what it hangs on most; a sentence."""
        if self.too_much is not None:
            return self.too_much.sentence
        return weak_point(self.tonight, self.nights, self.sampled)

    def answer(self) -> str:
        """The answer in one sentence, the weak point in another."""
        goal_s = self.quantiles_s(self.nights.goal_s)[1]
        kwh = self.energy_kwh()["p50"]
        cost = self.tonight.settings.electricity.cost(kwh)
        energy = f"{kwh:.1f} kWh" + (f" ({cost})" if cost else "")
        return answer(
            self.tonight, self.profile, self.nights, goal_s, energy, self.weak_point(), self.makers
        )

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        energy = self.energy_kwh()
        goal = self.quantiles_s(self.nights.goal_s)
        return {
            "possible": self.possible,
            "probability": round(self.probability, 4),
            "standard_error": round(self.standard_error, 4),
            **(self.makers.as_json() if self.makers else dict.fromkeys(MakerOdds.KEYS)),
            "too_much_at_once": self.too_much and self.too_much.as_json(),
            "answer": self.answer(),
            "goal": self.tonight.goal,
            "deadline_s": self.tonight.deadline_s,
            "goal_s": dict(zip(("p10", "p50", "p90"), goal, strict=True)),
            "profile": profile_json(self.profile),
            "regulator": self.profile.regulator or self.tonight.settings.regulator.kind,
            "proposed": self.proposed,
            "energy_kwh": energy,
            "cost": self.cost(),
            "currency": self.tonight.settings.electricity.currency or None,
            "milestones": self.milestones(),
            "warnings": list(self.warnings),
            "levers": [improvement.as_json() for improvement in self.improvements],
            "nights": int(self.nights.goal_s.shape[0]),
            "seed": self.seed,
            "spreads": self.spreads.model_dump(),
        }


def profile_json(profile: Profile) -> dict[str, Any]:
    """A profile as its file has it: the parts by their cards, without the cards' numbers and what
    earlier nights have shown."""
    data = profile.model_dump(mode="json", exclude_none=True, exclude={"oven"})
    for part in data.get("parts", ()):
        for filled_in in ("figures", "prior", "law"):
            part.pop(filled_in, None)
    return data


def plan_night(
    tonight: Tonight,
    profile: Profile | None = None,
    *,
    spreads: Spreads | None = None,
    nights: int = 500,
    seed: int = 0,
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
        accept(tonight, profile)
    with worker_pool(executor, on_progress) as workers:
        chosen = profile or propose(tonight, spreads, seed, workers, box)
        found = workers.run([Job(tonight, sampled, (chosen,), keep=True)])[0]
        some: tuple[Improvement, ...] = ()
        there = found.met(tonight.deadline_s)
        few = sampled[:IMPROVEMENT_NIGHTS]
        soon = Job(tonight, few, (chosen,), tonight.deadline_s + 60.0)
        makers = maker_odds(workers, soon)
        if improvements and there.mean() < ENOUGH:
            base = float(np.mean(there[:IMPROVEMENT_NIGHTS]))
            some = tried(workers, improvements_of(tonight, few, spreads, seed, chosen, found), base)
        heavy = too_much_at_once(workers, soon, found)
    return Plan(
        tonight, spreads, chosen, found, sampled, some,
        (*warnings_of(tonight, chosen, found), *tonight.notes),
        profile is None, seed, makers, heavy,
    )  # fmt: skip
