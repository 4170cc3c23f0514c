"""The oven as the survey sees it: heater, air, walls and moulds, each one lump."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..oven.thermal import AIR, FIRST_MOULD, HEATER, Array, Network, step_matrices
from ..settings import Role


class LumpedOven:
    """A network stepped in time; `state_c` are its nodes, °C."""

    nodes_per_mould = 1

    def __init__(self, network: Network) -> None:
        self.network = network
        self.power_w = network.power_w
        self.state_c: Array = np.zeros(len(network.capacities))
        self._inputs = np.zeros(1 + len(self.state_c))
        self._moulds = slice(FIRST_MOULD, FIRST_MOULD + len(network.moulds))
        self._steps: dict[tuple[float, float], tuple[Array, Array]] = {}

    def place(self, role: Role, number: int) -> int:
        """Where the probe of a role sits in `points_c`; `number` counts those on parts."""
        if role is Role.HEATER:
            return HEATER
        moulds = len(self.network.moulds)
        if role is Role.AIR or not moulds:
            return AIR
        return FIRST_MOULD + number % moulds

    def points_c(self) -> list[float]:
        """What a perfect thermometer would show at every place, °C."""
        points_c: list[float] = self.state_c.tolist()
        return points_c

    @property
    def moulds_c(self) -> list[float]:
        """Temperature of every mould with its part."""
        moulds_c: list[float] = self.state_c[self._moulds].tolist()
        return moulds_c

    @property
    def air_c(self) -> float:
        """The hottest air."""
        return float(self.state_c[AIR])

    @property
    def heater_c(self) -> float:
        """The heater's body."""
        return float(self.state_c[HEATER])

    def step(
        self,
        dt_s: float,
        heater_w: float,
        ambient_c: float,
        moulds_w: Sequence[float] = (),
        door_w_per_k: float = 0.0,
        fan_on: bool = True,
    ) -> None:
        """Let `dt_s` pass with everything held; `door_w_per_k` is what an open lid adds to the
        leak. One air, so a fan changes nothing."""
        del fan_on
        key = door_w_per_k, dt_s
        if key not in self._steps:
            leak = self.network.leak_w_per_k + door_w_per_k
            self._steps[key] = step_matrices(replace(self.network, leak_w_per_k=leak), dt_s)
        f, h = self._steps[key]
        u = self._inputs
        u[0] = ambient_c
        u[1 + HEATER] = heater_w
        if self.network.moulds:
            u[1 + FIRST_MOULD : 1 + self._moulds.stop] = 0.0
            u[1 + FIRST_MOULD : 1 + FIRST_MOULD + len(moulds_w)] = moulds_w
        self.state_c = f @ self.state_c + h @ u
