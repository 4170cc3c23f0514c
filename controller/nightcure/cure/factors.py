"""How far one mix of resin may be from its card: a gel factor and a cure factor.

The gel factor multiplies the card's gel times, the cure factor its times after the gel. Before
anything is seen both are known as well as the card is: the prior. What is seen (a gel cup, the
part's own heat, its touch) weighs the pairs on a small grid. Pure Python; always the same sums in
the same order.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated

from pydantic import Field

from ..settings import Section
from .clock_figures import ClockFigures

#: A band's early and late figures are its 5 % and 95 % points.
BAND_Z = 1.6448536269514722
#: Resins of one kind differ about threefold from maker to maker, 95 % of them (common practice, no
#: source): one standard deviation of the logarithm.
MAKERS_SD = 0.28
#: How far gel and cure go together from maker to maker; little, until a batch has shown it.
TOGETHER = 0.15
#: The grid over a prior: so many standard deviations to each side, in so many steps, of the gel and
#: of the cure.
REACH_SD, GEL_STEPS, CURE_STEPS = 2.6, 14, 10


LogFactor = Annotated[float, Field(ge=-1.2, le=1.2)]
LogSpread = Annotated[float, Field(ge=0.02, le=1.0)]


class Prior(Section):
    """What is believed of ln(gel factor) and ln(cure factor) before tonight: a normal law."""

    gel_mean: LogFactor = 0.0
    gel_sd: LogSpread
    cure_mean: LogFactor = 0.0
    cure_sd: LogSpread
    together: Annotated[float, Field(ge=-0.9, le=0.9)] = TOGETHER
    """The correlation of the two."""

    @property
    def gel_grid(self) -> tuple[float, ...]:
        """The values of ln(gel factor) that are tried."""
        return _grid(self.gel_mean, self.gel_sd, GEL_STEPS)

    @property
    def cure_grid(self) -> tuple[float, ...]:
        """The values of ln(cure factor) that are tried."""
        return _grid(self.cure_mean, self.cure_sd, CURE_STEPS)

    def log_at(self, gel: float, cure: float) -> float:
        """The logarithm of its density, up to a constant."""
        a, b = (gel - self.gel_mean) / self.gel_sd, (cure - self.cure_mean) / self.cure_sd
        r = self.together
        return -0.5 * (a * a - 2.0 * r * a * b + b * b) / (1.0 - r * r)


def card_prior(figures: ClockFigures) -> Prior:
    """The prior from the card's bands; on a generic card with the spread between makers added."""
    makers = MAKERS_SD if figures.generic else 0.0
    gel_sd = math.hypot(_band_sd(figures.gel_band), makers)
    band = figures.demould_min or figures.full_min
    cure_sd = max(0.15 if band is None else _band_sd(band), 1.25 * makers)
    return Prior(gel_sd=_between(gel_sd), cure_sd=_between(cure_sd))


def _grid(mean: float, sd: float, steps: int) -> tuple[float, ...]:
    return tuple(mean + REACH_SD * sd * (2.0 * i / steps - 1.0) for i in range(steps + 1))


def _band_sd(band: tuple[float, float, float]) -> float:
    return math.log(band[2] / band[0]) / (2.0 * BAND_Z)


def _between(sd: float) -> float:
    return min(max(sd, 0.10), 0.50)


def quantiles(
    values: Sequence[float], weights: Sequence[float], shares: Sequence[float]
) -> tuple[float, ...]:
    """Weighted quantiles, straight between the middles of neighbouring values; infinite values
    count as late. `shares` rising."""
    order = sorted(range(len(values)), key=values.__getitem__)
    total = sum(weights)
    found: list[float] = []
    done = 0.0
    last_at, last_value = 0.0, values[order[0]]
    wanted = [s * total for s in shares]
    for i in order:
        w, value = weights[i], values[i]
        if w <= 0.0:
            continue
        at = done + 0.5 * w
        while len(found) < len(wanted) and wanted[len(found)] <= at:
            share = 0.0 if at <= last_at else (wanted[len(found)] - last_at) / (at - last_at)
            inner = math.isfinite(value) and math.isfinite(last_value)
            found.append(last_value + share * (value - last_value) if inner else value)
        done += w
        last_at, last_value = at, value
    found.extend([last_value] * (len(wanted) - len(found)))
    return tuple(found)
