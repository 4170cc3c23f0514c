"""A part's own heat, found in its mould's temperature: what air and heater do not explain.

Every five minutes the mould's rise is held against what could explain it: the air now and as it
was minutes to hours before, the heater's radiation, a steady drift; and, under each hypothesis, the
heat of its cure. All of that is linear, so that everything but the hypothesis is solved in closed
form (normal and inverse gamma laws); what is kept of a night are sums.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from .clock_figures import ClockFigures
from .hypotheses import Hypotheses
from .mould_law import KEEPS, TERMS, MouldLaw

BLOCK_MIN = 5
#: Averages of the air over so many minutes: slow walls, thick moulds.
AIR_AVERAGES_MIN = (5.0, 15.0, 45.0, 135.0)
#: What the coefficients are taken to be before a night, and how surely: K/h per K to the air, K/h
#: of drift, per K of the air's rise, per K of the heater's heat in the mould, K/h per K to each
#: average (found by trying on plants of another structure).
MEANS = (0.5, 0.0, 0.05, 0.04, 0.15, 0.15, 0.15, 0.15)
SDS = (0.6, 0.5, 0.1, 0.08, 0.4, 0.4, 0.4, 0.4)
assert len(MEANS) == TERMS
#: The share of the heat that goes into the mould; beyond `HEAT_RANGE` it is punished: with it free
#: a small bump of the wrong sign would pass for heat.
HEAT_MEAN, HEAT_SD, HEAT_RANGE, HEAT_EDGE = 0.7, 0.28, (0.3, 1.6), 0.1
#: Weight of five minutes: neighbours err alike, and any model errs more out of balance.
WEIGHT, MOVED_K, APART_K_H = 0.25, 0.5, 2.0
NOISE_K = 0.06
NOISE_RANGE_K = (0.01, 0.5)
#: Where the law of earlier nights leaves so many times as much unexplained as tonight's own, as
#: variances, the mould or its thermometer was moved: the law is not used.
MOVED_TIMES = 4.0
#: Below this, ln(likelihood with heat / without), nothing is said to be seen; full weight `SURE`
#: above it. Its influence is bounded: the shape of the kinetics is never quite right.
SEEN, SURE, BOUND = 3.0, 3.0, 6.0
#: Of less than so many blocks' weight no law is kept: an hour and a half near balance.
LEAST_WEIGHT = 3.0
#: Sums that contradict one another explain no more than this leaves, K2.
LEAST_Q = 1e-6

#: By how much its heat could warm its mould, K: below the first there is nothing to see, between
#: the two it was seen in one of four, above in three of four of 300 hidden nights on plants of
#: another structure (the sensor's noise hardly matters, the mould's weight does).
SEEN_AT_ALL_K, MOSTLY_SEEN_K = 2.0, 16.0


def sight_k(figures: ClockFigures, resin_kg: float, mould_j_per_k: float) -> float:
    """By how much a part's own heat could warm its mould at the most, K; 0 for a card without."""
    heat = figures.self_heat
    if heat is None:
        return 0.0
    return HEAT_MEAN * resin_kg * heat.heat_j_per_kg_resin / mould_j_per_k


def sight_words(at_most_k: float) -> str:
    """Whether heat that could warm its mould so far shows in its temperature."""
    if at_most_k < SEEN_AT_ALL_K:
        return "nothing to see of it"
    return "seldom enough to be seen" if at_most_k < MOSTLY_SEEN_K else "mostly seen"


