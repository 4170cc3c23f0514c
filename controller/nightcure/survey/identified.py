"""An oven as a survey has found it: values with their intervals, and what stays unknown."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, NamedTuple

import numpy as np

from ..oven.thermal import Array, Network
from . import fit as _fit
from .fit import Fit, Problem, network_of, predicted
from .log import Log
from .longer_log import Longer

#: A 95 % interval's half-width in standard deviations.
Z95 = 1.959964
#: A survey finds a heater's lag too long, for the lags of probe and air's neighbours are in it: on
#: 22 boxes of known lag by 1.37 at the median (seed 8 of `tests.campaign regulation`, oven A).
HEATER_LAG_SHARE = 0.7
#: What of [model] a log tells with one another's errors in it.
COVARIED = (
    *("loss_w_per_k", "air_capacity_j_per_k", "mould_capacity_j_per_k"),
    *("mould_lag_s", "heater_lag_s"),
)


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
            "heater_lag_s": HEATER_LAG_SHARE * float(u[_fit.HEATER_LAG])
            if self.fit.order == 3
            else 0.0,
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

        slope = gradient(air, self.fit.unknowns, list(self.fit.free))
        cov = self.fit.covariance[np.ix_(self.fit.free, self.fit.free)]
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


def gradient(fun: Callable[[Array], Array], at: Array, over: list[int]) -> Array:
    """Central differences of a vector function over some unknowns, (outputs, len(over))."""
    columns = []
    for i in over:
        up, down = at.copy(), at.copy()
        up[i], down[i] = up[i] + 1e-4, down[i] - 1e-4
        columns.append((fun(up) - fun(down)) / 2e-4)
    return np.stack(columns, axis=1)
