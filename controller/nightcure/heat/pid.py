"""The PID regulator, in watts: simple-pid with a filtered measurement and an honest anti-windup.

Gains are W/K, so exchanging the heater changes no gain: the duty is watts over the heater's power.
"""

from __future__ import annotations

import math
from typing import Any

from simple_pid import PID

from ..settings import Regulator


class _Core(PID):
    """simple-pid with its state laid open, so that a resumed night goes on to the bit."""

    def state(self) -> dict[str, float | None]:
        return {"integral_w": self._integral, "last_c": self._last_input}

    def set_state(self, state: dict[str, float | None]) -> None:
        self._integral = state["integral_w"]
        self._last_input = state["last_c"]

    def give_up(self, watts: float) -> None:
        low_w, high_w = self.output_limits
        assert low_w is not None
        assert high_w is not None
        self._integral = min(max((self._integral or 0.0) - watts, low_w), high_w)


class PidRegulator:
    """Watts from setpoint and measurement, on top of a feed-forward.

    The derivative acts on the measurement, through the same first-order filter (`filter_s`) as the
    rest. The integral stands still while the request is beyond what the heater can do in the
    direction of the error, and while the modulator was not allowed to follow.
    """

    def __init__(self, settings: Regulator, power_w: float) -> None:
        self.power_w = power_w
        self.filter_s = settings.filter_s
        self._gains = (
            settings.gain_w_per_k,
            settings.gain_w_per_k / settings.integral_s,
            settings.gain_w_per_k * settings.derivative_s,
        )
        self._core = _Core(*self._gains, sample_time=None, output_limits=(-power_w, power_w))
        self._filtered_c: float | None = None
        self._saturated = 0

    def start(self, setpoint_c: float, measured_c: float, output_w: float) -> None:
        """Take over without a bump: the next answer is `output_w` if nothing moves meanwhile.

        As far as an integral within ± power_w can make it so.
        """
        self._filtered_c = measured_c
        self._saturated = 0
        self._core.set_auto_mode(False)
        bumpless_w = output_w - self._gains[0] * (setpoint_c - measured_c)
        self._core.set_auto_mode(True, last_output=bumpless_w)

    def hand_over(self, watts: float) -> None:
        """Feed-forward has grown by `watts`: the integral gives them up, and the sum stays."""
        self._core.give_up(watts)

    def watts(
        self,
        dt_s: float,
        setpoint_c: float,
        measured_c: float,
        feed_forward_w: float = 0.0,
        held: bool = False,
    ) -> float:
        """Power to ask for now, 0 ... power_w.

        Args:
            dt_s: time since the last call, above 0.
            held: the modulator was kept from following since the last call.

        Raises:
            ValueError: an argument is not finite, or dt_s is not above 0. State is unchanged.
        """
        if not math.isfinite(dt_s + setpoint_c + measured_c + feed_forward_w) or dt_s <= 0.0:
            raise ValueError("the regulator was given a value that is not finite, or no time.")
        if self._filtered_c is None:
            self._filtered_c = measured_c
        self._filtered_c += (measured_c - self._filtered_c) * dt_s / (self.filter_s + dt_s)
        error_c = setpoint_c - self._filtered_c
        frozen = held or error_c * self._saturated > 0.0
        core = self._core
        core.Ki = 0.0 if frozen else self._gains[1]
        core.setpoint = setpoint_c
        output_w = core(self._filtered_c, dt=dt_s)
        assert output_w is not None  # only in manual mode
        request_w = output_w + feed_forward_w
        self._saturated = 1 if request_w >= self.power_w else -1 if request_w <= 0.0 else 0
        return min(max(request_w, 0.0), self.power_w)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {
            "core": self._core.state(),
            "filtered_c": self._filtered_c,
            "saturated": self._saturated,
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self._core.set_state(state["core"])
        self._filtered_c = state["filtered_c"]
        self._saturated = state["saturated"]
