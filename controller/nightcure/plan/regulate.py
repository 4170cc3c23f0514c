"""The regulators of `heat`, for many nights at once, over steps of a window's length or so.

Each says what its namesake in `heat` would have said on average over the step; the agreement with
the loop itself is tested night by night. Shapes (nights, profiles).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from ..oven.arrays import Array
from ..profile import Profile
from ..settings import MOST_DEPARTS_K, PROBE_LAG_S, Heater, Regulator, Settings
from .course import NOISE_C, QUANTUM_C

#: The longest step, s; bang-bang's swing hangs on the moments of its switching.
STEP_S = 20.0
BANG_BANG_STEP_S = 4.0


def regulated(settings: Settings, profiles: Sequence[Profile]) -> Settings:
    """The settings with the regulator that the profiles ask for, as `heat.regulators` has it.

    Raises:
        ValueError: they ask for different ones.
    """
    kinds = {p.regulator or settings.regulator.kind for p in profiles}
    if len(kinds) != 1:
        raise ValueError(f"nights are run by one regulator at a time, not by {sorted(kinds)}.")
    regulator = settings.regulator.model_copy(update={"kind": kinds.pop()})
    return settings.model_copy(update={"regulator": regulator})


def step_of(settings: Settings) -> float:
    """A step that divides the heater's window, no longer than the regulator bears."""
    longest_s = STEP_S if settings.regulator.kind == "pid" else BANG_BANG_STEP_S
    window_s = settings.heater.window_s
    if window_s <= longest_s:
        return longest_s
    return window_s / math.ceil(window_s / longest_s - 1e-9)


def looks_of(settings: Settings, dt_s: float) -> int:
    """How often the regulator looks within a step: bang-bang on every tick."""
    if settings.regulator.kind == "pid":
        return 1
    return max(round(dt_s / settings.timing.tick_s), 1)


def lagged(lag_s: float, dt_s: float) -> float:
    """What a first-order lag keeps of its past over a step, so that it is `lag_s` behind a ramp.

    (The exact decay would leave it too little behind, with steps as long as the lag itself.)
    """
    return lag_s / (lag_s + dt_s)


class Watts(Protocol):
    """A regulator."""

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> list[Array]:
        """Power to ask for over the coming step, 0 to the heater's, W: from every look on."""


class FeedForward:
    """See `heat.feedforward.FeedForward`; the constants are the loop's."""

    def __init__(self, settings: Settings, dt_s: float) -> None:
        m = settings.model
        self._model, self._dt_s, self._power_w = m, dt_s, settings.heater.power_w
        self._mould_keeps = _kept(dt_s, m.mould_lag_s)
        self._heater_keeps = _kept(dt_s, m.heater_lag_s)
        self._within = _kept(max(m.lead_s, dt_s), m.heater_lag_s)
        self._departs_keeps = _kept(dt_s, m.air_capacity_j_per_k / m.settles_w_per_k)
        self._lags = lagged(PROBE_LAG_S, dt_s), lagged(settings.regulator.filter_s, dt_s)
        self._ahead_c: Array | None = None
        self._now_c: Array | None = None
        self._mould_rate: Array | float = 0.0
        self._now_mould_rate: Array | float = 0.0
        self._heat_w: Array | float = 0.0
        self._departs_k: Array | float = 0.0
        self._probe_c: Array | None = None
        self._shown_c: Array | None = None

    def ask(
        self, setpoint_c: Array, ahead_c: Array, ambient_c: Array | float
    ) -> tuple[Array, Array]:
        """Power (W), and what the thermometer should show (°C)."""
        m = self._model
        need_w, self._mould_rate = self._need(self._ahead_c, ahead_c, self._mould_rate, ambient_c)
        self._ahead_c = ahead_c
        watts = (need_w - self._within * self._heat_w) / (1.0 - self._within)
        watts = np.minimum(np.maximum(watts, 0.0), self._power_w)
        self._heat_w = watts + (self._heat_w - watts) * self._heater_keeps
        now_w, self._now_mould_rate = self._need(
            self._now_c, setpoint_c, self._now_mould_rate, ambient_c
        )
        self._now_c = setpoint_c
        rest_k = (self._heat_w - now_w) / m.settles_w_per_k
        departs_k = rest_k + (self._departs_k - rest_k) * self._departs_keeps
        self._departs_k = np.minimum(np.maximum(departs_k, -MOST_DEPARTS_K), MOST_DEPARTS_K)
        expected_c = setpoint_c + np.minimum(self._departs_k, 0.0)
        probe, filtered = self._lags
        before_c = expected_c if self._probe_c is None else self._probe_c
        self._probe_c = expected_c + probe * (before_c - expected_c)
        before_c = self._probe_c if self._shown_c is None else self._shown_c
        self._shown_c = self._probe_c + filtered * (before_c - self._probe_c)
        return watts, self._shown_c

    def _need(
        self, before_c: Array | None, to_c: Array, mould_rate: Array | float,
        ambient_c: Array | float,
    ) -> tuple[Array, Array | float]:  # fmt: skip
        m = self._model
        rate = 0.0 if before_c is None else (to_c - before_c) / self._dt_s
        mould_rate = self._mould_keeps * mould_rate + (1.0 - self._mould_keeps) * rate
        need_w: Array = (
            m.loss_w_per_k * (to_c - ambient_c)
            + m.air_capacity_j_per_k * rate
            + m.mould_capacity_j_per_k * mould_rate
        )
        return need_w, mould_rate


