"""Survey: from a heat-and-cool test to what the oven is, how surely, and what stays unknown.

>>> from nightcure.survey.log import Log
>>> from nightcure.survey.survey import survey
>>> found = survey(Log(time_s, air_c, time_s, heat, power_w=300.0), ambient_c=9.0)  # doctest: +SKIP
>>> found.loss_w_per_k  # Value(value=3.9, low=3.7, high=4.1)                       # doctest: +SKIP

The fit is `fit`; the model is the network of `thermal`; sources stand there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from ..oven.response import modes
from ..oven.thermal import Array
from . import fit as _fit
from .assumptions import assumed_of, unknown_of
from .disturbances import gaps, settled
from .fit import Fit, Problem, network_of
from .identified import Z95, Survey, Value, gradient
from .log import Log, check
from .longer_log import how_much_longer
from .residuals import believable, whiteness
from .tuning import reduced

#: A shed's thermometer is smoothed over so long, s: doors and draughts are not what walls feel.
AMBIENT_SMOOTH_S = 600.0
#: How far the shed is from what its thermometer, a stated constant, or a guess says: K, sd.
AMBIENT_SD_C = {"noted": 0.2, "stated": 0.7, "guessed": 0.7}
#: With more rows than this the starts are tried on a thinned log first.
MANY_ROWS = 300


def survey(log: Log, ambient_c: float | None = None) -> Survey:
    """Identify the oven behind a log.

    Args:
        log: the test; see `log.Log`.
        ambient_c: the shed's temperature where the log has none; None takes the first air reading.

    Raises:
        BadInput: the log is of no use; the sentence says why and what would do.
    """
    check(log, ambient_c)
    ambient, how = _ambient(log, ambient_c)
    short = log.thinned()
    if short is not log:
        ambient = np.interp(short.time_s, log.time_s, ambient)
    problem = _fit.prepared(short, ambient, AMBIENT_SD_C[how], how != "noted")
    blind = gaps(log)
    if blind:
        problem = _fit.with_disturbed(problem, blind, np.ones(len(problem.rows), bool))
    problem, full = settled(problem, _fitted(problem, short, 3), blind)
    fits = {1: _fitted(problem, short, 1), 2: _fitted(problem, short, 2), 3: full}
    order = min(fits.values(), key=lambda f: f.criterion).order
    # The loss is always taken from the full model: what a smaller one cannot see it would deny.
    best = fits[3]
    believable(log, best, problem.quantum_c)
    white, p_value = whiteness(best.residuals_c, best.inflation)
    power_w = log.power_w
    constants = tuple(derived(best, partial(_time_constant, i)) for i in range(order))
    rise = derived(best, lambda u: float(np.exp(u[_fit.RISE])))
    loss = derived(best, lambda u: float(np.exp(-u[_fit.RISE])))
    capacity = derived(best, lambda u: _capacity(u))
    half = (loss.high / loss.low) ** 0.5 - 1.0
    longer = how_much_longer(problem, best, 0.15) if half > 0.15 else None
    found = Survey(
        log=log,
        fit=best,
        problem=problem,
        order=order,
        rise_k=rise,
        loss_w_per_k=None if power_w is None else loss.times(power_w),
        heat_capacity_j_per_k=None if power_w is None else capacity.times(power_w),
        heater_power_w=None if power_w is None else Value(power_w, power_w, power_w),
        time_constants_s=constants,
        dead_time_s=derived(best, lambda u: reduced(network_of(u)).dead_s),
        white=white,
        whiteness_p=p_value,
        longer=longer,
        assumed=(),
        unknown=(),
    )
    assumed = assumed_of(found, how, float(np.mean(ambient[:3])))
    return replace(found, assumed=assumed, unknown=unknown_of(found, half))


def _fitted(problem: Problem, log: Log, order: int) -> Fit:
    """The best answer of so many time constants."""
    starts = _fit.several_starts(problem)
    if len(log.time_s) <= MANY_ROWS:
        return _fit.fit(problem, order, starts)
    # Each start with weights of its own: one set of weights would favour oddities.
    narrow = _fit.narrowed(problem, log)
    tried = starts if order == 3 else starts[:1]
    rough = [_fit.fit(narrow, order, (start,), 2) for start in tried]
    best = min(rough, key=lambda f: f.surprise)
    return _fit.fit(problem, order, (best.unknowns,), 2 if order == 3 else 1)


def _ambient(log: Log, stated_c: float | None) -> tuple[Array, str]:
    """The shed at every row, and how it is known."""
    if log.ambient_c is not None:
        every_s = float(np.median(np.diff(log.time_s)))
        half = int(AMBIENT_SMOOTH_S / every_s / 2.0)
        padded = np.pad(np.asarray(log.ambient_c, np.float64), half, mode="edge")
        total = np.cumsum(np.r_[0.0, padded])
        return (total[2 * half + 1 :] - total[: -2 * half - 1]) / (2 * half + 1), "noted"
    how = "guessed" if stated_c is None else "stated"
    return np.full(len(log.time_s), float(log.air_c[0]) if stated_c is None else stated_c), how


def derived(best: Fit, fun: Callable[[Array], float]) -> Value:
    """A positive quantity with its interval: the delta method on its logarithm."""
    over = list(best.free)

    def log_of(u: Array) -> Array:
        return np.log([max(fun(u), 1e-9)])

    slope = gradient(log_of, best.unknowns, over)[0]
    cov = best.covariance[np.ix_(over, over)]
    half = Z95 * float(np.sqrt(max(slope @ cov @ slope, 0.0)))
    value = fun(best.unknowns)
    return Value(value, value * float(np.exp(-half)), value * float(np.exp(half)))


def _time_constant(number: int, unknowns: Array) -> float:
    """From the slowest, s: the whole box against the shed, the moulds against the air, the rest."""
    return float(1.0 / modes(network_of(unknowns)).rates_per_s[number])


def _capacity(unknowns: Array) -> float:
    """Heat capacity of all that warms with the air (moulds too), J/K per watt of heater."""
    return float(np.exp(unknowns[_fit.QUICK]) * (1.0 + np.exp(unknowns[_fit.MOULD])))


def cooling_rate(unknowns: Array) -> float:
    """Loss over heat capacity, 1/s: what a cool-down tells whatever the heater gives."""
    return float(np.exp(-unknowns[_fit.RISE])) / _capacity(unknowns)
