"""Heat and cure through the thickness: mould, laminate, air films. One-dimensional.

    rho c dT/dt = d/dz (lambda dT/dz) + rho H da/dt

Finite volumes with nodes on the faces and on the borders of the layers, second order in space.
Conduction is exact in time (matrix exponential, the faces' temperatures straight over a step);
the reaction is stepped point by point between two halves of it (Strang), second order in time.
Many runs of one stack go side by side: every array has a leading axis of runs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import expm

from .kinetics import Law

Array = NDArray[np.float64]
#: Temperatures (°C) of the two faces' surroundings at a time (s): each a number, or one per run.
Faces = Callable[[float], tuple[Array | float, Array | float]]

#: W/(m2 K) of a face that is held to its temperature: next to no resistance.
HELD = 1e6
#: Degree of cure that a sub-step may gain.
MOST_GAIN = 0.02


@dataclass(frozen=True)
class Layer:
    """One material of the stack."""

    thickness_m: float
    density_kg_per_m3: float
    heat_capacity_j_per_kg_k: float
    conductivity_w_per_m_k: float
    nodes: int
    """Intervals across it."""
    heat_j_per_kg: float = 0.0
    """Of cure, per kg of the layer; 0: it does not cure."""


@dataclass(frozen=True)
class Slab:
    """Layers from the inner face (index 0) to the outer, and the films (W/(m2 K)) on both."""

    layers: tuple[Layer, ...]
    inner_w_per_m2k: float = HELD
    outer_w_per_m2k: float = HELD

    def __post_init__(self) -> None:
        for layer in self.layers:
            for name in ("thickness_m", "density_kg_per_m3", "heat_capacity_j_per_kg_k",
                         "conductivity_w_per_m_k", "nodes"):  # fmt: skip
                value = getattr(layer, name)
                if not (np.isfinite(value) and value > 0):
                    raise ValueError(f"{name} is {value!r}; it must be finite and above 0.")

    @property
    def depth_m(self) -> Array:
        """Where the nodes lie, from the inner face."""
        borders = np.concatenate([[0.0], np.cumsum([la.thickness_m for la in self.layers])])
        parts = [
            np.linspace(a, b, la.nodes + 1)[(0 if i == 0 else 1):]
            for i, (la, a, b) in enumerate(zip(self.layers, borders, borders[1:], strict=False))
        ]  # fmt: skip
        return np.concatenate(parts)

    def capacity_j_per_m2k(self) -> Array:
        """Heat capacity of every node's volume."""
        return self._per_node(lambda la: la.density_kg_per_m3 * la.heat_capacity_j_per_kg_k)

    def reactive_j_per_m2(self) -> Array:
        """Heat of cure in every node's volume."""
        return self._per_node(lambda la: la.density_kg_per_m3 * la.heat_j_per_kg)

    def _per_node(self, density: Callable[[Layer], float]) -> Array:
        total = np.zeros(1 + sum(la.nodes for la in self.layers))
        first = 0
        for la in self.layers:
            each = density(la) * la.thickness_m / la.nodes
            total[first : first + la.nodes] += 0.5 * each
            total[first + 1 : first + la.nodes + 1] += 0.5 * each
            first += la.nodes
        return total

    def rates(self) -> tuple[Array, Array]:
        """`dT/dt = A T + B u`, u = [inner °C, outer °C]; shapes (n, n) and (n, 2)."""
        c = self.capacity_j_per_m2k()
        n = len(c)
        a, b = np.zeros((n, n)), np.zeros((n, 2))
        first = 0
        for la in self.layers:
            g = la.conductivity_w_per_m_k * la.nodes / la.thickness_m
            for i in range(first, first + la.nodes):
                a[i, i] -= g
                a[i, i + 1] += g
                a[i + 1, i + 1] -= g
                a[i + 1, i] += g
            first += la.nodes
        for node, side, film in ((0, 0, self.inner_w_per_m2k), (n - 1, 1, self.outer_w_per_m2k)):
            a[node, node] -= film
            b[node, side] += film
        return a / c[:, None], b / c[:, None]


