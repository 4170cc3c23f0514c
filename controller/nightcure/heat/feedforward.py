"""Feed-forward: the watts the oven is known to need for where the profile is about to be."""

from __future__ import annotations

import math
from typing import Any

from ..settings import Model


class FeedForward:
    """Loss at the coming setpoint plus what air and moulds take up on the way there.

    `loss (T_sp - T_ambient) + C_air dT_sp/dt + C_mould (dT_sp/dt lagged by the moulds)`. The caller
    gives the setpoint one heater lag ahead, since heat ordered now arrives that much later.
    """

    def __init__(self, model: Model) -> None:
        self._model = model
        self._ahead_c: float | None = None
        self._mould_rate = 0.0

    def start(self) -> None:
        """A new night: the moulds follow nothing yet."""
        self._ahead_c = None
        self._mould_rate = 0.0

    def watts(self, dt_s: float, ahead_c: float, ambient_c: float) -> float:
        """Power (W, may be negative) for a setpoint that will be `ahead_c` one heater lag on."""
        m = self._model
        rate = 0.0 if self._ahead_c is None else (ahead_c - self._ahead_c) / dt_s
        self._ahead_c = ahead_c
        keep = math.exp(-dt_s / m.mould_lag_s) if m.mould_lag_s > 0 else 0.0
        self._mould_rate = keep * self._mould_rate + (1.0 - keep) * rate
        return (
            m.loss_w_per_k * (ahead_c - ambient_c)
            + m.air_capacity_j_per_k * rate
            + m.mould_capacity_j_per_k * self._mould_rate
        )

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {"ahead_c": self._ahead_c, "mould_rate": self._mould_rate}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self._ahead_c = state["ahead_c"]
        self._mould_rate = state["mould_rate"]
