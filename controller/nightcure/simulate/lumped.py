"""The oven as the survey sees it: heater, air, walls and moulds, each one lump."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..oven.thermal import AIR, FIRST_MOULD, HEATER, Array, Network, step_matrices
from ..settings import Role
from .body import Body, Held


class LumpedOven(Body):
    """The survey's network, stepped in time."""

    nodes_per_mould = 1

    def __init__(self, network: Network) -> None:
        self.network = network
        self.power_w = network.power_w
        self.state_c: Array = np.zeros(len(network.capacities))
        self._inputs = np.zeros(1 + len(self.state_c))
        self.air = slice(AIR, AIR + 1)
        self.parts = list(range(FIRST_MOULD, FIRST_MOULD + len(network.moulds)))
        self._steps: dict[tuple[float, float], tuple[Array, Array]] = {}

    def place(self, role: Role, number: int) -> int:
        if role is Role.HEATER:
            return HEATER
        moulds = len(self.network.moulds)
        if role is Role.AIR or not moulds:
            return AIR
        return FIRST_MOULD + number % moulds

    def points_c(self) -> list[float]:
        points_c: list[float] = self.state_c.tolist()
        return points_c

    def step(self, dt_s: float, held: Held) -> None:
        """Let `dt_s` pass. There is one air, so the fan changes nothing."""
        key = held.door_w_per_k, dt_s
        if key not in self._steps:
            leak = self.network.leak_w_per_k + held.door_w_per_k
            self._steps[key] = step_matrices(replace(self.network, leak_w_per_k=leak), dt_s)
        f, h = self._steps[key]
        u = self._inputs
        u[0] = held.ambient_c
        u[1 + HEATER] = held.heater_w
        if self.network.moulds:
            u[1 + FIRST_MOULD :] = 0.0
            u[1 + FIRST_MOULD : 1 + FIRST_MOULD + len(held.moulds_w)] = held.moulds_w
        self.state_c = f.dot(self.state_c) + h.dot(u)
