"""The plan's regulator over arrays against the loop's own, called as seldom."""

from __future__ import annotations

import numpy as np
import pytest

from nightcure.heat.pid import PidRegulator
from nightcure.plan.regulate import Pid
from tests.nights import SETTINGS

DT_S = 20.0
POWER_W = 300.0


@pytest.mark.parametrize("short_of_k", [3.0, 20.0, -20.0])
def test_it_asks_for_what_the_loops_regulator_asks_for(short_of_k: float) -> None:
    """An hour at the heater's end, then about the setpoint: nothing has piled up meanwhile."""
    settings = SETTINGS.regulator
    loops = PidRegulator(settings, POWER_W)
    first_c = 38.0 - short_of_k
    arrays = Pid(settings, POWER_W, DT_S, np.full((1, 1), first_c))
    asked = []
    for k in range(360):
        measured_c = first_c if k < 180 else 38.0 + 0.3 * np.sin(0.05 * k)
        ours = arrays.watts(
            np.full((1, 1), 38.0), np.full((1, 1), measured_c), np.full((1, 1), 40.0)
        )
        asked.append(loops.watts(DT_S, 38.0, measured_c, 40.0))
        assert ours[0][0, 0] == pytest.approx(asked[-1], abs=1e-6), f"step {k}"
    assert asked[100] == (POWER_W if short_of_k > 0.0 else 0.0), "it stood at its end"
    assert 0.0 < asked[-1] < POWER_W
