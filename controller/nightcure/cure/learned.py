"""What nights have taught of a resin: the prior of the next one.

A resin on one card differs from it by the maker, its batches from each other, and each night a
little more (weighing, mixing): three spreads, of which nights and gel cups show the sum. Every
night lets what was learned fade a little, so that a resin may age. Guards never use it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from .clock_figures import ClockFigures, Face
from .factors import Prior, card_prior

#: One standard deviation of ln factor: from batch to batch of one resin, from night to night of one
#: batch, and what a night adds by ageing (judgement, no source).
BATCH_SD, NIGHT_SD, AGEING_SD = 0.12, 0.08, 0.02
#: A batch may have been changed without a word: so much more is not known after each night.
UNDECLARED_SD = 0.05
#: ln(minutes after the gel / minutes to the demould): tacky below, hard above, leathery between;
#: and how sharply people tell (common practice, no source).
TACKY_BELOW, HARD_ABOVE, FEELS_SD, WRONG_WORD = math.log(0.5), math.log(0.9), 0.25, 0.03
#: A resin's Barcol number at its demould, its rise by each e-fold of time, and how it scatters: it
#: tells hard from not hard, hardly more (common practice, no source).
BARCOL_AT, BARCOL_RISE, BARCOL_SD = 25.0, 8.0, 6.0
#: A cloth wet with acetone, ten double rubs: from about here on neither cloth nor face is tacky or
#: softer, and how sharply that is told (common practice, no source).
RUB_ABOVE, RUB_SD, RUB_WRONG = math.log(1.2), 0.45, 0.05


class Seen(NamedTuple):
    """One observation of ln(gel factor) or ln(cure factor) of a batch."""

    batch: str
    value: float
    sd: float


class _Level:
    """One factor of one resin: what all batches share, and what is this batch's own."""

    def __init__(self, sd: float) -> None:
        rest = max(sd * sd - BATCH_SD**2 - NIGHT_SD**2, 0.1**2)
        self.mean = [0.0, 0.0]
        self.cov = [[rest, 0.0], [0.0, BATCH_SD**2]]
        self.batch = ""

    def of(self, batch: str) -> None:
        """From now on it is about this batch; another one's own share is not known."""
        if batch != self.batch:
            self.mean[1] = 0.0
            self.cov = [[self.cov[0][0], 0.0], [0.0, BATCH_SD**2]]
            self.batch = batch

    def night(self) -> None:
        """A night passes."""
        self.cov[0][0] += AGEING_SD**2
        self.cov[1][1] += UNDECLARED_SD**2

    def see(self, value: float, sd: float) -> None:
        """Take in an observation of the sum of both."""
        (a, b), (_, d) = self.cov
        spread = a + 2.0 * b + d + sd * sd + NIGHT_SD**2
        gain = ((a + b) / spread, (b + d) / spread)
        off = value - self.mean[0] - self.mean[1]
        self.mean = [m + g * off for m, g in zip(self.mean, gain, strict=True)]
        row = (a + b, b + d)
        cross = b - gain[0] * row[1]
        self.cov = [[a - gain[0] * row[0], cross], [cross, d - gain[1] * row[1]]]

    @property
    def tonight(self) -> tuple[float, float]:
        """Mean and standard deviation of tonight's ln factor."""
        (a, b), (_, d) = self.cov
        return sum(self.mean), math.sqrt(a + 2.0 * b + d + NIGHT_SD**2)


def learned_prior(
    figures: ClockFigures,
    batch: str,
    gel: Iterable[Seen],
    cure: Iterable[Seen],
) -> Prior:
    """What is believed of a batch before its next night.

    Args:
        gel, cure: what was seen of its resin's batches, oldest first, an observation a night.
    """
    card = card_prior(figures)
    found = []
    for sd, seen in ((card.gel_sd, gel), (card.cure_sd, cure)):
        level = _Level(sd)
        any_seen = False
        for one in seen:
            level.of(one.batch)
            level.see(one.value, one.sd)
            level.night()
            any_seen = True
        level.of(batch)
        mean, after_sd = level.tonight
        found.append((mean, min(after_sd, sd)) if any_seen else (0.0, sd))
    (gel_mean, gel_sd), (cure_mean, cure_sd) = found
    return Prior(
        gel_mean=_between(gel_mean), gel_sd=gel_sd, cure_mean=_between(cure_mean), cure_sd=cure_sd
    )


