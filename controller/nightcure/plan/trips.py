"""Those interlocks of `guard` that end a cold or a hot night, for many nights at once.

Over-temperature and a heater on for too long: a night in which one of them trips is heated no
more. The expected self-heating keeps the exotherm's interlock quiet by design, and neither sensors
nor the heater fail in these nights: a leaky box answers the pulses of `guard.heat_check`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ..oven.arrays import Array
from ..settings import Settings

#: Trips by their number in `Trips.why`; 0 is none.
OVER_TEMPERATURE = 1
NAMES = ("", "over-temperature", "heater-on-too-long")


class Trips:
    """Which nights have tripped, and by what."""

    def __init__(self, settings: Settings, shape: tuple[int, int]) -> None:
        self._settings = settings
        self.why: NDArray[np.int8] = np.zeros(shape, dtype=np.int8)
        self._on_s = np.zeros(shape)

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
        on_share: Array,
    ) -> None:
        """After a step: the readings, and what was asked and given."""
        limits = self._settings.limits
        hot = control_c > limits.air_c
        for part_c in parts_c:
            hot = hot | (part_c > limits.part_c)
        if hot.any():
            self._trip(hot, OVER_TEMPERATURE)
        self._on_s = np.where(on_share > 1.0 - 1e-9, self._on_s + dt_s, 0.0)
        long = self._on_s > limits.longest_heater_on_h * 3600.0
        if long.any():
            self._trip(long, 2)

    def _trip(self, where: NDArray[np.bool_], number: int) -> None:
        self.why[where & (self.why == 0)] = number
