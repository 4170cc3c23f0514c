"""Weighted least squares of a network's exact response on a log.

What the log cannot tell is held by what home-made boxes are like (`PRIOR`, common practice, no
source): each such belief is one more weighted residual, so a short log widens the interval instead
of inventing a loss.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import least_squares

from ..oven.response import response
from ..oven.thermal import AIR, FIRST_MOULD, Array, Mould, Network
from .heat_and_cool import COOLED_S
from .log import Log

#: Unknowns: logarithms of rise at full power (K), quick capacity per watt of heater (s/K), moulds'
#: capacity over the quick one, their lag (s), the heater's lag (s), the inner film over the loss,
#: the spread of two moulds' lags; then K: start, moulds' start besides it, ambient's offset, and
#: what the shed drifts by over the log and is off a straight line in its middle; and the heat of
#: each disturbance (see `Disturbed`), as a share of the heater's full power.
RISE, QUICK, MOULD, MOULD_LAG, HEATER_LAG, FILM, SPREAD, START, MOULD_START, OFFSET = range(10)
DRIFT, BEND = 10, 11
HEATS = (12, 13, 14, 15, 16, 17)
COUNT = 18
#: Middle and spread of what is believed before the log is read.
PRIOR_MID = np.array(
    [*np.log([80.0, 15.0, 4.0, 1200.0, 150.0, 8.0]), 0.3, *([0.0] * 11)]
)  # fmt: skip
PRIOR_SD = np.array([0.62, 1.5, 1.0, 0.7, 0.7, 0.9, 0.3, 1.0, 1.0, 0.3, *([1.0] * 8)])
#: No unknown is looked for further from the middle than so many spreads: beyond lie other oddities
#: that look alike, such as a mould that never moves.
FARTHEST_SD = np.array([5.0, 4.0, 3.0, 3.0, 3.0, 3.0, 3.0, *([9.0] * 11)])
#: What is fitted for one, two or three time constants, besides what the log gives cause for; the
#: rest stands at the prior's middle, a single lump has no mould.
FREE = {
    1: (RISE, QUICK, START, OFFSET),
    2: (RISE, QUICK, MOULD, MOULD_LAG, START, MOULD_START, OFFSET),
    3: (RISE, QUICK, MOULD, MOULD_LAG, HEATER_LAG, FILM, SPREAD, START, MOULD_START, OFFSET),
}
#: A shed that nobody noted drifts by so much in an hour, sd, not by more in all than in
#: `DRIFTS_H` hours; and in the middle it is off the straight line by such a share of that (common
#: practice, no source: nights fall by 3 to 8 K).
DRIFT_SD_C_PER_H, DRIFTS_H, BEND_SHARE = 0.5, 10.0, 0.4
#: Where the shed was not noted its course is neither: what the loss is off by for that (relative).
SHED_SD = 0.035
#: Heat of a disturbance, as a share of the heater's full power, sd: what a door takes, and what a
#: heater gave while nobody looked.
DOOR_SD, GAP_SD = 10.0, 0.5
#: A box has more nodes than the model: what its steady rise and its capacity are each off by for
#: that alone (relative);
#: measured on made-up boxes of nine nodes other than those of the survey campaign.
MODEL_SD = 0.01
#: Where the air has hardly begun to fall, the model's nodes pass for a loss, and every spread is so
#: many times what the residuals say, the loss's not beyond what was believed beforehand (tried on
#: virtual ovens, see `heat_and_cool.COOLED_S`).
HEATED_ONLY = 2.5
#: A thermometer's own noise at least, °C, besides its rounding.
NOISE_C = 0.05
#: A probe on a part does not show the part's mean: K (common practice, no source).
PART_SD_C = 0.7


@dataclass(frozen=True)
class Disturbed:
    """A time in which heat came or went that the log does not tell.

    Attributes:
        from_s: its beginning on the log's clock.
        to_s: its end.
        by: `door`: the air was given or robbed of heat; `gap`: no row, the heater at an unknown
            share of its power.
    """

    from_s: float
    to_s: float
    by: str


@dataclass(frozen=True)
class Problem:
    """A log made ready: grid times with the rows among them, heat and ambient on the grid."""

    time_s: Array
    rows: NDArray[np.intp]
    heat: Array
    ambient_c: Array
    air_c: Array
    part_c: Array | None
    prior_mid: Array
    prior_sd: Array
    quantum_c: float
    fallen_s: float
    """How long the air has been falling at the end, see `Log.fallen_s`."""
    besides: tuple[int, ...] = ()
    """Unknowns that are fitted besides an order's own: the shed's drift, heats."""
    disturbed: tuple[Disturbed, ...] = ()
    """In the order of `HEATS`."""
    counted: NDArray[np.bool_] | None = None
    """Which rows are fitted, (rows,); None: all. Those in an open door are not."""

    def free(self, order: int) -> tuple[int, ...]:
        """What is fitted for so many time constants."""
        return (*FREE[order], *self.besides)


@dataclass(frozen=True)
class Fit:
    """One order's answer."""

    order: int
    free: tuple[int, ...]
    """Which of the unknowns were fitted."""
    unknowns: Array
    """(18,), as named above."""
    covariance: Array
    """(18, 18); rows of what was not fitted are zero."""
    residuals_c: Array
    """Measured less fitted air, (rows that were fitted,), °C."""
    noise_c: float
    inflation: float
    """How much longer the residuals remember than white noise would (1: white)."""
    surprise: float
    """Misfit and distance from the prior, to compare starts by: the smaller the better."""
    criterion: float
    """Akaike's information criterion for few rows, residuals' memory counted."""