def _kept(dt_s: float, lag_s: float) -> float:
    """What a first-order lag keeps of its past over `dt_s`."""
    return math.exp(-dt_s / lag_s) if lag_s > 0.0 else 0.0


class Pid:
    """See `heat.pid.PidRegulator`."""

    def __init__(self, settings: Regulator, power_w: float, dt_s: float, start_c: Array) -> None:
        self._power_w, self._dt_s = power_w, dt_s
        self._kp = settings.gain_w_per_k
        self._ki = settings.gain_w_per_k / settings.integral_s
        self._kd = settings.gain_w_per_k * settings.derivative_s
        self._keep = lagged(settings.filter_s, dt_s)
        self._filtered_c: Array = start_c.copy()
        self._last_c: Array = start_c.copy()
        self._integral_w: Array = np.zeros(start_c.shape)
        self._saturated: Array = np.zeros(start_c.shape)

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> list[Array]:
        """Power to ask for over the coming step, W."""
        self._filtered_c = measured_c + self._keep * (self._filtered_c - measured_c)
        error = setpoint_c - self._filtered_c
        gain = np.where(error * self._saturated > 0.0, 0.0, self._ki * self._dt_s * error)
        p = self._power_w
        self._integral_w = np.minimum(np.maximum(self._integral_w + gain, -p), p)
        slope = (self._filtered_c - self._last_c) / self._dt_s
        self._last_c = self._filtered_c
        output = self._kp * error + self._integral_w - self._kd * slope
        request = np.minimum(np.maximum(output, -p), p) + feed_forward_w
        self._saturated = np.where(request >= p, 1.0, np.where(request <= 0.0, -1.0, 0.0))
        return [np.minimum(np.maximum(request, 0.0), p)]


class BangBang:
    """See `heat.bang_bang.BangBangRegulator`.

    It looks every tick, as the loop does, and so sees noise: it switches once a reading has as
    likely as not been past the line, which the slower the air moves is the sooner.
    """

    LIKELY = math.log(2.0)

    def __init__(self, settings: Regulator, power_w: float, looks: int, start_c: Array) -> None:
        self._hysteresis_c, self._power_w = settings.hysteresis_c, power_w
        self._looks = looks
        self._on = np.zeros(start_c.shape, dtype=bool)
        self._last_c = start_c
        self._passed = np.zeros(start_c.shape)
        """Minus the logarithm of the odds that no reading was past the line yet."""

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> list[Array]:
        """Power to ask for from each tick of the coming step on, W."""
        del feed_forward_w
        pace_k = (measured_c - self._last_c) / self._looks
        self._last_c = measured_c
        # Readings are whole sixteenths: the first at or past the line counts, by rounding.
        half, h = 0.5 * QUANTUM_C, self._hysteresis_c
        upper_c = np.ceil((setpoint_c + h) / QUANTUM_C - 1e-9) * QUANTUM_C - half
        lower_c = np.floor((setpoint_c - h) / QUANTUM_C + 1e-9) * QUANTUM_C + half
        out: list[Array] = []
        for i in range(self._looks):
            at_c = measured_c + i * pace_k
            past_c = np.where(self._on, at_c - upper_c, lower_c - at_c)
            with np.errstate(divide="ignore"):
                self._passed -= np.log1p(-ndtr(past_c / NOISE_C))
            switches = self._passed >= self.LIKELY
            self._passed[switches] = 0.0
            self._on = self._on ^ switches
            out.append(np.where(self._on, self._power_w, 0.0))
        return out


def regulator_for(settings: Settings, dt_s: float, start_c: Array) -> Watts:
    """The regulator of `settings`."""
    power_w = settings.heater.power_w
    if settings.regulator.kind == "pid":
        return Pid(settings.regulator, power_w, dt_s, start_c)
    return BangBang(settings.regulator, power_w, looks_of(settings, dt_s), start_c)


class Modulator:
    """See `heat.modulator.Modulator`; windows shorter than a step give the mean power."""

    def __init__(self, heater: Heater, dt_s: float, looks: int, shape: tuple[int, int]) -> None:
        self._heater, self._dt_s = heater, dt_s / looks
        self._steps = max(round(heater.window_s / self._dt_s), 1)
        self._mean = heater.window_s < dt_s
        self._owed, self._asked, self._given = (np.zeros(shape) for _ in range(3))
        self._over: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        self._on: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        self._count = 0

    def on_share(self, duties: Sequence[Array]) -> Array:
        """Of the coming step, the share for which the heater is on; a duty for every look."""
        shares = [d if self._mean else self._look(d) for d in duties]
        return shares[0] if len(shares) == 1 else sum(shares[1:], shares[0]) / len(shares)

    def _look(self, duty: Array) -> Array:
        h = self._heater
        if self._count % self._steps == 0:
            owed = self._owed + self._asked - self._given
            self._owed = np.minimum(np.maximum(owed, -h.window_s), h.window_s)
            self._asked, self._given = np.zeros(duty.shape), np.zeros(duty.shape)
            self._over[:] = False
        self._count += 1
        target = duty * h.window_s + self._owed
        target = np.where(target < h.min_on_s, 0.0, target)
        target = np.where(target > h.window_s - h.min_off_s, 2.0 * h.window_s, target)
        on_s = np.minimum(np.maximum(target - self._given, 0.0), self._dt_s)
        on_s = np.where(self._over, 0.0, on_s)
        whole = on_s >= self._dt_s
        self._over |= (self._on | (on_s > 0.0)) & ~whole
        self._on = whole
        self._asked += duty * self._dt_s
        self._given += on_s
        result: Array = on_s / self._dt_s
        return result
