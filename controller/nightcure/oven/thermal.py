"""The oven as a thermal network: heater body, air, walls and moulds against the ambient.

    C_i dT_i/dt = sum_j G_ij (T_j - T_i) + P_i

Linear, so a step with constant inputs is exact (matrix exponential, zero-order hold).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from scipy.linalg import expm

from .arrays import Array

__all__ = ["Array", "Layer", "Mould", "Network", "network_from_model", "step", "step_matrices"]

#: Node order of every state vector; moulds follow, then the walls' outer layers.
HEATER, AIR, WALL, FIRST_MOULD = 0, 1, 2, 3


@dataclass(frozen=True)
class Mould:
    """A mould with its part: one lump that exchanges heat with the air."""

    name: str
    capacity_j_per_k: float
    air_w_per_k: float


@dataclass(frozen=True)
class Layer:
    """An outer layer of the walls: one lump, joined to the layer inside it."""

    capacity_j_per_k: float
    inward_w_per_k: float


@dataclass(frozen=True)
class Network:
    """An oven by its capacities (J/K), conductances (W/K) and heater power (W).

    The walls are one lump, or several: `layers` follow it outwards, and `wall_ambient_w_per_k`
    joins the outermost to the ambient.
    """

    power_w: float
    heater_capacity_j_per_k: float
    heater_air_w_per_k: float
    air_capacity_j_per_k: float
    wall_capacity_j_per_k: float
    air_wall_w_per_k: float
    wall_ambient_w_per_k: float
    leak_w_per_k: float
    moulds: tuple[Mould, ...] = ()
    layers: tuple[Layer, ...] = ()

    def __post_init__(self) -> None:
        for name, value in vars(self).items():
            if name not in ("moulds", "layers") and not (np.isfinite(value) and value >= 0):
                raise ValueError(f"{name} is {value!r}; it must be finite and not negative.")
        for mould in self.moulds:
            for name, value in (
                ("capacity_j_per_k", mould.capacity_j_per_k),
                ("air_w_per_k", mould.air_w_per_k),
            ):
                if not (np.isfinite(value) and value >= 0):
                    raise ValueError(
                        f"mould {mould.name!r}: {name} is {value!r}; it must be finite and not "
                        f"negative."
                    )
        for layer in self.layers:
            if not (np.isfinite(layer.inward_w_per_k) and layer.inward_w_per_k > 0):
                raise ValueError(
                    f"a wall layer's inward_w_per_k is {layer.inward_w_per_k!r}; "
                    f"it must be above 0."
                )
        if not np.all(np.isfinite(self.capacities)) or min(self.capacities) <= 0:
            raise ValueError("every heat capacity must be above 0.")

    @property
    def capacities(self) -> tuple[float, ...]:
        """Heat capacities in node order, J/K."""
        return (
            self.heater_capacity_j_per_k,
            self.air_capacity_j_per_k,
            self.wall_capacity_j_per_k,
            *(m.capacity_j_per_k for m in self.moulds),
            *(layer.capacity_j_per_k for layer in self.layers),
        )

    @property
    def skin_w_per_k(self) -> float:
        """From the innermost wall lump to the ambient, through every layer."""
        skin = self.wall_ambient_w_per_k
        if self.layers and skin > 0:
            skin = 1.0 / (1.0 / skin + sum(1.0 / layer.inward_w_per_k for layer in self.layers))
        return skin

    @property
    def loss_w_per_k(self) -> float:
        """Total loss coefficient UA: leak, and walls in series with their inner film."""
        film, skin = self.air_wall_w_per_k, self.skin_w_per_k
        return self.leak_w_per_k + (film * skin / (film + skin) if film + skin > 0 else 0.0)

    @property
    def warmed_j_per_k(self) -> float:
        """Heat capacity that an air rising steadily has to feed, J/K.

        Of a wall each lump counts by the square of its steady share of the air's rise: the first
        moment of the walls' admittance. What lies outside the insulation hardly counts.
        """
        film, skin = self.air_wall_w_per_k, self.skin_w_per_k
        share = film / (film + skin) if film + skin > 0 else 0.0
        left = 1.0 / skin if skin > 0 else float("inf")
        warmed = self.heater_capacity_j_per_k + self.air_capacity_j_per_k
        warmed += sum(m.capacity_j_per_k for m in self.moulds)
        warmed += self.wall_capacity_j_per_k * share**2
        for layer in self.layers:
            if skin > 0:
                share *= 1.0 - 1.0 / (layer.inward_w_per_k * left)
                left -= 1.0 / layer.inward_w_per_k
            warmed += layer.capacity_j_per_k * share**2
        return warmed

    def with_loss_times(self, factor: float) -> Network:
        """The same oven with its loss coefficient multiplied, leak and skin alike.

        Walls of several layers become one lump with all their capacity.
        """
        target = self.loss_w_per_k * factor - self.leak_w_per_k * factor
        film = self.air_wall_w_per_k
        if target >= film:
            raise ValueError(f"walls cannot lose more than their inner film passes, {film:g} W/K.")
        return replace(
            self,
            leak_w_per_k=self.leak_w_per_k * factor,
            wall_ambient_w_per_k=film * target / (film - target),
            wall_capacity_j_per_k=sum((layer.capacity_j_per_k for layer in self.layers),
                                      self.wall_capacity_j_per_k),
            layers=(),
        )  # fmt: skip

    def with_mould_times(self, factor: float) -> Network:
        """The same oven with heavier or lighter moulds of the same surface."""
        return replace(
            self,
            moulds=tuple(
                replace(m, capacity_j_per_k=m.capacity_j_per_k * factor) for m in self.moulds
            ),
        )

    def rates(self) -> tuple[Array, Array]:
        """`dT/dt = A T + B u`: A (n, n) in 1/s; B (n, 1 + n) for u = [ambient °C, W per node]."""
        first_layer = FIRST_MOULD + len(self.moulds)
        n = first_layer + len(self.layers)
        wall = (WALL, *range(first_layer, n))
        g = np.zeros((n, n))
        links = [
            (HEATER, AIR, self.heater_air_w_per_k),
            (AIR, WALL, self.air_wall_w_per_k),
            *((AIR, FIRST_MOULD + i, m.air_w_per_k) for i, m in enumerate(self.moulds)),
            *((wall[i], wall[i + 1], x.inward_w_per_k) for i, x in enumerate(self.layers)),
        ]
        for i, j, conductance in links:
            g[i, j] = g[j, i] = conductance
        to_ambient = np.zeros(n)
        to_ambient[AIR], to_ambient[wall[-1]] = self.leak_w_per_k, self.wall_ambient_w_per_k
        c = np.array(self.capacities)
        a = (g - np.diag(g.sum(axis=1) + to_ambient)) / c[:, None]
        b = np.hstack([(to_ambient / c)[:, None], np.diag(1.0 / c)])
        return a, b


@lru_cache(maxsize=256)
def step_matrices(network: Network, dt_s: float) -> tuple[Array, Array]:
    """Exact step: `T(t + dt) = F T + H u` with u held. Shapes (n, n) and (n, 1 + n)."""
    a, b = network.rates()
    n = a.shape[0]
    block = np.zeros((n + b.shape[1], n + b.shape[1]))
    block[:n, :n], block[:n, n:] = a, b
    whole = expm(block * dt_s)
    return np.ascontiguousarray(whole[:n, :n]), np.ascontiguousarray(whole[:n, n:])


def step(network: Network, state_c: Array, dt_s: float, ambient_c: float, powers_w: Array) -> Array:
    """Node temperatures (n,) after `dt_s` with ambient and powers (n,) W held."""
    f, h = step_matrices(network, dt_s)
    result: Array = f @ state_c + h[:, 0] * ambient_c + h[:, 1:] @ powers_w
    return result


def network_from_model(
    loss_w_per_k: float,
    air_capacity_j_per_k: float,
    mould_capacity_j_per_k: float,
    mould_lag_s: float,
    heater_lag_s: float,
    power_w: float,
    mould_names: tuple[str, ...] = (),
) -> Network:
    """A plausible network behind the few numbers that are known of an oven.

    The quick capacity is shared between air and wall, the moulds' between `mould_names`; the
    heater runs 100 K above the air at full power (common practice, no source).
    """
    heater_w_per_k = power_w / 100.0
    film_w_per_k = 8.0 * loss_w_per_k
    skin_w_per_k = 0.75 * loss_w_per_k
    skin_w_per_k = film_w_per_k * skin_w_per_k / (film_w_per_k - skin_w_per_k)
    count = max(len(mould_names), 1)
    share = mould_capacity_j_per_k / count
    moulds = tuple(
        Mould(name, share, share / max(mould_lag_s, 60.0)) for name in mould_names if share > 0
    )
    return Network(
        power_w=power_w,
        heater_capacity_j_per_k=heater_w_per_k * max(heater_lag_s, 10.0),
        heater_air_w_per_k=heater_w_per_k,
        air_capacity_j_per_k=air_capacity_j_per_k / 3.0,
        wall_capacity_j_per_k=air_capacity_j_per_k * 2.0 / 3.0,
        air_wall_w_per_k=film_w_per_k,
        wall_ambient_w_per_k=skin_w_per_k,
        leak_w_per_k=0.25 * loss_w_per_k,
        moulds=moulds,
    )
