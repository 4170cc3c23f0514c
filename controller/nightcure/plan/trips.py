"""Those interlocks of `guard` that end a cold or a hot night, for many nights at once.

Over-temperature, a heater without effect, a heater on for too long: a night in which one of them
trips is heated no more. The expected self-heating keeps the exotherm's interlock quiet by design,
and sensors do not fail in these nights.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..oven.arrays import Array
from ..settings import Settings

#: Trips by their number in `Trips.why`; 0 is none.
OVER_TEMPERATURE = 1
NAMES = ("", "over-temperature", "heater-without-effect", "heater-on-too-long")
#: As in `guard.heater.HeaterWithoutEffect`.
FULL, SHARE, LEAST_K, SLEEP_K, DOUBT = 0.95, 0.2, 0.25, 0.8, 1.5


class Trips:
    """Which nights have tripped, and by what."""

    def __init__(self, settings: Settings, shape: tuple[int, int]) -> None:
        self._settings = settings
        self.why: NDArray[np.int8] = np.zeros(shape, dtype=np.int8)
        self._on_s, self._full_s, self._from_c, self._expected_k = (np.zeros(shape) for _ in "1234")
        self._allow_s = max(600.0, 3.0 * settings.model.heater_lag_s)

    @property
    def tripped(self) -> NDArray[np.bool_]:
        """Which."""
        result: NDArray[np.bool_] = self.why > 0
        return result

    def look(
        self,
        dt_s: float,
        control_c: Array,
        parts_c: list[Array],
        ambient_c: Array,
        heated: NDArray[np.bool_],
        duty: Array,
        on_share: Array,
    ) -> None:
        """After a step: the readings, and what was asked and given."""
        limits = self._settings.limits
        hot = control_c > limits.air_c
        for part_c in parts_c:
            hot = hot | (part_c > limits.part_c)
        if hot.any():
            self._trip(hot, OVER_TEMPERATURE)
        full = heated & (duty >= FULL)
        if full.any():
            self._without_effect(dt_s, control_c, ambient_c, full)
        else:
            self._full_s[:] = 0.0
        self._on_s = np.where(on_share > 1.0 - 1e-9, self._on_s + dt_s, 0.0)
        long = self._on_s > limits.longest_heater_on_h * 3600.0
        if long.any():
            self._trip(long, 3)

    def _without_effect(
        self, dt_s: float, control_c: Array, ambient_c: Array, full: NDArray[np.bool_]
    ) -> None:
        s = self._settings
        m = s.model
        fresh = full & (self._full_s == 0.0)
        np.copyto(self._from_c, control_c, where=fresh)
        self._expected_k[fresh] = 0.0
        self._full_s = np.where(full, self._full_s + dt_s, 0.0)
        lost_w = DOUBT * m.loss_w_per_k * np.maximum(control_c - ambient_c, 0.0)
        capacity = m.air_capacity_j_per_k + m.mould_capacity_j_per_k
        self._expected_k += np.maximum(s.heater.power_w - lost_w, 0.0) / capacity * dt_s
        due = self._full_s >= self._allow_s
        if due.any():
            rise_k = control_c - self._from_c
            least_k = np.maximum(LEAST_K, SHARE * self._expected_k)
            self._trip(due & (self._expected_k > SLEEP_K) & (rise_k < least_k), 2)
            self._full_s[due] = 0.0

    def _trip(self, where: NDArray[np.bool_], number: int) -> None:
        self.why[where & (self.why == 0)] = number