@dataclass
class SlabRun:
    """What came of it; arrays have a leading axis of runs."""

    time_s: Array
    peak_c: Array
    """Highest temperature of each run anywhere."""
    peak_s: Array
    peak_m: Array
    """Depth of the peak from the inner face."""
    temp_c: Array
    """(runs, nodes) at the end."""
    degree: Array
    """(runs, nodes) at the end; NaN where nothing cures."""
    core_c: Array
    """(times, runs): hottest node at each time kept."""
    entered_j_per_m2: Array
    """Heat that came in through the faces."""
    released_j_per_m2: Array
    stored_j_per_m2: Array

    @property
    def imbalance(self) -> Array:
        """Heat not accounted for, as a share of all that moved."""
        moved = np.abs(self.entered_j_per_m2) + np.abs(self.released_j_per_m2)
        gone = self.stored_j_per_m2 - self.entered_j_per_m2 - self.released_j_per_m2
        result: Array = np.abs(gone) / np.maximum(moved, 1e-9)
        return result


class Stepper:
    """Steps a slab with a law; `temp_c` and `degree` (runs, nodes) are its state."""

    def __init__(
        self, slab: Slab, law: Law, dt_s: float, start_c: Array | float, runs: int = 1
    ) -> None:
        self.slab, self.law, self.dt_s = slab, law, dt_s
        self.capacity = slab.capacity_j_per_m2k()
        reactive = slab.reactive_j_per_m2()
        self.curing = reactive > 0.0
        self.reactive = reactive
        self._rise_k = np.where(self.curing, reactive / self.capacity, 0.0)[self.curing]
        n = len(self.capacity)
        self.temp_c: Array = np.broadcast_to(
            np.asarray(start_c, dtype=float).reshape(-1, 1), (runs, n)
        ).copy()
        self.degree: Array = np.full((runs, n), law.seed)
        self._half = _conduction(slab, 0.5 * dt_s)
        self.entered_j_per_m2: Array = np.zeros(runs)

    def step(self, faces_before: Array, faces_after: Array) -> None:
        """One step; the faces' surroundings (runs, 2) °C run straight from before to after."""
        middle = 0.5 * (faces_before + faces_after)
        self._conduct(faces_before, middle)
        self._react()
        self._conduct(middle, faces_after)

    def _conduct(self, before: Array, after: Array) -> None:
        f, hold, slope, mean_f, mean_hold, mean_slope = self._half
        films = np.array([self.slab.inner_w_per_m2k, self.slab.outer_w_per_m2k])
        rise = after - before
        ends = mean_f @ self.temp_c.T + mean_hold @ before.T + mean_slope @ rise.T
        mean_face = 0.5 * (before + after).T
        self.entered_j_per_m2 += 0.5 * self.dt_s * (films[:, None] * (mean_face - ends)).sum(axis=0)
        self.temp_c = (f @ self.temp_c.T + hold @ before.T + slope @ rise.T).T

    def _react(self) -> None:
        """Cure at every point by itself, its heat kept there; fast points in smaller steps."""
        if not self.curing.any():
            return
        shape = (len(self.temp_c), -1)
        t, a = self.temp_c[:, self.curing].ravel(), self.degree[:, self.curing].ravel()
        rise_k = np.tile(self._rise_k, len(self.temp_c))
        rate = self.law.rate(a, t)
        fast = np.flatnonzero(rate * self.dt_s > MOST_GAIN)
        fast_t, fast_a = t[fast], a[fast]
        t, a = self._heun(t, a, rise_k, rate, self.dt_s)
        if len(fast):
            left_s = self.dt_s
            rate, rise_k = rate[fast], rise_k[fast]
            while left_s > 1e-9 * self.dt_s:
                h_s = left_s / max(1.0, np.ceil(left_s * float(rate.max()) / MOST_GAIN))
                fast_t, fast_a = self._heun(fast_t, fast_a, rise_k, rate, h_s)
                left_s -= h_s
                rate = self.law.rate(fast_a, fast_t)
            t[fast], a[fast] = fast_t, fast_a
        self.temp_c[:, self.curing] = t.reshape(shape)
        self.degree[:, self.curing] = a.reshape(shape)

    def _heun(
        self, t: Array, a: Array, rise_k: Array, rate: Array, h_s: float
    ) -> tuple[Array, Array]:
        room = 1.0 - a
        gain = np.minimum(rate * h_s, room)
        later = self.law.rate(a + gain, t + rise_k * gain)
        gain = np.minimum(0.5 * h_s * (rate + later), room)
        return t + rise_k * gain, a + gain


