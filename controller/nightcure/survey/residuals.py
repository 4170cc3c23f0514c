"""What a fit leaves over: whether it is noise, and whether the log is of an oven at all."""

from __future__ import annotations

import numpy as np
from scipy.special import gammaincc

from ..errors import BadInput
from ..oven.arrays import Array
from .fit import Fit
from .log import Log

#: Residuals above this share of what the air moved by: the log is not of this heater and this air.
#: Made-up ovens come to 0.04 at the most, a door left open for an hour of three to 0.11.
MISFIT = 0.15


def believable(log: Log, best: Fit, quantum_c: float) -> None:
    """Refuse a log that no oven could have made: an interval from it would mean nothing.

    Args:
        quantum_c: what its readings are rounded to, K.

    Raises:
        BadInput: the fit misses by more than `MISFIT` of what the air moved by.
    """
    off_k = float(np.sqrt(np.mean(best.residuals_c**2)))
    moved_k = float(np.ptp(log.air_c))
    if off_k > max(MISFIT * moved_k, quantum_c):
        log = log.thinned()  # as it was fitted
        worst = int(np.argmax(np.abs(best.residuals_c)))
        after_s = float(log.time_s[worst] - log.time_s[0])
        raise BadInput(
            f"{log.name}: no heated box fits it; the best is off by {off_k:.1f} K (root mean "
            f"square) where the air moves by {moved_k:.0f} K, farthest from the "
            f"{log.air_c[worst]:.1f} °C at {after_s / 60:.0f} min. See when the heater was on and "
            f"off, which column is which, and the unit of the times."
        )


def whiteness(residuals: Array, inflation: float) -> tuple[bool, float]:
    """Ljung-Box over up to ten lags (Biometrika 65 (1978) 297, from memory): white?, p value.

    Fewer than twenty rows are called white unless their memory says otherwise.
    """
    n = len(residuals)
    lags = min(10, n // 5)
    x = residuals - residuals.mean()
    total = float(x @ x)
    if lags < 1 or total == 0.0:
        return inflation < 2.0, 1.0
    r = np.array([float(x[k:] @ x[:-k]) / total for k in range(1, lags + 1)])
    q = n * (n + 2) * float(np.sum(r**2 / (n - np.arange(1, lags + 1))))
    p_value = float(gammaincc(lags / 2.0, q / 2.0))  # chi-square's upper tail
    return p_value > 0.01, p_value
