"""The regulators of `heat`, for many nights at once, over steps of a window's length or so.

Each says what its namesake in `heat` would have said on average over the step; the agreement with
the loop itself is tested night by night. Shapes (nights, profiles).
"""

from __future__ import annotations

import math
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from ..oven.arrays import Array
from ..settings import Heater, Model, Regulator, Settings

#: The longest step, s; bang-bang's swing hangs on the moments of its switching.
STEP_S = 20.0
BANG_BANG_STEP_S = 4.0


#: A reading's noise crosses a line so much before its mean does (a DS18B20's sixteenths, 0.03 °C).
EARLY_C = 0.05


def step_of(settings: Settings) -> float:
    """A step that divides the heater's window, no longer than the regulator bears."""
    longest_s = STEP_S if settings.regulator.kind == "pid" else BANG_BANG_STEP_S
    window_s = settings.heater.window_s
    if window_s <= longest_s:
        return longest_s
    return window_s / math.ceil(window_s / longest_s - 1e-9)


def lagged(lag_s: float, dt_s: float) -> float:
    """What a first-order lag keeps of its past over a step, so that it is `lag_s` behind a ramp.

    (The exact decay would leave it too little behind, with steps as long as the lag itself.)
    """
    return lag_s / (lag_s + dt_s)


class Watts(Protocol):
    """A regulator."""

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> Array:
        """Power to ask for over the coming step, 0 to the heater's, W."""


class FeedForward:
    """See `heat.feedforward.FeedForward`."""

    def __init__(self, model: Model, dt_s: float) -> None:
        self._model, self._dt_s = model, dt_s
        self._keep = math.exp(-dt_s / model.mould_lag_s) if model.mould_lag_s > 0 else 0.0
        self._ahead_c: Array | None = None
        self._mould_rate: Array | float = 0.0

    def watts(self, ahead_c: Array, ambient_c: Array | float) -> Array:
        """Power for a setpoint that will be `ahead_c` one heater lag on, W, may be negative."""
        m = self._model
        rate = 0.0 if self._ahead_c is None else (ahead_c - self._ahead_c) / self._dt_s
        self._ahead_c = ahead_c
        self._mould_rate = self._keep * self._mould_rate + (1.0 - self._keep) * rate
        result: Array = (
            m.loss_w_per_k * (ahead_c - ambient_c)
            + m.air_capacity_j_per_k * rate
            + m.mould_capacity_j_per_k * self._mould_rate
        )
        return result


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

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> Array:
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
        result: Array = np.minimum(np.maximum(request, 0.0), p)
        return result


class BangBang:
    """See `heat.bang_bang.BangBangRegulator`.

    The loop looks every tick; here the moment of switching within the step is foreseen from how
    fast the air moves.
    """

    def __init__(self, settings: Regulator, power_w: float, dt_s: float, start_c: Array) -> None:
        self._hysteresis_c = max(settings.hysteresis_c - EARLY_C, 0.02)
        self._power_w, self._dt_s = power_w, dt_s
        self._on = np.zeros(start_c.shape, dtype=bool)
        self._last_c = start_c

    def watts(self, setpoint_c: Array, measured_c: Array, feed_forward_w: Array) -> Array:
        """Power to ask for over the coming step, W."""
        del feed_forward_w
        step_k = measured_c - self._last_c
        self._last_c = measured_c
        error = measured_c - setpoint_c
        to_go = np.where(self._on, self._hysteresis_c - error, error + self._hysteresis_c)
        pace = np.where(self._on, step_k, -step_k)
        with np.errstate(divide="ignore", invalid="ignore"):
            share = np.where(pace > 0.0, to_go / pace, np.inf)
        share = np.where(to_go <= 0.0, 0.0, share)
        switches = share < 1.0
        kept = np.minimum(share, 1.0)
        on = np.where(self._on, kept, 1.0 - kept)
        self._on = self._on ^ switches
        result: Array = on * self._power_w
        return result


def regulator_for(settings: Settings, dt_s: float, start_c: Array) -> Watts:
    """The regulator of `settings`."""
    power_w = settings.heater.power_w
    if settings.regulator.kind == "pid":
        return Pid(settings.regulator, power_w, dt_s, start_c)
    return BangBang(settings.regulator, power_w, dt_s, start_c)


class Modulator:
    """See `heat.modulator.Modulator`; windows shorter than a step give the mean power."""

    def __init__(self, heater: Heater, dt_s: float, shape: tuple[int, int]) -> None:
        self._heater, self._dt_s = heater, dt_s
        self._steps = max(round(heater.window_s / dt_s), 1)
        self._mean = heater.window_s < dt_s
        self._owed, self._asked, self._given = (np.zeros(shape) for _ in range(3))
        self._over: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        self._on: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        self._count = 0

    def on_share(self, duty: Array) -> Array:
        """Of the coming step, the share for which the heater is on."""
        if self._mean:
            return duty
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
