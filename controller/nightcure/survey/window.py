"""The switching window: how much the air ripples with one, and the longest that is calm."""

from __future__ import annotations

import numpy as np

from ..oven.thermal import AIR, HEATER, Network, step_matrices

#: Windows worth proposing, s: a solid-state relay takes the shortest, a contactor the longest.
WINDOWS_S = (2.0, 5.0, 10.0, 15.0, 20.0, 30.0, 45.0, 60.0, 90.0, 120.0, 180.0, 240.0, 300.0, 600.0)
#: Air may swing so far to either side, K: half of what a soak is to stay within.
CALM_RIPPLE_K = 0.15
#: Steps a window is looked at in.
STEPS = 40


def ripple_k(network: Network, window_s: float, duty: float = 0.5) -> float:
    """Half of the air's swing (K) when the heater is on for `duty` of every window, for ever.

    Exact at its steps: after one window the oven is where it began, a linear equation.

    Args:
        network: the oven.
        window_s: s, above 0.
        duty: 0 to 1; the swing is largest at a half.
    """
    f, h = step_matrices(network, window_s / STEPS)
    push = h[:, 1 + HEATER] * network.power_w
    on = round(duty * STEPS)
    gathered, whole = np.zeros(len(f)), np.eye(len(f))
    for number in range(STEPS):
        gathered = f @ gathered + (push if number < on else 0.0)
        whole = f @ whole
    state = np.linalg.solve(np.eye(len(f)) - whole, gathered)
    air = []
    for number in range(STEPS):
        state = f @ state + (push if number < on else 0.0)
        air.append(state[AIR])
    return float(max(air) - min(air)) / 2.0


def longest_window_s(network: Network, most_k: float = CALM_RIPPLE_K) -> float:
    """The longest of `WINDOWS_S` whose ripple stays within ± `most_k`; the shortest if none does.

    A longer window spares a contactor; a shorter one holds the air more evenly.
    """
    calm = [window_s for window_s in WINDOWS_S if ripple_k(network, window_s) <= most_k]
    return max(calm, default=WINDOWS_S[0])
