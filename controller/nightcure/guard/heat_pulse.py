"""A short pulse of heat and its answer: is the air where it would have been without it?

A line through the air before the pulse, bent as its own course tells, is where the air would have
gone; what it is above that is the answer. What an answer must be is a share of what the oven's
model says is due.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from ..settings import Settings
from .energy_balance import PROBE_S, STEP_S

#: A pulse is long enough to warm the oven by so much, if all stayed in air and heater.
PULSE_K = 3.0
SHORTEST_S, LONGEST_S = 20.0, 240.0
#: Least rise that counts as an answer, K, and as a share of what the model says is due.
LEAST_ANSWER_K, ANSWER_SHARE = 0.30, 0.15
#: Air that the other thermometers contradict must show more of what is due: in an open box it
#: answers, too, a little.
DOUBTED_SHARE = 0.4
#: No answer is looked for earlier: no probe is quicker.
NOT_BEFORE_S = 40.0
#: The air before a pulse is kept for so many steps; a line through it is good where it is quiet.
BASE_STEPS = 15
QUIET_K_PER_S = 0.1 / 60.0
#: A drift dies with a time constant between these, as its own bend tells; if it is slight, with
#: the middle one.
DRIFT_S = (100.0, 300.0, 1500.0)


class HeatPulse:
    """How long a pulse is, and whether the air answers it."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        model = settings.model
        lag_s = model.heater_lag_s
        store_j = model.air_capacity_j_per_k + lag_s * model.mould_w_per_k
        longest_s = min(0.75 * lag_s + 60.0, LONGEST_S)
        self._length_s = min(
            max(PULSE_K * store_j / settings.heater.power_w, SHORTEST_S), longest_s
        )
        self._look_s = self._length_s + 1.5 * lag_s + PROBE_S + 60.0
        due_k = self._due_k()
        self._need_k = max(LEAST_ANSWER_K, ANSWER_SHARE * due_k)
        self._doubted_k = max(LEAST_ANSWER_K, DOUBTED_SHARE * due_k)
        self.before_c: list[float] = []
        """The air of the last steps, newest last."""
        self.course: list[float] = []
        """The air before the pulse: where it was, °C, its slope, K/s, how long that lasts, s."""

    @property
    def length_s(self) -> float:
        """How long it heats, s."""
        return self._length_s

    @property
    def look_s(self) -> float:
        """How long after its start an answer is waited for, s."""
        return self._look_s

    def note(self, air_c: float) -> None:
        """The mean air of one more step."""
        self.before_c = [*self.before_c[1 - BASE_STEPS :], air_c]

    def forget(self) -> None:
        """The air was not seen, or not in time."""
        self.before_c = []

    def may_begin(self, unquiet_s: float, longest_s: float) -> bool:
        """Whether the air stands still enough, or has not for `longest_s`; its course is kept."""
        if len(self.before_c) < BASE_STEPS:
            return False
        half = BASE_STEPS // 2 + 1
        at_c, slope = line_through(self.before_c, STEP_S)
        drift_s = DRIFT_S[1]
        if abs(slope) >= QUIET_K_PER_S:
            at_c, now = line_through(self.before_c[-half:], STEP_S)
            _, earlier = line_through(self.before_c[:half], STEP_S)
            slope, drift_s = now, bend_s(earlier, now, (BASE_STEPS - half) * STEP_S)
        self.course = [at_c, slope, drift_s]
        return abs(slope) < QUIET_K_PER_S or unquiet_s > longest_s

    @property
    def need_k(self) -> float:
        """The least rise that is an answer, K."""
        return self._need_k

    @property
    def slope_k_per_s(self) -> float:
        """How the air moved before the pulse."""
        return self.course[1]

    def answered(self, since_s: float, doubted: bool = False) -> bool:
        """Whether the air is above its course by what is needed, `since_s` after the start; more is
        where it is `doubted`."""
        need_k = self._doubted_k if doubted else self._need_k
        return since_s > NOT_BEFORE_S and self.rise_k(since_s) > need_k

    def rise_k(self, since_s: float) -> float:
        """How far the air is above its course, `since_s` after the start, K."""
        at_c, slope, drift_s = self.course
        drift_k = slope * drift_s * (1.0 - math.exp(-since_s / drift_s))
        last = self.before_c[-4:]
        return sum(last) / len(last) - at_c - drift_k

    def _due_k(self) -> float:
        """The highest the air gets from one pulse from rest, by the settings' model, K."""
        model, step_s = self._settings.model, 5.0
        heater_w = air_k = mould_k = most_k = 0.0
        conduct = model.mould_w_per_k
        lag_s = max(model.heater_lag_s, step_s)
        t_s = 0.0
        while t_s < self._look_s:
            given_w = self._settings.heater.power_w if t_s < self._length_s else 0.0
            heater_w += (given_w - heater_w) * step_s / lag_s
            to_mould_w = conduct * (air_k - mould_k)
            net_w = heater_w - model.loss_w_per_k * air_k - to_mould_w
            air_k += net_w * step_s / max(model.air_capacity_j_per_k, 5.0 * step_s)
            if conduct:
                mould_k += to_mould_w * step_s / model.mould_capacity_j_per_k
            most_k = max(most_k, air_k)
            t_s += step_s
        return most_k

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {"before_c": self.before_c, "course": self.course}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        vars(self).update(state)


def line_through(values: Sequence[float], step_s: float) -> tuple[float, float]:
    """Least squares through equally spaced values: at the last one, and the slope per s."""
    n = len(values)
    mean_t, mean = (n - 1) / 2.0, sum(values) / n
    squares = sum((i - mean_t) ** 2 for i in range(n))
    slope = sum((i - mean_t) * (x - mean) for i, x in enumerate(values)) / squares
    return mean + slope * (n - 1 - mean_t), slope / step_s


def bend_s(before: float, now: float, apart_s: float) -> float:
    """The time constant, s, of a slope that decayed from `before` to `now`."""
    shortest_s, _, longest_s = DRIFT_S
    share = now / before if before else 0.0
    if share >= 1.0:
        return longest_s
    return min(max(-apart_s / math.log(share), shortest_s), longest_s) if share > 0 else shortest_s