def network_of(unknowns: Array, power_w: float = 1.0, order: int = 3) -> Network:
    """The network behind the unknowns, for a heater of `power_w`."""
    rise, quick, mould, lag_s, heater_s, film = np.exp(unknowns[:6])
    spread = float(np.exp(unknowns[SPREAD] if order == 3 else 0.0))
    loss, quick_j = power_w / rise, quick * power_w
    heater = power_w / 100.0
    skin = 0.75 * loss
    inner = film * loss + skin
    mould_j = mould * quick_j if order > 1 else 0.0
    moulds = tuple(
        Mould(name, mould_j / 2, mould_j / 2 / (lag_s * by))
        for name, by in (("slow", spread), ("quick", 1.0 / spread))
        if mould_j > 0
    )
    return Network(
        power_w=power_w,
        heater_capacity_j_per_k=heater * (heater_s if order == 3 else 10.0),
        heater_air_w_per_k=heater,
        air_capacity_j_per_k=quick_j / 3.0,
        wall_capacity_j_per_k=quick_j * 2.0 / 3.0,
        air_wall_w_per_k=inner,
        wall_ambient_w_per_k=inner * skin / (inner - skin),
        leak_w_per_k=0.25 * loss,
        moulds=moulds,
    )


def predicted(
    problem: Problem, unknowns: Array, order: int, nodes: tuple[int, ...] = (AIR,)
) -> Array:
    """Temperatures of `nodes` at the log's rows, (nodes, rows), °C."""
    network = network_of(unknowns, 1.0, order)
    start = np.full(len(network.capacities), unknowns[START])
    start[FIRST_MOULD:] += unknowns[MOULD_START]
    ambient = problem.ambient_c + unknowns[OFFSET]
    if unknowns[DRIFT] or unknowns[BEND]:
        along = (problem.time_s - problem.time_s[0]) / (problem.time_s[-1] - problem.time_s[0])
        ambient = ambient + unknowns[DRIFT] * along + unknowns[BEND] * 4.0 * along * (1.0 - along)
    heat, air_heat = problem.heat, None
    for d, number in zip(problem.disturbed, HEATS, strict=False):
        within = (problem.time_s[:-1] >= d.from_s) & (problem.time_s[:-1] < d.to_s)
        if d.by == "gap":
            heat = heat + unknowns[number] * within
        else:
            air_heat = (0.0 if air_heat is None else air_heat) + unknowns[number] * within
    whole = response(network, problem.time_s, heat, ambient, start, nodes, air_heat)
    rows: Array = whole[:, problem.rows]
    return rows


def prepared(log: Log, ambient_c: Array, ambient_sd_c: float, drifts: bool = False) -> Problem:
    """A log as the fit wants it: one grid of rows and switching times.

    Args:
        ambient_sd_c: how far the shed may be from `ambient_c` all along.
        drifts: nobody noted the shed, so that it may have drifted besides.
    """
    first_s, last_s = log.time_s[0], log.time_s[-1]
    between = log.heat_time_s[(log.heat_time_s > first_s) & (log.heat_time_s < last_s)]
    grid = np.union1d(log.time_s, between)
    rows = np.searchsorted(grid, log.time_s)
    mid, sd = PRIOR_MID.copy(), PRIOR_SD.copy()
    mid[START] = float(np.mean(log.air_c[:1] if len(log.air_c) < 50 else log.air_c[:3]))
    above_k = abs(mid[START] - ambient_c[0])
    sd[MOULD_START] = max(1.0, 0.5 * above_k)
    sd[OFFSET] = ambient_sd_c
    quantum_c = quantum(log.air_c)
    sd[START] = max(1.0, quantum_c)
    sd[[DRIFT, BEND]] = drift_sd_c(log.length_s)
    return Problem(
        time_s=grid,
        rows=rows,
        heat=np.append(log.heat, 0.0)[
            np.searchsorted(log.heat_time_s, grid[:-1], side="right") - 1
        ],
        ambient_c=np.interp(grid, log.time_s, ambient_c),
        air_c=log.air_c,
        part_c=log.part_c,
        prior_mid=mid,
        prior_sd=sd,
        quantum_c=quantum_c,
        fallen_s=log.fallen_s,
        besides=(DRIFT, BEND) if drifts else (),
    )


