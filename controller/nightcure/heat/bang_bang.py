"""Bang-bang: full power below the hysteresis band, none above it."""

from __future__ import annotations

from typing import Any

from ..settings import Regulator


class BangBangRegulator:
    """On below setpoint - hysteresis, off above setpoint + hysteresis, else as before."""

    def __init__(self, settings: Regulator, power_w: float) -> None:
        self.power_w = power_w
        self.hysteresis_c = settings.hysteresis_c
        self._on = False

    def start(self, setpoint_c: float, measured_c: float, output_w: float) -> None:
        """Begin with the heater as `output_w` says."""
        del setpoint_c, measured_c
        self._on = output_w > 0.0

    def watts(
        self,
        dt_s: float,
        setpoint_c: float,
        measured_c: float,
        feed_forward_w: float = 0.0,
        held: bool = False,
    ) -> float:
        """Power to ask for now: 0 or power_w."""
        del dt_s, feed_forward_w, held
        if measured_c <= setpoint_c - self.hysteresis_c:
            self._on = True
        elif measured_c >= setpoint_c + self.hysteresis_c:
            self._on = False
        return self.power_w if self._on else 0.0

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {"on": self._on}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self._on = state["on"]
