"""Whose resin it is: what a generic card leaves open, and the same nights with one maker's."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar

import numpy as np

from .pool import Job, WorkerPool
from .sampling import SLOW_TIMES, SampledParameters, of_any_maker
from .tonight import Tonight

#: A quick maker's resin is spoken of where it is worse by so much than the middle of its kind.
WORSE = 0.05
#: Nights each maker's resin is tried in.
MAKER_NIGHTS = 100


@dataclass(frozen=True)
class MakerOdds:
    """The probability by whose resin the parts on generic cards are of."""

    KEYS: ClassVar = (
        *("probability_if_like_its_kind", "probability_if_slow_maker"),
        "probability_if_quick_maker",
    )
    like: float
    """As the card has it: in the middle of its kind."""
    slow: float
    """`SLOW_TIMES` as slow, gel and cure."""
    quick: float
    """`SLOW_TIMES` as quick."""

    def as_json(self) -> dict[str, float]:
        """Plain values."""
        values = (round(p, 4) for p in (self.like, self.slow, self.quick))
        return dict(zip(self.KEYS, values, strict=True))

    def sentence(self) -> str:
        """What the odds are then, to be said after those whoever made it."""
        like, slow, quick = (round(100.0 * p) for p in (self.like, self.slow, self.quick))
        also = f", {quick} if it is quick" if self.quick < self.like - WORSE else ""
        return f"{like} if your resin is like its kind, {slow} if it is slow{also}"


def generic_parts(tonight: Tonight) -> list[str]:
    """Names of the parts whose resin may be any maker's of its kind."""
    return [p.part.name for p in tonight.parts if of_any_maker(p.part)]


def of_maker(tonight: Tonight, sampled: SampledParameters, times: float) -> SampledParameters:
    """The same nights, the resins on generic cards all one maker's: `times` as slow as the card."""
    names = generic_parts(tonight)
    row = np.array([times if p.part.name in names else 1.0 for p in tonight.parts])
    return replace(sampled, maker_times=np.broadcast_to(row, sampled.maker_times.shape).copy())


def maker_odds(workers: WorkerPool, job: Job) -> MakerOdds | None:
    """The odds of a job's nights by the maker; None where no card is generic."""
    if not generic_parts(job.tonight):
        return None
    few = job.sampled[:MAKER_NIGHTS]
    of = [of_maker(job.tonight, few, times) for times in (1.0, SLOW_TIMES, 1.0 / SLOW_TIMES)]
    nights = workers.run([replace(job, sampled=SampledParameters.joined(of))])[0]
    met = nights.met(job.tonight.deadline_s).reshape(len(of), few.nights)
    return MakerOdds(*(float(share) for share in met.mean(axis=1)))


def warning(tonight: Tonight) -> str | None:
    """Which cards are generic and what that means, in a sentence; None where none is."""
    names = generic_parts(tonight)
    if not names:
        return None
    return (
        f"The card of {' and '.join(names)} is generic: resins of its kind differ up to about "
        f"threefold in pace from maker to maker, and the odds have that in them; a gel cup of "
        f"yours settles it, and your data sheet (nightcure cure new) helps."
    )