def drift_sd_c(length_s: float) -> Array:
    """How far a shed that nobody noted drifts in such a time, and is off a straight line, K, sd."""
    drift_c = DRIFT_SD_C_PER_H * min(length_s / 3600.0, DRIFTS_H)
    return np.array([drift_c, BEND_SHARE * drift_c])


def model_sd(free: tuple[int, ...]) -> float:
    """What loss and capacity are each off by for what no unknown says, relative."""
    return float(np.hypot(MODEL_SD, SHED_SD if DRIFT in free else 0.0))


def with_disturbed(
    problem: Problem, disturbed: tuple[Disturbed, ...], counted: NDArray[np.bool_]
) -> Problem:
    """The same problem with the heat of these times unknown (at most `len(HEATS)` of them)."""
    sd = problem.prior_sd.copy()
    for d, number in zip(disturbed, HEATS, strict=False):
        sd[number] = GAP_SD if d.by == "gap" else DOOR_SD
    ends = [t for d in disturbed for t in (d.from_s, d.to_s)]
    ends = [t for t in ends if problem.time_s[0] < t < problem.time_s[-1]]
    grid = np.union1d(problem.time_s, ends)
    return replace(
        problem,
        time_s=grid,
        rows=np.searchsorted(grid, problem.time_s[problem.rows]),
        heat=problem.heat[np.searchsorted(problem.time_s, grid[:-1], side="right") - 1],
        ambient_c=np.interp(grid, problem.time_s, problem.ambient_c),
        prior_sd=sd,
        besides=(*(i for i in problem.besides if i not in HEATS), *HEATS[: len(disturbed)]),
        disturbed=disturbed,
        counted=counted,
    )


def quantum(values_c: Array) -> float:
    """What the values are rounded to, °C: 5, 2, 1, 0.5, 0.25, 0.1, a DS18B20's 0.0625, or 0."""
    for step_c in (5.0, 2.0, 1.0, 0.5, 0.25, 0.1, 0.0625):
        if np.allclose(values_c / step_c, np.round(values_c / step_c), atol=1e-3):
            return step_c
    return 0.0


