"""An oven that is not ours: more nodes than the survey's model has, solved by scipy, for its tests.

Nothing here comes from nightcure. Ranges are those of home-made boxes (common practice, no source).
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

Array = NDArray[np.float64]

#: Nodes: heater, air, three wall layers, two moulds each with a surface and a core.
HEATER, AIR, W1, W2, W3, M1, M1_CORE, M2, M2_CORE = range(9)


@dataclass(frozen=True)
class ForeignOven:
    """Capacities (9,) J/K, links between nodes W/K, links to the ambient W/K, heater W."""

    capacities: Array
    links: tuple[tuple[int, int, float], ...]
    to_ambient: Array
    power_w: float
    loss_w_per_k: float
    """The true steady loss, from the links by hand."""

    def matrices(self) -> tuple[Array, Array]:
        """A (9, 9) and what an ambient of 1 °C gives, (9,)."""
        n = len(self.capacities)
        a = np.zeros((n, n))
        for i, j, g in self.links:
            a[i, i] -= g
            a[j, j] -= g
            a[i, j] += g
            a[j, i] += g
        a[np.diag_indices(n)] -= self.to_ambient
        return a / self.capacities[:, None], self.to_ambient / self.capacities

    def slow_s(self) -> float:
        """The slowest time constant, s."""
        return float(-1.0 / np.max(np.linalg.eigvals(self.matrices()[0]).real))


def foreign_oven(rng: np.random.Generator) -> ForeignOven:
    """A box by chance: 0.1 to 1.5 m3 of foam board, two moulds, black heat."""

    def between(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    volume_m3 = between(0.1, 1.5)
    area_m2 = 6.6 * volume_m3 ** (2.0 / 3.0)
    thick_m, conductivity = between(0.02, 0.05), 0.025
    board = conductivity / thick_m * area_m2
    inside, outside = between(5.0, 12.0) * area_m2, 7.7 * area_m2
    # Three lumps in the board: half-resistances outside them, whole ones between.
    into, out_of = 1 / (1 / inside + 1 / (6 * board)), 1 / (1 / outside + 1 / (6 * board))
    between_layers = 3 * board
    walls = 1 / (1 / into + 2 / between_layers + 1 / out_of)
    leak = walls * rng.uniform(0.05, 0.6)
    loss = walls + leak
    power_w = loss * between(35.0, 170.0)
    layer_j = 40.0 * 1470.0 * thick_m * area_m2 / 3.0
    shelf_j = between(500.0, 3000.0) * volume_m3
    mould_j = loss * between(2500.0, 10000.0)
    share = rng.uniform(0.35, 0.65)
    moulds = mould_j * share, mould_j * (1 - share)
    lags_s = between(500.0, 2200.0), between(500.0, 2200.0)
    heater_w_per_k = power_w / between(60.0, 150.0)
    heater_j = heater_w_per_k * between(60.0, 300.0)
    skin = 0.4
    capacities = np.array(
        [heater_j, 1210.0 * volume_m3 + shelf_j, *[layer_j] * 3,
         moulds[0] * skin, moulds[0] * (1 - skin), moulds[1] * skin, moulds[1] * (1 - skin)]
    )  # fmt: skip
    links = [
        (HEATER, AIR, heater_w_per_k), (AIR, W1, into), (W1, W2, between_layers),
        (W2, W3, between_layers),
    ]  # fmt: skip
    for surface, core, mould, lag_s in ((M1, M1_CORE, moulds[0], lags_s[0]),
                                        (M2, M2_CORE, moulds[1], lags_s[1])):  # fmt: skip
        links += [(AIR, surface, mould / lag_s), (surface, core, 6.0 * mould / lag_s)]
    to_ambient = np.zeros(9)
    to_ambient[AIR], to_ambient[W3] = leak, out_of
    return ForeignOven(capacities, tuple(links), to_ambient, power_w, loss)


def heated_to_s(oven: ForeignOven, air_c: float, ambient_c: float) -> float:
    """When full power from cold has the air at `air_c`, s (infinity if it never does)."""
    a, from_ambient = oven.matrices()
    drive = from_ambient * ambient_c
    drive[HEATER] += oven.power_w / oven.capacities[HEATER]

    def there(_t: float, x: Array) -> float:
        return float(x[AIR] - air_c)

    there.terminal = True  # type: ignore[attr-defined]
    solved = solve_ivp(
        lambda _t, x: a @ x + drive, (0.0, 3.0 * oven.slow_s()), np.full(9, ambient_c),
        "LSODA", events=there, rtol=1e-6,
    )  # fmt: skip
    return float(solved.t_events[0][0]) if len(solved.t_events[0]) else float("inf")


@dataclass(frozen=True)
class Noted:
    """A log as noted: s, °C as read, whether the heater was on from each row on."""

    time_s: Array
    air_c: Array
    part_c: Array
    ambient_c: Array
    on: NDArray[np.bool_]
    on_s: float
    off_s: float


def noted(
    oven: ForeignOven,
    rng: np.random.Generator,
    rows_s: Array,
    on_s: float,
    off_s: float,
    noise_c: float = 0.1,
    rounding_c: float = 0.0625,
    drift_c: float = 3.0,
    door: tuple[float, float, float] | None = None,
    seen: float = 0.0,
    window_s: float = 0.0,
) -> Noted:
    """A heat from `on_s` to `off_s` as read at `rows_s`; the shed cools slowly.

    Args:
        door: open from, to (s), and what passes by it from air to shed besides, W/K.
        seen: share of the heater's body in what the air's thermometer shows.
        window_s: the heat is given in halves of such windows, as a relay does; 0: in one.
    """
    a, from_ambient = oven.matrices()
    a_open, from_ambient_open = a.copy(), from_ambient.copy()
    if door is not None:
        a_open[AIR, AIR] -= door[2] / oven.capacities[AIR]
        from_ambient_open[AIR] += door[2] / oven.capacities[AIR]
    start_c, swing_s = rng.uniform(4.0, 15.0), rng.uniform(6.0, 14.0) * 3600.0
    drift_c = drift_c * rng.uniform(0.3, 1.0)

    def ambient(t: Array | float) -> Array:
        out: Array = start_c - drift_c * (1 - np.cos(np.pi * np.asarray(t) / swing_s)) / 2
        return out

    heat = np.zeros(9)
    heat[HEATER] = oven.power_w / oven.capacities[HEATER]
    state, states, last_s = np.full(9, start_c), [], -np.inf
    changes = {on_s, off_s, *(door[:2] if door is not None else ())}
    if window_s > 0.0:
        changes |= set(np.arange(on_s, off_s, window_s / 2.0))
    ends = [rows_s[0], *sorted(t for t in changes if rows_s[0] < t < rows_s[-1]), rows_s[-1]]

    def heated(t_s: Array | float) -> NDArray[np.bool_]:
        t = np.asarray(t_s)
        now = (t >= on_s) & (t < off_s)
        return now & ((t - on_s) % window_s < window_s / 2.0) if window_s > 0.0 else now

    for begin_s, end_s in itertools.pairwise(ends):
        middle_s = (begin_s + end_s) / 2
        drive = heat if heated(middle_s) else 0.0 * heat
        is_open = door is not None and door[0] <= middle_s < door[1]
        matrix, of_shed = (a_open, from_ambient_open) if is_open else (a, from_ambient)
        wanted = rows_s[(rows_s >= begin_s) & (rows_s <= end_s)]
        solved = solve_ivp(
            lambda t, x, m=matrix, f=of_shed, d=drive: m @ x + f * ambient(t) + d,
            (begin_s, end_s), state, "LSODA", np.union1d(wanted, end_s), rtol=1e-7, atol=1e-6,
        )  # fmt: skip
        keep = wanted[wanted > last_s]
        states.append(solved.y[:, [int(i) for i in np.searchsorted(wanted, keep)]])
        last_s = max([last_s, *keep])
        state = solved.y[:, -1]
    whole = np.concatenate(states, axis=1)

    def read(true_c: Array) -> Array:
        return np.round((true_c + rng.normal(0, noise_c, true_c.shape)) / rounding_c) * rounding_c

    mould_c = 0.4 * whole[M1] + 0.6 * whole[M1_CORE]
    shown_c = whole[AIR] + seen * (whole[HEATER] - whole[AIR])
    on = heated(rows_s)
    return Noted(rows_s, read(shown_c), read(mould_c), read(ambient(rows_s)), on, on_s, off_s)
