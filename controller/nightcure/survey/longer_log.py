"""How much longer to note: the interval a longer log would have, found without noting it."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np

from .fit import BEND, DRIFT, RISE, Fit, Problem, drift_sd_c, model_sd, predicted
from .heat_and_cool import COOLED_S

#: A log is never advised to be longer than this, s.
LONGEST_S = 48.0 * 3600.0


class Longer(NamedTuple):
    """What to note besides, s; `heat_s` of it with the heater on again, first."""

    more_s: float
    heat_s: float


def how_much_longer(problem: Problem, best: Fit, wanted: float) -> Longer | None:
    """What further noting, at the same pace of rows, would have the loss within ± `wanted`.

    A longer cool-down if that does it, else a second heating and a cool-down as long.

    Args:
        wanted: half-width of the 95 % interval, relative: 0.15 for ±15 %.

    Returns:
        Times rounded up to 5 min; None if two days would not do it.
    """
    pace_s = float(np.median(np.diff(problem.time_s[problem.rows])))
    length_s = float(problem.time_s[-1] - problem.time_s[0])
    for heated in (0.0, 0.5):
        more_s = max(0.15 * length_s, 300.0, COOLED_S - problem.fallen_s)
        while length_s + more_s <= LONGEST_S:
            if 1.96 * _sd(problem, best, pace_s, more_s, heated) <= np.log1p(wanted):
                rounded_s = float(np.ceil(more_s / 300.0) * 300.0)
                return Longer(rounded_s, float(np.ceil(heated * rounded_s / 300.0) * 300.0))
            more_s *= 1.25
    return None


def _sd(problem: Problem, best: Fit, pace_s: float, more_s: float, heated: float) -> float:
    """Standard deviation of ln loss with `more_s` noted besides, the first `heated` of it on."""
    new_s = problem.time_s[-1] + np.arange(pace_s, more_s + pace_s, max(pace_s, more_s / 200.0))
    weight = max(pace_s, more_s / 200.0) / pace_s  # rows stand for several
    grid = np.r_[problem.time_s, new_s]
    longer = replace(
        problem,
        time_s=grid,
        heat=np.r_[problem.heat, (np.arange(len(new_s)) < heated * len(new_s)).astype(float)],
        ambient_c=np.r_[problem.ambient_c, np.full(len(new_s), problem.ambient_c[-1])],
        rows=np.r_[problem.rows, np.arange(len(problem.time_s), len(grid))],
    )
    sigma = np.full(len(longer.rows), best.noise_c * np.sqrt(best.inflation))
    sigma[len(problem.rows) :] /= np.sqrt(weight)
    free = list(best.free)
    rows = []
    for i in free:
        up, down = best.unknowns.copy(), best.unknowns.copy()
        up[i], down[i] = up[i] + 1e-3, down[i] - 1e-3
        change = predicted(longer, up, best.order)[0] - predicted(longer, down, best.order)[0]
        rows.append(change / 2e-3 / sigma)
    jacobian = np.stack(rows, axis=1)
    believed = problem.prior_sd.copy()
    believed[[DRIFT, BEND]] = drift_sd_c(float(grid[-1] - grid[0]))
    information = jacobian.T @ jacobian + np.diag(1.0 / believed[free] ** 2)
    at = free.index(RISE)
    return float(np.sqrt(np.linalg.inv(information)[at, at] + model_sd(best.free) ** 2))