def memory(residuals: Array) -> float:
    """Integrated autocorrelation: n residuals are worth n / memory independent ones (>= 1).

    Geyer's initial positive sequence of pairs (Statistical Science 7 (1992) 473, from memory).
    """
    n = len(residuals)
    x = residuals - residuals.mean()
    power = np.abs(np.fft.rfft(x, 2 * n)) ** 2
    lags = np.fft.irfft(power)[:n]
    if lags[0] <= 0:
        return 1.0
    lags = lags / lags[0]
    pairs = lags[1 : n - 1 : 2][: (n - 2) // 2] + lags[2:n:2][: (n - 2) // 2]
    ends = np.flatnonzero(pairs < 0)
    total = float(pairs[: ends[0] if len(ends) else len(pairs)].sum())
    return max(1.0 + 2.0 * total, 1.0)


def fit(problem: Problem, order: int, starts: tuple[Array, ...], rounds: int = 3) -> Fit:
    """Best answer of `order` time constants from several starts, weights found on the way."""
    free = list(problem.free(order))
    counted = np.ones(len(problem.rows), bool) if problem.counted is None else problem.counted
    base = problem.prior_mid.copy()
    noise_c = float(np.hypot(problem.quantum_c / np.sqrt(12.0), NOISE_C))
    inflation = 1.0
    reach = (FARTHEST_SD * problem.prior_sd)[free]
    low, high = problem.prior_mid[free] - reach, problem.prior_mid[free] + reach
    best, current = None, [np.clip(s[free], low + 1e-6, high - 1e-6) for s in starts]
    for number in range(rounds):
        sigma_c = noise_c * np.sqrt(inflation)
        fun = _residuals(problem, order, free, base, sigma_c)
        tries = [
            least_squares(
                fun, start, bounds=(low, high), x_scale=np.minimum(problem.prior_sd[free], 1.0),
                max_nfev=40, ftol=1e-3 if number < rounds - 1 else 1e-6,
            )
            for start in current
        ]  # fmt: skip
        best = min(tries, key=lambda t: float(t.cost))
        current = [best.x]
        unknowns = base.copy()
        unknowns[free] = best.x
        residuals = (problem.air_c - predicted(problem, unknowns, order)[0])[counted]
        noise_c, inflation = _weights(problem, residuals, len(free))
    assert best is not None
    covariance = np.zeros((COUNT, COUNT))
    said = np.linalg.pinv(best.jac.T @ best.jac)
    if problem.fallen_s < COOLED_S:
        believed = float(problem.prior_sd[RISE] ** 2 / said[free.index(RISE), free.index(RISE)])
        said *= max(min(HEATED_ONLY**2, believed), 1.0)
    covariance[np.ix_(free, free)] = said
    covariance[[RISE, QUICK], [RISE, QUICK]] += model_sd(tuple(free)) ** 2
    n_eff = len(residuals) / inflation
    misfit = float(np.sum(residuals**2)) / len(residuals)
    floor = (problem.quantum_c**2 / 12.0 + NOISE_C**2) / 4.0
    criterion = n_eff * float(np.log(max(misfit, floor))) + _penalty(len(free), n_eff)
    aside = (unknowns - problem.prior_mid) / problem.prior_sd
    surprise = len(residuals) * float(np.log(max(misfit, floor))) + float(np.sum(aside**2))
    return Fit(
        order, tuple(free), unknowns, covariance, residuals, noise_c, inflation, surprise,
        criterion,
    )  # fmt: skip


def _penalty(unknowns: int, rows: float) -> float:
    """Akaike's, corrected for few rows (Hurvich & Tsai, Biometrika 76 (1989) 297, from memory)."""
    spare = rows - unknowns - 1.0
    return 2.0 * unknowns * (1.0 + (unknowns + 1.0) / spare) if spare > 0 else float("inf")


def _weights(problem: Problem, residuals: Array, unknowns: int) -> tuple[float, float]:
    """Noise (°C) and memory from the residuals; few rows cannot tell less than their rounding."""
    n = len(residuals)
    least_c = float(np.hypot(problem.quantum_c / np.sqrt(12.0), NOISE_C))
    if n < 50:
        spare = max(n - min(unknowns, 5), 2)
        return max(least_c, float(np.sqrt(np.sum(residuals**2) / spare))), 1.0
    return max(float(np.sqrt(np.mean(residuals**2))), 0.5 * least_c), memory(residuals)


def _residuals(
    problem: Problem, order: int, free: list[int], base: Array, sigma_c: float
) -> Callable[[Array], Array]:
    mid, sd = problem.prior_mid[free], problem.prior_sd[free]
    with_part = problem.part_c is not None and order > 1
    nodes = (AIR, FIRST_MOULD, FIRST_MOULD + 1) if with_part else (AIR,)
    # All of a part's rows together weigh as much as a few: its probe's error is one and the same.
    part_sd = PART_SD_C * np.sqrt(max(len(problem.air_c) / 10.0, 1.0))

    def fun(x: Array) -> Array:
        unknowns = base.copy()
        unknowns[free] = x
        said = predicted(problem, unknowns, order, nodes)
        off_c = problem.air_c - said[0]
        if problem.counted is not None:
            off_c = off_c[problem.counted]
        parts = [off_c / sigma_c, (x - mid) / sd]
        if with_part and problem.part_c is not None:
            parts.append((problem.part_c - said[1:].mean(axis=0)) / part_sd)
        return np.concatenate(parts)

    return fun


def several_starts(problem: Problem) -> tuple[Array, ...]:
    """The prior's middle, and boxes with quick and with slow moulds."""
    out = []
    for d_mould, d_lag, d_rise in ((0.0, 0.0, 0.0), (-1.0, -0.7, -0.5), (1.0, 0.7, 0.5)):
        start = problem.prior_mid.copy()
        start[[MOULD, MOULD_LAG, RISE]] += (d_mould, d_lag, d_rise)
        out.append(start)
    return tuple(out)


def narrowed(problem: Problem, log: Log) -> Problem:
    """The same problem on fewer rows, to look for the best start in."""
    short = log.thinned(200)
    grid = short.time_s
    return replace(
        problem,
        time_s=grid,
        rows=np.arange(len(grid)),
        heat=short.heat[:-1],
        ambient_c=np.interp(grid, problem.time_s, problem.ambient_c),
        air_c=short.air_c,
        part_c=short.part_c,
        counted=None,
    )
