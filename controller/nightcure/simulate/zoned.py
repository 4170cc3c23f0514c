"""An oven of another structure than the survey's: air in zones, radiant heat, layered walls and
moulds, laminates that heat themselves, draughts that grow with the temperature difference.

Linear but for the draughts, whose deviation from the matrix is held over a step as heat is; so a
step is exact in everything else (matrix exponential). Ranges: common practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.linalg import expm

from ..oven.thermal import Array, Layer
from ..settings import Role
from .body import Body, Held

#: Lumps of a mould's thickness, and of a laminate's; the laminate's free face first.
MOULD_NODES, LAMINATE_NODES = 3, 3
#: The draught is given at this difference; it grows with the root of it (stack effect).
DRAUGHT_AT_K = 25.0


@dataclass(frozen=True)
class LayeredMould:
    """A mould in one zone, its upper face under a laminate or bare, its lower face in the air."""

    capacity_j_per_k: float
    """Of the mould alone, in three layers."""
    between_w_per_k: float
    """From one layer to the next."""
    film_w_per_k: float
    """From each face to the air."""
    zone: int = 0
    laminate_j_per_k: float = 0.0
    """Of the laminate, in three layers; 0: a bare mould."""
    laminate_w_per_k: float = 0.0
    """From one layer of the laminate to the next, and to the mould."""


@dataclass(frozen=True)
class ZonedOven:
    """An oven by its parts: capacities J/K, conductances W/K, powers W."""

    power_w: float
    heater_capacity_j_per_k: float
    heater_w_per_k: float
    """From the heater's body, all of it: to the first zone's air and, the radiant share, to what
    it shines upon."""
    radiant_share: float
    zones_j_per_k: tuple[float, ...]
    """Air and what follows it at once, from the heater's zone on."""
    exchange_w_per_k: float
    """Between neighbouring zones with the fan running."""
    still_share: float
    """Of it, what is left without the fan."""
    film_w_per_k: float
    """From all air to the walls."""
    wall: tuple[Layer, ...]
    """From inside outwards; the first one's `inward_w_per_k` is not used (the film is)."""
    wall_ambient_w_per_k: float
    draught_w_per_k: float
    """Lost through gaps at `DRAUGHT_AT_K` of difference."""
    moulds: tuple[LayeredMould, ...] = ()
    air_view: float = 0.0
    """How far the air's thermometers see the heater: share of its excess over the air."""
    probe_zone: int = 0
    """Where the air's first thermometer hangs; further ones hang in the other zones in turn."""

    def __post_init__(self) -> None:
        powers = (self.power_w, self.heater_w_per_k, self.exchange_w_per_k, self.film_w_per_k)
        if min(*powers, *self.capacities) <= 0.0:
            raise ValueError("powers, conductances and capacities must be above 0.")
        if not (0.0 <= self.radiant_share < 1.0 and 0.0 <= self.air_view < 1.0):
            raise ValueError("radiant_share and air_view are shares, from 0 to below 1.")
        if not all(0 <= z < len(self.zones_j_per_k) for z in (self.probe_zone, *self._zones())):
            raise ValueError("there is no such zone.")

    def _zones(self) -> list[int]:
        return [m.zone for m in self.moulds]

    @property
    def first_wall(self) -> int:
        """Node of the walls' inner layer."""
        return 1 + len(self.zones_j_per_k)

    def first_node(self, mould: int) -> int:
        """The mould's uppermost node: of its laminate, or its own."""
        nodes = self.first_wall + len(self.wall)
        for m in self.moulds[:mould]:
            nodes += MOULD_NODES + (LAMINATE_NODES if m.laminate_j_per_k else 0)
        return nodes

    @property
    def capacities(self) -> tuple[float, ...]:
        """Of every node: heater, zones, walls, and each mould from its upper face down."""
        found = [self.heater_capacity_j_per_k, *self.zones_j_per_k]
        found += [layer.capacity_j_per_k for layer in self.wall]
        for m in self.moulds:
            if m.laminate_j_per_k:
                found += [m.laminate_j_per_k / LAMINATE_NODES] * LAMINATE_NODES
            found += [m.capacity_j_per_k / MOULD_NODES] * MOULD_NODES
        return tuple(found)

    def links(self, fan_on: bool = True) -> list[tuple[int, int, float]]:
        """Every pair of nodes that exchanges heat, W/K."""
        zones = range(1, self.first_wall)
        exchange = self.exchange_w_per_k * (1.0 if fan_on else self.still_share)
        found = [(z, z + 1, exchange) for z in zones[:-1]]
        found += [(z, self.first_wall, self.film_w_per_k / len(zones)) for z in zones]
        walls = enumerate(self.wall[1:], self.first_wall)
        found += [(w, w + 1, layer.inward_w_per_k) for w, layer in walls]
        shone = [(self.first_wall, self.film_w_per_k)]
        for i, m in enumerate(self.moulds):
            node, steps = self.first_node(i), [m.between_w_per_k] * (MOULD_NODES - 1)
            if m.laminate_j_per_k:
                steps = [m.laminate_w_per_k] * LAMINATE_NODES + steps
            found += [(node + k, node + k + 1, g) for k, g in enumerate(steps)]
            air = 1 + m.zone
            found += [(air, node, m.film_w_per_k), (air, node + len(steps), m.film_w_per_k)]
            shone.append((node, m.film_w_per_k))
        radiant = self.heater_w_per_k * self.radiant_share
        found.append((0, 1, self.heater_w_per_k - radiant))
        total = sum(size for _, size in shone)
        found += [(0, node, radiant * size / total) for node, size in shone if radiant]
        return found

    def to_ambient(self, door_w_per_k: float = 0.0) -> Array:
        """From every node straight to the shed, W/K, at the draught's own difference.

        An open lid adds `door_w_per_k` for the air and half a film for each mould's upper face.
        """
        found = np.zeros(len(self.capacities))
        zones = slice(1, self.first_wall)
        found[zones] = self.draught_w_per_k / len(self.zones_j_per_k)
        found[self.first_wall + len(self.wall) - 1] = self.wall_ambient_w_per_k
        if door_w_per_k:
            found[zones] += door_w_per_k / len(self.zones_j_per_k)
            for i, m in enumerate(self.moulds):
                found[self.first_node(i)] += 0.5 * m.film_w_per_k
        return found

    def rates(self, door_w_per_k: float = 0.0, fan_on: bool = True) -> tuple[Array, Array]:
        """`dT/dt = A T + B u`: A (n, n) in 1/s; B (n, 1 + n) for u = [shed °C, W per node]."""
        c = np.array(self.capacities)
        g = np.zeros((len(c), len(c)))
        for i, j, conductance in self.links(fan_on):
            g[i, j] += conductance
            g[j, i] += conductance
        to_ambient = self.to_ambient(door_w_per_k)
        a = (g - np.diag(g.sum(axis=1) + to_ambient)) / c[:, None]
        return a, np.hstack([(to_ambient / c)[:, None], np.diag(1.0 / c)])

    @property
    def loss_w_per_k(self) -> float:
        """Watts that hold the probe's air one kelvin above the shed for ever."""
        a, b = self.rates()
        steady_k = np.linalg.solve(a, -b[:, 1])
        return 1.0 / float(steady_k[1 + self.probe_zone])