class OwnHeat:
    """The sums of one night, for every hypothesis."""

    def __init__(
        self,
        hypotheses: Hypotheses,
        mould_j_per_k: float,
        power_w: float,
        law: MouldLaw | None = None,
    ) -> None:
        self._of = hypotheses
        self._law = law
        self._duty_k = 60.0 * power_w / mould_j_per_k
        n = len(hypotheses.cells)
        self.xx = [0.0] * (TERMS * TERMS)
        self.xy = [0.0] * TERMS
        self.yy = self.weight = 0.0
        self.xh = tuple([[0.0] * n for _ in range(TERMS)] for _ in range(2))
        self.hh = tuple([0.0] * n for _ in range(2))
        self.hy = tuple([0.0] * n for _ in range(2))
        self._averages: list[float] = []
        self._sums = [0.0] * TERMS
        self._parts: list[float] = []
        self._airs: list[float] = []
        self._good = True
        self._minutes = 0

    def minute(self, part_c: float, air_c: float, duty: float, good: bool) -> None:
        """A minute has passed in the hypotheses, too; `good`: everything was really measured."""
        if not self._averages:
            self._averages = [air_c] * len(AIR_AVERAGES_MIN)
        for k, tau in enumerate(AIR_AVERAGES_MIN):
            self._averages[k] += (air_c - self._averages[k]) * (1.0 - math.exp(-1.0 / tau))
        s = self._sums
        s[0] += (air_c - part_c) / 60.0
        s[1] += 1.0 / 60.0
        s[3] += duty * self._duty_k
        for k, average_c in enumerate(self._averages):
            s[4 + k] += (average_c - part_c) / 60.0
        self._parts.append(part_c)
        self._airs.append(air_c)
        self._good &= good
        self._minutes += 1
        if self._minutes % BLOCK_MIN:
            return
        if len(self._parts) >= BLOCK_MIN + 2 and self._good:
            self._block()
        self._of.emptied()
        self._sums = [0.0] * TERMS
        self._good = True
        del self._parts[:-2], self._airs[:-2]

    def _block(self) -> None:
        p, a, x = self._parts, self._airs, self._sums
        y = 0.5 * (p[-1] + p[-2] - p[0] - p[1])
        x[2] = 0.5 * (a[-1] + a[-2] - a[0] - a[1])
        w = WEIGHT / (1.0 + (x[2] / MOVED_K) ** 2 + (APART_K_H * x[0]) ** 2)
        for value, mean in zip(x, MEANS, strict=True):
            y -= value * mean
        for i in range(TERMS):
            wx = w * x[i]
            self.xy[i] += wx * y
            for j in range(TERMS):
                self.xx[TERMS * i + j] += wx * x[j]
        self.yy += w * y * y
        self.weight += w
        wy = w * y
        for lag, b in enumerate(self._of.entered):
            for i in range(TERMS):
                wx = w * x[i]
                self.xh[lag][i][:] = [s + wx * e for s, e in zip(self.xh[lag][i], b, strict=True)]
            self.hh[lag][:] = [s + w * e * e for s, e in zip(self.hh[lag], b, strict=True)]
            self.hy[lag][:] = [s + wy * e for s, e in zip(self.hy[lag], b, strict=True)]

    # ---- what the sums say ----------------------------------------------------------------------

    def log_likelihoods(self) -> tuple[list[float], float]:
        """Of every hypothesis, and without any heat; the noise is found, never assumed."""
        found = self._solved()
        return found.logs, found.without

    def law(self, weights: Sequence[float], part: str, sensor: str, mould_j_per_k: float) -> (
        MouldLaw | None
    ):  # fmt: skip
        """What this night and those before say of the mould, the resin's heat taken out as the
        hypotheses have it by their `weights`; None where too little was measured."""
        solved = self._solved()
        xx, xy, yy, weight = self._explained(solved.carried)
        if weight < LEAST_WEIGHT:
            return None
        total = 2.0 * sum(weights)
        for lag in range(2):
            for i, w in enumerate(weights):
                h, hh = solved.heats[lag][i], self.hh[lag][i]
                if w <= 0.0 or hh <= 0.0:
                    continue
                share = w / total
                yy += share * (h * h * hh - 2.0 * h * self.hy[lag][i])
                for k in range(TERMS):
                    xy[k] -= share * h * self.xh[lag][k][i]
        rows = [[_short(v) for v in xx[TERMS * i : TERMS * (i + 1)]] for i in range(TERMS)]
        return MouldLaw(
            part=part, sensor=sensor, mould_j_per_k=round(mould_j_per_k, 1),
            xx=tuple(tuple(row) for row in rows), xy=tuple(_short(v) for v in xy),
            yy=_short(max(yy, 0.0)), weight=_short(weight),
            noise_k=_short(math.sqrt(solved.noise2)),
            nights=1 if self._law is None or not solved.carried else self._law.nights + 1,
        )  # fmt: skip

    def _explained(self, carried: bool) -> tuple[list[float], list[float], float, float]:
        """The sums, with those of earlier nights or without."""
        law = self._law if carried else None
        if law is None:
            return list(self.xx), list(self.xy), self.yy, self.weight
        before = [v for row in law.xx for v in row]
        return (
            [a + KEEPS * b for a, b in zip(self.xx, before, strict=True)],
            [a + KEEPS * b for a, b in zip(self.xy, law.xy, strict=True)],
            self.yy + KEEPS * law.yy, self.weight + KEEPS * law.weight,
        )  # fmt: skip

    def _solved(self) -> _Solved:
        alone = self._noise_found(False)
        law = self._law
        if law is None:
            return alone
        with_law = self._noise_found(True)
        usual = max(alone.noise2, law.noise_k**2)
        return alone if with_law.noise2 > MOVED_TIMES * usual else with_law

    def _noise_found(self, carried: bool) -> _Solved:
        noise2 = NOISE_K**2
        found = self._at(noise2, carried)
        for _ in range(2):
            found = self._at(
                min(max(found.noise2, NOISE_RANGE_K[0] ** 2), NOISE_RANGE_K[1] ** 2), carried
            )
        return found

    def _at(self, noise2: float, carried: bool) -> _Solved:
        xx, xy, yy, weight = self._explained(carried)
        lower = _cholesky(
            [
                v + (noise2 / SDS[i // TERMS] ** 2 if i // TERMS == i % TERMS else 0.0)
                for i, v in enumerate(xx)
            ]
        )
        z = _forward(lower, xy)
        rest = yy - sum(v * v for v in z)
        a_n = 2.0 + 0.5 * weight
        prior = noise2 / HEAT_SD**2
        fixed = 2.0 * NOISE_K**2
        least = without = max(fixed + 0.5 * rest, LEAST_Q)
        logs: list[list[float]] = []
        heats: list[list[float]] = []
        low, high = HEAT_RANGE
        for lag in range(2):
            columns = _forward_columns(lower, self.xh[lag])
            one: list[float] = []
            heat: list[float] = []
            for hh, hy, *u in zip(self.hh[lag], self.hy[lag], *columns, strict=True):
                a, b = prior + hh, hy
                for v, zi in zip(u, z, strict=True):
                    a -= v * v
                    b -= v * zi
                top = b + HEAT_MEAN * prior
                h = top / a
                q = max(fixed + 0.5 * (rest + HEAT_MEAN**2 * prior - h * top), LEAST_Q)
                least = q if q < least else least
                out = (low - h if h < low else h - high if h > high else 0.0) / HEAT_EDGE
                one.append(0.5 * math.log(prior / a) - a_n * math.log(q) - 0.5 * out * out)
                heat.append(h)
            logs.append(one)
            heats.append(heat)
        mean = [_log_mean(a, b) for a, b in zip(*logs, strict=True)]
        return _Solved(mean, -a_n * math.log(without), least / a_n, heats, carried)


class _Solved(NamedTuple):
    """Likelihoods of all hypotheses and without heat; the noise's variance, K2; the share of each
    one's heat that enters the mould, by lag; whether earlier nights' sums were in it."""

    logs: list[float]
    without: float
    noise2: float
    heats: list[list[float]]
    carried: bool


def _short(value: float) -> float:
    """Seven digits: what is kept is to be short, and the same wherever it is read."""
    return float(f"{value:.7g}")


def _log_mean(a: float, b: float) -> float:
    high, low = (a, b) if a > b else (b, a)
    return high + math.log(0.5 + 0.5 * math.exp(low - high))


def _cholesky(a: Sequence[float]) -> list[list[float]]:
    lower = [[0.0] * TERMS for _ in range(TERMS)]
    for i in range(TERMS):
        for j in range(i + 1):
            rest = a[TERMS * i + j] - sum(lower[i][k] * lower[j][k] for k in range(j))
            lower[i][j] = math.sqrt(max(rest, 1e-12)) if i == j else rest / lower[j][j]
    return lower


def _forward(lower: list[list[float]], b: Sequence[float]) -> list[float]:
    z: list[float] = []
    for i in range(TERMS):
        z.append((b[i] - sum(lower[i][k] * z[k] for k in range(i))) / lower[i][i])
    return z


def _forward_columns(lower: list[list[float]], b: list[list[float]]) -> list[list[float]]:
    """`_forward` for every hypothesis at once."""
    z: list[list[float]] = []
    for i in range(TERMS):
        column = b[i]
        for k in range(i):
            factor = lower[i][k]
            column = [v - factor * w for v, w in zip(column, z[k], strict=True)]
        z.append([v / lower[i][i] for v in column])
    return z
