"""Survey: from a heat-and-cool test to what the oven is, how surely, and what stays unknown.

>>> from nightcure.oven.log import Log
>>> from nightcure.oven.survey import survey
>>> found = survey(Log(time_s, air_c, time_s, heat, power_w=300.0), ambient_c=9.0)  # doctest: +SKIP
>>> found.loss_w_per_k  # Value(value=3.9, low=3.7, high=4.1)                       # doctest: +SKIP

The fit is `fit`; the model is the network of `thermal`; sources stand there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from typing import Any, NamedTuple

import numpy as np

from ..oven.response import modes
from ..oven.thermal import Array, Network
from . import fit as _fit
from .assumptions import assumed_of, unknown_of
from .fit import Fit, Problem, network_of, predicted
from .log import Log, check
from .longer_log import Longer, how_much_longer
from .residuals import believable, whiteness
from .tuning import reduced

#: A 95 % interval's half-width in standard deviations.
Z95 = 1.959964
#: A shed's thermometer is smoothed over so long, s: doors and draughts are not what walls feel.
AMBIENT_SMOOTH_S = 600.0
#: How far the shed is from what its thermometer, a stated constant, or a guess says: K, sd.
AMBIENT_SD_C = {"noted": 0.2, "stated": 0.7, "guessed": 0.7}
#: What of [model] a log tells with one another's errors in it.
COVARIED = (
    *("loss_w_per_k", "air_capacity_j_per_k", "mould_capacity_j_per_k"),
    *("mould_lag_s", "heater_lag_s"),
)
#: With more rows than this the starts are tried on a thinned log first.
MANY_ROWS = 300


class Value(NamedTuple):
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float

    def times(self, factor: float) -> Value:
        """Scaled by a known factor."""
        return Value(*(factor * x for x in self))

    def as_json(self) -> dict[str, float]:
        """Four digits are more than it is good for."""
        return {k: float(f"{v:.4g}") for k, v in self._asdict().items()}


@dataclass(frozen=True)
class Survey:
    """What a log says of its oven. `None` where the log cannot say it (see `unknown`)."""

    log: Log
    fit: Fit
    problem: Problem
    order: int
    """Time constants the log can tell apart (Akaike's criterion for few rows)."""
    rise_k: Value
    """Steady rise over the shed at full power, K: known without the heater's power."""
    loss_w_per_k: Value | None
    heat_capacity_j_per_k: Value | None
    heater_power_w: Value | None
    time_constants_s: tuple[Value, ...]
    dead_time_s: Value
    white: bool
    """Whether the residuals are white noise at 1 % (Ljung-Box)."""
    whiteness_p: float
    longer: Longer | None
    """What to note besides for the loss within 15 %; None: it is known that well, or never."""
    assumed: tuple[str, ...]
    unknown: tuple[str, ...]

    @property
    def power_w(self) -> float:
        """The heater's power, 1 W if it is unknown."""
        return self.log.power_w or 1.0

    def network(self) -> Network:
        """The oven as a network; for a heater of 1 W where the power is unknown."""
        return network_of(self.fit.unknowns, self.power_w, self.fit.order)

    def model(self) -> dict[str, float]:
        """The [model] section's numbers, see settings.Model; for a heater of `power_w`."""
        u = np.exp(self.fit.unknowns[:6])
        power_w, several = self.power_w, self.fit.order > 1
        ambient_c = float(np.median(self.problem.ambient_c))
        return {
            "loss_w_per_k": power_w / u[_fit.RISE],
            "air_capacity_j_per_k": power_w * u[_fit.QUICK],
            "mould_capacity_j_per_k": power_w * u[_fit.QUICK] * u[_fit.MOULD] if several else 0.0,
            "mould_lag_s": float(u[_fit.MOULD_LAG]) if several else 0.0,
            "heater_lag_s": float(u[_fit.HEATER_LAG]) if self.fit.order == 3 else 0.0,
            "assumed_ambient_c": ambient_c,
        }

    def log_covariance(self) -> Array:
        """Of the logarithms of `COVARIED` together, in that order: (5, 5).

        Exact for the fit's: each of these logarithms is a sum of its unknowns.
        """
        share = np.zeros((len(COVARIED), _fit.COUNT))
        share[0, _fit.RISE] = -1.0
        share[[1, 2], _fit.QUICK] = share[2, _fit.MOULD] = 1.0
        share[3, _fit.MOULD_LAG] = share[4, _fit.HEATER_LAG] = 1.0
        found: Array = share @ self.fit.covariance @ share.T
        return found

    def band_c(self, points: int = 300) -> tuple[Array, Array, Array]:
        """Fitted air with its 95 % band at about `points` times: (times_s, air_c, half-width)."""
        times = np.linspace(self.problem.time_s[0], self.problem.time_s[-1], points)
        grid = np.union1d(times, self.problem.time_s)
        at = np.searchsorted(self.problem.time_s, grid[:-1], side="right") - 1
        wide = replace(
            self.problem,
            time_s=grid,
            rows=np.searchsorted(grid, times),
            heat=self.problem.heat[np.minimum(at, len(self.problem.heat) - 1)],
            ambient_c=np.interp(grid, self.problem.time_s, self.problem.ambient_c),
        )

        def air(u: Array) -> Array:
            row: Array = predicted(wide, u, self.fit.order)[0]
            return row

        slope = gradient(air, self.fit.unknowns, list(_fit.FREE[self.fit.order]))
        cov = self.fit.covariance[np.ix_(_fit.FREE[self.fit.order], _fit.FREE[self.fit.order])]
        variance = np.einsum("ij,jk,ik->i", slope, cov, slope)
        return times, air(self.fit.unknowns), Z95 * np.sqrt(np.maximum(variance, 0.0))

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints."""

        def shown(value: Value | None) -> dict[str, float] | None:
            return None if value is None else value.as_json()

        return {
            "loss_w_per_k": shown(self.loss_w_per_k),
            "heat_capacity_j_per_k": shown(self.heat_capacity_j_per_k),
            "heater_power_w": shown(self.heater_power_w),
            "rise_at_full_power_k": shown(self.rise_k),
            "time_constants_s": [v.as_json() for v in self.time_constants_s],
            "dead_time_s": shown(self.dead_time_s),
            "order": self.order,
            "residual_rms_c": round(float(np.sqrt(np.mean(self.fit.residuals_c**2))), 4),
            "residuals_white": self.white,
            "fallen_s": round(self.log.fallen_s),
            "note_longer_s": None if self.longer is None else round(self.longer.more_s),
            "model": {k: float(f"{v:.4g}") for k, v in self.model().items()},
            "log_covariance": {
                "of": list(COVARIED),
                "rows": [[float(f"{v:.6g}") for v in row] for row in self.log_covariance()],
            },
            "assumed": list(self.assumed),
            "unknown": list(self.unknown),
        }


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
    problem = _fit.prepared(short, ambient, AMBIENT_SD_C[how])
    fits = _fits(problem, short)
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


def _fits(problem: Problem, log: Log) -> dict[int, Fit]:
    starts = _fit.several_starts(problem)
    fits: dict[int, Fit] = {}
    for order in (1, 2, 3):
        if len(log.time_s) > MANY_ROWS:
            # Each start with weights of its own: one set of weights would favour oddities.
            narrow = _fit.narrowed(problem, log)
            tried = starts if order == 3 else starts[:1]
            rough = [_fit.fit(narrow, order, (start,), 2) for start in tried]
            best = min(rough, key=lambda f: f.surprise)
            fits[order] = _fit.fit(problem, order, (best.unknowns,), 2 if order == 3 else 1)
        else:
            fits[order] = _fit.fit(problem, order, starts)
    return fits


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


def gradient(fun: Callable[[Array], Array], at: Array, over: list[int]) -> Array:
    """Central differences of a vector function over some unknowns, (outputs, len(over))."""
    columns = []
    for i in over:
        up, down = at.copy(), at.copy()
        up[i], down[i] = up[i] + 1e-4, down[i] - 1e-4
        columns.append((fun(up) - fun(down)) / 2e-4)
    return np.stack(columns, axis=1)


def derived(best: Fit, fun: Callable[[Array], float]) -> Value:
    """A positive quantity with its interval: the delta method on its logarithm."""
    over = list(_fit.FREE[best.order])

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
