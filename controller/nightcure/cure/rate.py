"""How fast a resin goes at a temperature: Arrhenius' law and tables of times. Pure Python."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Iterable

#: Molar gas constant, J/(mol K) (CODATA 2018, exact).
R_J_PER_MOL_K = 8.314462618
KELVIN = 273.15


def faster(kj_per_mol: float, temp_c: float, reference_c: float) -> float:
    """How many times faster than at `reference_c` a reaction goes at `temp_c` (Arrhenius)."""
    inverse = 1.0 / (reference_c + KELVIN) - 1.0 / (temp_c + KELVIN)
    return math.exp(kj_per_mol * 1000.0 / R_J_PER_MOL_K * inverse)


def activation_kj_per_mol(temp1_c: float, time1: float, temp2_c: float, time2: float) -> float:
    """The activation energy behind two times at two temperatures, kJ/mol."""
    inverse = 1.0 / (temp1_c + KELVIN) - 1.0 / (temp2_c + KELVIN)
    return R_J_PER_MOL_K * math.log(time1 / time2) / inverse / 1000.0


class TimeTable:
    """A time over temperature: straight lines in log time over 1/T between its rows.

    Below the coldest row there is no answer; above the hottest it goes on with `beyond_kj_per_mol`.
    """

    def __init__(self, rows: Iterable[tuple[float, float]], beyond_kj_per_mol: float) -> None:
        self.rows = sorted(rows)
        self.coldest_c = self.rows[0][0]
        self._hot_c, self._hot = self.rows[-1]
        self._beyond = beyond_kj_per_mol
        self._x = [-1.0 / (c + KELVIN) for c, _ in self.rows]
        self._y = [math.log(t) for _, t in self.rows]

    def at(self, temp_c: float) -> float | None:
        """The time at `temp_c`, in the rows' unit; None below the coldest row."""
        if temp_c < self.coldest_c:
            return None
        if temp_c >= self._hot_c:
            return self._hot / faster(self._beyond, temp_c, self._hot_c)
        x = -1.0 / (temp_c + KELVIN)
        i = bisect_right(self._x, x)
        share = (x - self._x[i - 1]) / (self._x[i] - self._x[i - 1])
        return math.exp(self._y[i - 1] + share * (self._y[i] - self._y[i - 1]))