Matrices = tuple[Array, Array, Array, Array, Array, Array]


def _conduction(slab: Slab, dt_s: float) -> Matrices:
    """Exact step with faces that run straight: temperatures after, and the end nodes' means.

    T(dt) = F T + H u0 + S (u1 - u0); the mean over the step of the first and last node likewise.
    """
    a, b = slab.rates()
    n = a.shape[0]
    # State: T, u, du/dt (scaled to the step), and the integral of T.
    size = n + 2 + 2 + n
    whole = np.zeros((size, size))
    whole[:n, :n], whole[:n, n : n + 2] = a, b
    whole[n : n + 2, n + 2 : n + 4] = np.eye(2) / dt_s
    whole[n + 4 :, :n] = np.eye(n) / dt_s
    e = expm(whole * dt_s)
    ends = [n + 4, size - 1]
    return (
        e[:n, :n], e[:n, n : n + 2], e[:n, n + 2 : n + 4],
        e[ends, :n], e[ends, n : n + 2], e[ends, n + 2 : n + 4],
    )  # fmt: skip


def run_slab(
    slab: Slab,
    law: Law,
    faces: Faces,
    end_s: float,
    dt_s: float = 10.0,
    start_c: Array | float | None = None,
    runs: int = 1,
    keep_every: int = 6,
) -> SlabRun:
    """Run a slab from time 0 to `end_s` (s).

    Args:
        faces: the surroundings of the inner and outer face, °C, at a time; numbers or (runs,).
        start_c: temperature at first; the inner surroundings' if None.
        runs: how many go side by side, where `faces` or `start_c` give one value a run.
        keep_every: steps between the times kept of the hottest node.
    """
    steps = max(1, int(np.ceil(end_s / dt_s - 1e-9)))
    dt_s = end_s / steps

    def both(t_s: float) -> Array:
        inner, outer = faces(t_s)
        return np.stack([np.broadcast_to(inner, (runs,)), np.broadcast_to(outer, (runs,))], axis=1)

    before = both(0.0)
    first_c: Array | float = before[:, 0] if start_c is None else start_c
    stepper = Stepper(slab, law, dt_s, first_c, runs)
    began = stepper.temp_c.copy()
    peak_c, peak_s = began.max(axis=1), np.zeros(runs)
    peak_node = began.argmax(axis=1)
    kept_s, kept_c = [0.0], [peak_c.copy()]
    for i in range(steps):
        after = both((i + 1) * dt_s)
        stepper.step(before, after)
        before = after
        hottest = stepper.temp_c.max(axis=1)
        higher = hottest > peak_c
        if higher.any():
            peak_node = np.where(higher, stepper.temp_c.argmax(axis=1), peak_node)
            peak_c, peak_s = np.maximum(peak_c, hottest), np.where(higher, (i + 1) * dt_s, peak_s)
        if (i + 1) % keep_every == 0:
            kept_s.append((i + 1) * dt_s)
            kept_c.append(hottest)
    gained = np.where(stepper.curing, stepper.degree - law.seed, 0.0)
    return SlabRun(
        time_s=np.array(kept_s),
        peak_c=peak_c,
        peak_s=peak_s,
        peak_m=slab.depth_m[peak_node],
        temp_c=stepper.temp_c,
        degree=np.where(stepper.curing, stepper.degree, np.nan),
        core_c=np.array(kept_c),
        entered_j_per_m2=stepper.entered_j_per_m2,
        released_j_per_m2=gained @ stepper.reactive,
        stored_j_per_m2=(stepper.temp_c - began) @ stepper.capacity,
    )


def interpolated(points: Sequence[tuple[float, float]]) -> Callable[[float], float]:
    """Straight lines between (s, °C)."""
    known = np.array(points)
    return lambda t_s: float(np.interp(t_s, known[:, 0], known[:, 1]))
