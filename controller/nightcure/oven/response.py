"""The exact response of an oven at any times: few, unequal, or many.

The network's matrix is symmetric once scaled by the capacities, so it falls apart into independent
modes, each a first-order lag. Power is held between grid times and the ambient runs straight
between them; a mode's answer to either is closed-form, so nothing is integrated numerically.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from .thermal import AIR, HEATER, Array, Network

#: Exponents are summed in blocks no longer than this, so that nothing overflows.
BLOCK = 300.0


class Modes(NamedTuple):
    """A network as independent modes `dz/dt = -rate z + per_w P + per_k T_ambient`."""

    rates_per_s: Array
    """Decay rates, slowest first, (nodes,), 1/s."""
    per_w: Array
    """What a watt of the heater gives each mode, (nodes,)."""
    per_air_w: Array
    """What a watt into the air itself gives each mode, (nodes,)."""
    per_k: Array
    """What a kelvin of ambient gives each mode, (nodes,)."""
    to_nodes: Array
    """Node temperatures = to_nodes @ z, (nodes, modes)."""
    from_nodes: Array
    """z = from_nodes @ node temperatures, (modes, nodes)."""


def modes(network: Network) -> Modes:
    """The network's modes. Its time constants are 1/rates_per_s."""
    a, b = network.rates()
    root = np.sqrt(np.array(network.capacities))
    symmetric = -(root[:, None] * a / root[None, :])
    rates, vectors = np.linalg.eigh((symmetric + symmetric.T) / 2.0)
    to_nodes = vectors / root[:, None]
    from_nodes = vectors.T * root[None, :]
    per_w, per_air_w, per_k = (from_nodes @ b[:, i] for i in (1 + HEATER, 1 + AIR, 0))
    return Modes(rates, per_w, per_air_w, per_k, to_nodes, from_nodes)


def response(
    network: Network,
    times_s: Array,
    power_w: Array,
    ambient_c: Array,
    start_c: Array,
    nodes: tuple[int, ...],
    air_w: Array | None = None,
) -> Array:
    """Temperatures of `nodes` at every grid time.

    Args:
        network: the oven.
        times_s: (m,), rising.
        power_w: (m - 1,), the heater's power from each grid time to the next.
        ambient_c: (m,), straight lines between.
        start_c: (nodes of the network,) at the first grid time.
        nodes: which to return.
        air_w: (m - 1,), what the air itself is given besides the heater, held likewise; None: 0.

    Returns:
        (len(nodes), m), °C.
    """
    m = modes(network)
    first_c = float(ambient_c[0])
    dt = np.diff(times_s)
    slope = np.diff(ambient_c) / dt
    drive = ambient_c[:-1] - first_c
    z0 = m.from_nodes @ (start_c - first_c)
    pick = m.to_nodes[list(nodes)]
    rate, per_w, per_k = (v[:, None] for v in (m.rates_per_s, m.per_w, m.per_k))
    x = rate * dt
    gone = -np.expm1(-x) / rate
    heat = per_w * power_w
    if air_w is not None:
        heat = heat + m.per_air_w[:, None] * air_w
    inputs = (heat + per_k * drive) * gone + per_k * slope * (dt - gone) / rate
    out: Array = first_c + pick @ _scan(x, inputs, z0)
    return out


def _scan(exponents: Array, inputs: Array, first: Array) -> Array:
    """z[:, 0] = first, z[:, i + 1] = exp(-exponents[:, i]) z[:, i] + inputs[:, i].

    Shapes (modes, n), (modes, n), (modes,) -> (modes, n + 1).
    """
    modes_count, n = exponents.shape
    fastest = np.concatenate([[0.0], np.cumsum(exponents.max(axis=0))])
    z = np.empty((modes_count, n + 1))
    z[:, 0] = first
    start = 0
    while start < n:
        end = int(np.searchsorted(fastest, fastest[start] + BLOCK, side="right")) - 1
        if end <= start:
            z[:, start + 1] = np.exp(-exponents[:, start]) * z[:, start] + inputs[:, start]
            start += 1
            continue
        grown = np.exp(np.cumsum(exponents[:, start:end], axis=1))
        summed = np.cumsum(inputs[:, start:end] * grown, axis=1)
        z[:, start + 1 : end + 1] = (z[:, start : start + 1] + summed) / grown
        start = end
    return z
