"""Whose resin it is: what a generic card leaves open, and the same nights with a slow one."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..cure.clock_figures import MAKERS_DIFFER
from .sampling import SampledParameters
from .tonight import Tonight

#: Resins of a kind differ up to about threefold (common practice, no source): a slow maker's takes
#: so many times as long as the generic card in the middle of them.
SLOW_TIMES = 3.0**0.5


def generic_parts(tonight: Tonight) -> list[str]:
    """Names of the parts whose card stands for a kind of resin and not for one."""
    return [p.part.name for p in tonight.parts if p.part.figures and p.part.figures.generic]


def with_slow_makers(tonight: Tonight, sampled: SampledParameters) -> SampledParameters:
    """The same nights, the resins on generic cards `SLOW_TIMES` as slow, gel and cure."""
    names = generic_parts(tonight)
    times = np.array([SLOW_TIMES if p.part.name in names else 1.0 for p in tonight.parts])
    return replace(
        sampled, gel_times=sampled.gel_times * times, weighing_times=sampled.weighing_times * times
    )


def if_slow(probability: float) -> str:
    """What the odds are then, to be said after those of a resin like its kind."""
    count = round(100.0 * probability)
    return f"if your resin is like its kind, in {count} if it is slow (a gel cup settles it)"


def warning(tonight: Tonight) -> str | None:
    """What a generic card leaves out, in a sentence; None where no card is generic."""
    names = generic_parts(tonight)
    if not names:
        return None
    return f"The card of {' and '.join(names)} is generic: {MAKERS_DIFFER}."
