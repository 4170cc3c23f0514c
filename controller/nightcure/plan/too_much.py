"""Too much resin at once: it overheats in its mould. How much would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..cure.part import Part
from ..units import show_temperature
from .night_results import WORTH, Nights
from .pool import Job, WorkerPool
from .tonight import Tonight

#: Shares of the resin that are tried, every third first, and the nights they are tried in.
SHARES = tuple(float(s) for s in np.geomspace(0.05, 0.9, 9))
STRIDE = 3
TRIED_NIGHTS = 40


@dataclass(frozen=True)
class TooMuch:
    """Parts whose resin overheats them; kilograms a part, in their order."""

    parts: tuple[Part, ...]
    probability: float
    """The share of the nights in which a limit is passed."""
    hottest_c: float
    """The hottest of them in nine nights of ten."""
    would_do_kg: tuple[float, ...]
    """So much at a time passes no limit."""

    @property
    def sentence(self) -> str:
        """What is too much, how hot it gets, how much would do."""
        are = f"{_listed(p.resin_kg for p in self.parts)} of resin in {_named(self.parts)}"
        verb = "is" if len(self.parts) == 1 else "are"
        return (
            f"{are} {verb} too much at once, it overheats: "
            f"{show_temperature(self.hottest_c, digits=0)} and more in one night of ten, so that "
            f"the oven trips in {100.0 * self.probability:.0f} of 100 nights. "
            f"{_listed(self.would_do_kg)} at a time would do."
        )

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "parts": [p.name for p in self.parts],
            "resin_kg": [p.resin_kg for p in self.parts],
            "would_do_kg": list(self.would_do_kg),
            "probability": round(self.probability, 4),
        }


def too_much_at_once(workers: WorkerPool, job: Job, found: Nights) -> TooMuch | None:
    """Whose resin overheats, and how much would not; None where no resin does.

    Args:
        job: nights of one profile.
        found: how they went.
    """
    tonight = job.tonight
    probability = float(np.mean(found.overheated))
    limit_c = tonight.settings.limits.part_c
    hot = [
        i
        for i, p in enumerate(tonight.parts)
        if p.part.figures is not None
        and p.part.figures.self_heat is not None
        and float(np.mean(found.hottest_c[i] > limit_c)) > WORTH
    ]
    if probability <= WORTH or not hot:
        return None

    def cool(shares: Sequence[float]) -> int:
        """How many of these, from the least on, overheat nothing."""
        jobs = [replace(job, tonight=_with_less(tonight, hot, share),
                        sampled=job.sampled[:TRIED_NIGHTS]) for share in shares]  # fmt: skip
        found = [not n.overheated.any() for n in workers.run(jobs)]
        return found.index(False) if False in found else len(found)

    fine = STRIDE * cool(SHARES[STRIDE - 1 :: STRIDE])
    fine += cool(SHARES[fine : fine + STRIDE - 1])
    if fine == 0:  # so hot a course needs no resin to pass its limits
        return None
    share = SHARES[fine - 1]
    parts = tuple(tonight.parts[i].part for i in hot)
    hottest_c = np.max([found.hottest_c[i] for i in hot], axis=0)
    return TooMuch(
        parts, probability, float(np.percentile(hottest_c, 90)),
        tuple(_round_down(share * p.resin_kg) for p in parts),
    )  # fmt: skip


def _with_less(tonight: Tonight, which: list[int], share: float) -> Tonight:
    parts = [
        replace(p, part=p.part.model_copy(update={"resin_kg": share * p.part.resin_kg}))
        if i in which
        else p
        for i, p in enumerate(tonight.parts)
    ]
    return replace(tonight, parts=tuple(parts))


def _round_down(kg: float) -> float:
    """To two figures."""
    step = 10.0 ** (math.floor(math.log10(kg)) - 1)
    return round(math.floor(kg / step + 1e-9) * step, 6)


def _listed(kg: Any) -> str:
    return " and ".join(f"{value:g} kg" for value in kg)


def _named(parts: tuple[Part, ...]) -> str:
    return " and ".join(p.name for p in parts)
