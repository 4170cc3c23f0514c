"""The ripple of a switching window, against python-control's own simulation of the switching."""

from __future__ import annotations

import control
import numpy as np
import pytest

from nightcure.oven.thermal import AIR, HEATER
from nightcure.simulate.scenario import BOX
from nightcure.survey.window import CALM_RIPPLE_K, longest_window_s, ripple_k


@pytest.mark.parametrize("window_s", [20.0, 240.0])
def test_ripple_of_a_switched_heater(window_s: float) -> None:
    """The last of many windows, started at the mean: `control.forced_response` (python-control)."""
    a, b = BOX.rates()
    c = np.zeros((1, len(a)))
    c[0, AIR] = 1.0
    oven = control.ss(a, b[:, [1 + HEATER]], c, 0)
    per_window, windows = 40, 60
    t = np.arange(per_window * windows + 1) * window_s / per_window
    power = np.where((np.arange(len(t)) % per_window) < per_window // 2, BOX.power_w, 0.0)
    mean = np.linalg.solve(a, -b[:, 1 + HEATER] * BOX.power_w / 2.0)
    # Held between samples, not joined by straight lines.
    held = control.sample_system(oven, window_s / per_window, "zoh")
    air = control.forced_response(held, t, power, mean).outputs[-per_window - 1 :]
    assert ripple_k(BOX, window_s) == pytest.approx((air.max() - air.min()) / 2.0, rel=0.02)


def test_the_longest_calm_window() -> None:
    longest_s = longest_window_s(BOX)
    assert ripple_k(BOX, longest_s) <= CALM_RIPPLE_K < ripple_k(BOX, 1.5 * longest_s)


def test_a_hasty_oven_gets_the_shortest() -> None:
    assert longest_window_s(BOX, most_k=1e-9) == 2.0