class ZonedBody(Body):
    """A zoned oven, stepped in time."""

    nodes_per_mould = 3

    def __init__(self, oven: ZonedOven) -> None:
        self.oven = oven
        self.power_w = oven.power_w
        n = len(oven.capacities)
        self.air = slice(1, oven.first_wall)
        self.parts = [
            node
            for i in range(len(oven.moulds))
            for node in range(oven.first_node(i), oven.first_node(i) + self.nodes_per_mould)
        ]
        # One product a step: nodes, shed, heater, draught into each zone, heat of each part.
        zones = len(oven.zones_j_per_k)
        self._whole = np.zeros(n + 2 + zones + len(self.parts))
        self._state, self._next = self._whole[:n], np.zeros(n)
        self._shed, self._heat, self._draught = n, n + 1, n + 2
        self._curing = slice(n + 2 + zones, len(self._whole))
        self._per_zone = oven.draught_w_per_k / zones
        self._steps: dict[tuple[float, bool, float], Array] = {}

    @property
    def state_c(self) -> Array:
        """Every node, °C; a view."""
        return self._state

    @state_c.setter
    def state_c(self, value: Array) -> None:
        self._state[:] = value

    def place(self, role: Role, number: int) -> int:
        oven, moulds = self.oven, len(self.oven.moulds)
        if role is Role.HEATER:
            return 0
        if role is Role.AIR or not moulds:
            return len(self._state) + (oven.probe_zone + number) % len(oven.zones_j_per_k)
        lowest = oven.first_node(number % moulds)
        if role is Role.PART or not oven.moulds[number % moulds].laminate_j_per_k:
            return lowest
        return lowest + LAMINATE_NODES + MOULD_NODES - 1

    def points_c(self) -> list[float]:
        """The nodes, then each zone's air as a thermometer sees it, with its view of the heater."""
        points_c: list[float] = self._state.tolist()
        view, heater_c = self.oven.air_view, points_c[0]
        points_c += [c + view * (heater_c - c) for c in points_c[self.air]]
        return points_c

    def step(self, dt_s: float, held: Held) -> None:
        whole, ambient_c = self._whole, held.ambient_c
        whole[self._shed], whole[self._heat] = ambient_c, held.heater_w
        for zone, air_c in enumerate(whole[self.air].tolist(), self._draught):
            over_k = air_c - ambient_c
            extra = math.sqrt(abs(over_k) / DRAUGHT_AT_K) - 1.0
            whole[zone] = -self._per_zone * extra * over_k
        if self.parts:
            whole[self._curing] = held.moulds_w if len(held.moulds_w) else 0.0
        key = held.door_w_per_k, held.fan_on, dt_s
        if key not in self._steps:
            self._steps[key] = self._step_matrix(*key)
        self._steps[key].dot(whole, self._next)
        self._state[:] = self._next

    def _step_matrix(self, door_w_per_k: float, fan_on: bool, dt_s: float) -> Array:
        a, b = self.oven.rates(door_w_per_k, fan_on)
        n = len(a)
        heated = [0, *range(1, self.oven.first_wall), *self.parts]
        inputs = np.hstack([b[:, :1], b[:, 1:][:, heated]])
        block = np.zeros((n + inputs.shape[1],) * 2)
        block[:n, :n], block[:n, n:] = a, inputs
        whole: Array = np.ascontiguousarray(expm(block * dt_s)[:n])
        return whole