def _between(mean: float) -> float:
    return min(max(round(mean, 4), -1.2), 1.2)


# ---- the morning's touch ------------------------------------------------------------------------


def rub_tells(acetone: str, face: Face | None) -> bool:
    """Whether an acetone rub says anything of the cure. It does not where the face would be so in
    any case: softened where air inhibits it, clean where a skin of wax is on it."""
    return {"softens": face != "air-inhibited", "clean": face != "waxed"}.get(acetone, False)


def touch_log_likelihood(
    progress: float, felt: str, barcol: float | None = None, acetone: str = "",
    face: Face | None = None,
) -> float:  # fmt: skip
    """Of what a part felt like.

    Args:
        progress: ln(minutes after its gel / minutes from there to the demould).
        felt: `tacky`, `leathery` or `hard`; empty where only Barcol was read, or it was rubbed.
        acetone: `clean` or `softens`, after ten double rubs; empty where nobody rubbed.
        face: what the resin's free face is like.
    """
    tacky = _normal((TACKY_BELOW - progress) / FEELS_SD)
    not_hard = _normal((HARD_ABOVE - progress) / FEELS_SD)
    chance = {"tacky": tacky, "leathery": not_hard - tacky, "hard": 1.0 - not_hard}.get(felt, 1.0)
    log = math.log((1.0 - WRONG_WORD) * max(chance, 0.0) + WRONG_WORD / 3.0)
    if barcol is not None:
        expected = min(max(BARCOL_AT + BARCOL_RISE * progress, 0.0), 50.0)
        log -= 0.5 * ((barcol - expected) / BARCOL_SD) ** 2
    if rub_tells(acetone, face):
        clean = _normal((progress - RUB_ABOVE) / RUB_SD)
        chance = clean if acetone == "clean" else 1.0 - clean
        log += math.log((1.0 - RUB_WRONG) * chance + RUB_WRONG / 2.0)
    return log


def touch_seen(
    batch: str, prior: Prior, end: Mapping[str, Any], felt: str, barcol: float | None = None,
    acetone: str = "", face: Face | None = None,
) -> Seen | None:  # fmt: skip
    """What a touch says of ln(cure factor); None where it says nothing.

    Args:
        end: how far the part was by each gel factor when its night ended: `gels`, ln factors, and
            `shares`, minutes after the gel over the card's minutes to the demould.
    """
    gels: Sequence[float] = end["gels"]
    shares: Sequence[float] = end["shares"]
    grid = [prior.cure_mean + prior.cure_sd * 0.1 * i for i in range(-30, 31)]
    weights = []
    for c in grid:
        chance = 0.0
        for g, share in zip(gels, shares, strict=True):
            progress = math.log(share) - c if share > 0.0 else -10.0
            log = touch_log_likelihood(progress, felt, barcol, acetone, face)
            chance += math.exp(prior.log_at(g, c) + log)
        weights.append(chance)
    before = [sum(math.exp(prior.log_at(g, c)) for g in gels) for c in grid]
    mean, var = _moments(grid, weights)
    old_mean, old_var = _moments(grid, before)
    gained = 1.0 / var - 1.0 / old_var
    if gained < 0.5:
        return None
    return Seen(batch, (mean / var - old_mean / old_var) / gained, max(gained**-0.5, 0.1))


def _moments(grid: Sequence[float], weights: Sequence[float]) -> tuple[float, float]:
    total = sum(weights)
    mean = sum(g * w for g, w in zip(grid, weights, strict=True)) / total
    return mean, sum((g - mean) ** 2 * w for g, w in zip(grid, weights, strict=True)) / total


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
