"""Many ovens stepped at once: the network of `thermal`, a member a row, every step exact.

The matrices are those of `thermal.Network.rates`; only the stepping is stacked here.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from scipy.linalg import expm

from .thermal import AIR, HEATER, Array, Network


class Ensemble:
    """Ovens of one shape (as many moulds and layers each), side by side.

    Args:
        networks: the members.
        start_c: °C of every node at first: a number, (members,), or (members, nodes).

    Raises:
        ValueError: there is no member, or their shapes differ.
    """

    def __init__(self, networks: Sequence[Network], start_c: float | Array) -> None:
        sizes = {len(n.capacities) for n in networks}
        if len(sizes) != 1:
            raise ValueError(f"the ovens have {sorted(sizes)} nodes; an ensemble is of one shape.")
        self.power_w: Array = np.array([n.power_w for n in networks])
        """Heater power of each member, (members,)."""
        rates = [n.rates() for n in networks]
        self._a = np.array([a for a, _ in rates])
        self._b = np.array([b for _, b in rates])
        start = np.asarray(start_c, dtype=np.float64)
        if start.ndim == 1:
            start = start[:, None]
        shape = len(networks), sizes.pop()
        self.state_c: Array = np.array(np.broadcast_to(start, shape))
        """Node temperatures, (members, nodes); node order as in `thermal`."""
        self._steps: dict[float, tuple[Array, Array, Array, Array]] = {}

    @property
    def air_c(self) -> Array:
        """Air temperature of each member, (members,)."""
        return self.state_c[:, AIR]

    def step(
        self,
        dt_s: float,
        duty: float | Array,
        ambient_c: float | Array,
        extra_w: Array | None = None,
    ) -> Array:
        """Let `dt_s` pass with everything held; exact.

        Args:
            dt_s: above 0. Matrices of each new `dt_s` are computed once and kept.
            duty: 0 to 1 of each member's heater power, a number or (members,).
            ambient_c: °C, a number or (members,).
            extra_w: watts into every node besides the heater's, (members, nodes).

        Returns:
            The new state, (members, nodes), °C.
        """
        f, per_ambient, per_heater, per_node = self.matrices(dt_s)
        ambient, heater_w = np.asarray(ambient_c), np.asarray(duty) * self.power_w
        state: Array = np.matmul(f, self.state_c[:, :, None])[:, :, 0]
        state += per_ambient * (ambient if ambient.ndim == 0 else ambient[:, None])
        state += per_heater * heater_w[:, None]
        if extra_w is not None:
            state += np.matmul(per_node, extra_w[:, :, None])[:, :, 0]
        self.state_c = state
        return state

    def matrices(self, dt_s: float) -> tuple[Array, Array, Array, Array]:
        """The exact step of each member, for those who keep their own states.

        Returns:
            `T' = keep T + per_ambient T_ambient + per_heater W + per_node W_of_each`: shapes
            (members, nodes, nodes), (members, nodes), (members, nodes), (members, nodes, nodes).
        """
        found = self._steps.get(dt_s)
        if found is None:
            members, n, inputs = self._b.shape
            block = np.zeros((members, n + inputs, n + inputs))
            block[:, :n, :n], block[:, :n, n:] = self._a, self._b
            whole: Array = expm(block * dt_s)
            keep = np.ascontiguousarray(whole[:, :n, :n])
            held = np.ascontiguousarray(whole[:, :n, n:])
            found = keep, held[:, :, 0].copy(), held[:, :, 1 + HEATER].copy(), held[:, :, 1:].copy()
            self._steps[dt_s] = found
        return found
