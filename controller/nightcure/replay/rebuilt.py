"""The oven of one night: fitted to that very night, and the heat its model does not explain.

The network has a mould for each part's thermometer. What is left between model and record (a door,
wind, a resin's own heat, a second time constant) is kept as a heat flow into the air and into each
mould, minute by minute, so that the rebuilt night is the recorded one until something is changed.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.optimize import least_squares

from ..oven.arrays import Array
from ..oven.response import response
from ..oven.thermal import AIR, FIRST_MOULD, HEATER, Layer, Mould, Network, step_matrices
from ..survey import fit as _fit
from ..survey.survey import AMBIENT_SMOOTH_S, survey
from .recorded_series import RecordedSeries

#: The fit's rows at most: blocks of the night's.
ROWS = 600
#: What a mean of some air and some part readings may be off by, °C; tried on made-up boxes of nine
#: nodes (`tests.foreign_oven`).
AIR_SD_C, PART_SD_C = 0.05, 0.1
#: A board in so many lumps; how long heat takes through it, s, and how surely that is known (sd of
#: its logarithm); its outer film over its inner one.
LUMPS, BOARD_S, BOARD_SD, OUTER_FILM = 4, 2500.0, 0.5, 0.9
#: Steps (s) of the heat flow that is left over; over how many the moulds' is smoothed, which a
#: reading's noise shakes more; and over how many the whole, to say how much it is.
FLOW_S, MOULD_SMOOTH, TOLD_SMOOTH = 30.0, 11, 21


@dataclass(frozen=True)
class Rebuilt:
    """A night's oven and what else warmed or cooled it."""

    network: Network
    start_c: Array
    """(nodes,), °C."""
    grid_s: Array
    """(steps + 1,), s of the night."""
    ambient_c: Array
    """(steps + 1,), °C, with what the fit found it off by."""
    flow_w: Array
    """(steps, nodes): heat besides the heater's, W."""
    parts: tuple[str, ...]
    """Names of the thermometers on the moulds, in order."""
    air_rms_c: float
    """Model with its left-over flow against the record, the heater as it was switched."""
    parts_rms_c: float
    unexplained_w: float
    """Left-over flow, root mean square over the night, all nodes together, W."""

    def ambient_at(self, t_s: float) -> float:
        """°C at a time of the night; the last value after its end."""
        return float(np.interp(t_s, self.grid_s, self.ambient_c))

    def flow_at(self, t_s: float) -> Array | None:
        """The left-over heat flow into each node, W; None after the night's end."""
        step = int(np.searchsorted(self.grid_s, t_s, side="right")) - 1
        return self.flow_w[step] if 0 <= step < len(self.flow_w) else None


def rebuild(series: RecordedSeries) -> Rebuilt:
    """Fit an oven to a night.

    Raises:
        BadInput: no oven can be known from it; the sentence says why.
    """
    log = series.log()
    found = survey(log)
    offset_c = float(found.fit.unknowns[_fit.OFFSET])
    ambient_c = _smooth(series, found.problem.time_s, found.problem.ambient_c + offset_c)
    first = found.network()
    names = tuple(series.parts_c)
    network = _fitted(series, first, ambient_c, names) if names else first
    start = np.full(len(network.capacities), float(np.mean(series.air_c[:3])))
    for i, name in enumerate(names):
        start[FIRST_MOULD + i] = float(np.mean(series.parts_c[name][:3]))
    return _with_flow(series, network, start, ambient_c, names)


def _smooth(series: RecordedSeries, grid_s: Array, fitted_c: Array) -> Array:
    """The shed at every row, evened out: a door or a draught is not what walls feel."""
    if series.ambient_c is None:
        out: Array = np.interp(series.time_s, grid_s - grid_s[0], fitted_c)
        return out
    return _mean_over(series.time_s, series.ambient_c, AMBIENT_SMOOTH_S) + float(
        np.mean(fitted_c) - np.mean(np.interp(grid_s - grid_s[0], series.time_s, series.ambient_c))
    )


def _mean_over(time_s: Array, values: Array, width_s: float) -> Array:
    """Mean over a window round every row, shorter at the ends."""
    total = np.concatenate([[0.0], np.cumsum(0.5 * (values[1:] + values[:-1]) * np.diff(time_s))])
    low = np.maximum(time_s - width_s / 2.0, time_s[0])
    high = np.minimum(time_s + width_s / 2.0, time_s[-1])
    span = np.minimum(time_s - low, high - time_s)
    low, high = time_s - span, time_s + span
    area = np.interp(high, time_s, total) - np.interp(low, time_s, total)
    out = np.where(span > 0, area / np.maximum(2.0 * span, 1e-9), values)
    result: Array = out
    return result


# ---- the fit -----------------------------------------------------------------------------------


def _fitted(
    series: RecordedSeries, first: Network, ambient_c: Array, names: tuple[str, ...]
) -> Network:
    """The survey's oven refined: walls of one board, a mould for each part's thermometer.

    A board and a mould answer much alike, so that what a board is like is believed beforehand:
    foam of 20 to 50 mm takes `BOARD_S` to be gone through by heat (thickness squared over the
    diffusivity of 40 kg/m3 foam, 4e-7 m2/s; common practice, no source).
    """
    count = len(names)
    moulds_j = sum(m.capacity_j_per_k for m in first.moulds) or first.air_capacity_j_per_k
    lag_s = first.moulds[0].capacity_j_per_k / first.moulds[0].air_w_per_k if first.moulds else 1e3
    film = 8.0 * first.loss_w_per_k
    board = 1.0 / (1.0 / (0.75 * first.loss_w_per_k) - (1.0 + 1.0 / OUTER_FILM) / film)
    begin = np.log(
        [
            0.5 * first.air_capacity_j_per_k, first.heater_capacity_j_per_k, film, board, BOARD_S,
            0.25 * first.loss_w_per_k, *[moulds_j / count] * count, *[lag_s] * count,
        ]
    )  # fmt: skip
    spread = np.array([1.0, 0.5, 0.5, 0.5, BOARD_SD, 0.8, *[0.7] * (2 * count)])

    def network(x: Array) -> Network:
        air, heater, film, board, through_s, leak, *rest = np.exp(x)
        lump, half = board * through_s / LUMPS, 1.0 / (2.0 * LUMPS * board)
        moulds = tuple(
            Mould(name, rest[i], rest[i] / rest[count + i]) for i, name in enumerate(names)
        )
        return replace(
            first, air_capacity_j_per_k=air, wall_capacity_j_per_k=lump,
            heater_capacity_j_per_k=heater, air_wall_w_per_k=1.0 / (1.0 / film + half),
            wall_ambient_w_per_k=1.0 / (1.0 / (OUTER_FILM * film) + half), leak_w_per_k=leak,
            moulds=moulds, layers=(Layer(lump, LUMPS * board),) * (LUMPS - 1),
        )  # fmt: skip

    starts = np.arange(0, len(series.time_s), -(-len(series.time_s) // ROWS))
    grid = series.time_s[starts]
    given = np.concatenate([[0.0], np.cumsum(series.heat[:-1] * np.diff(series.time_s))])
    power = series.power_w * np.diff(given[starts]) / np.diff(grid)
    shed = ambient_c[starts]
    width_s = float(np.median(np.diff(grid)))
    air = _mean_over(series.time_s, series.air_c, width_s)[starts]
    parts = [_mean_over(series.time_s, series.parts_c[name], width_s)[starts] for name in names]
    start = np.array([air[0]] * FIRST_MOULD + [p[0] for p in parts] + [air[0]] * (LUMPS - 1))
    nodes = (AIR, *range(FIRST_MOULD, FIRST_MOULD + count))

    def off(x: Array) -> Array:
        said = response(network(x), grid, power, shed, start, nodes)
        return np.concatenate(
            [
                (said[0] - air) / AIR_SD_C,
                *[(said[1 + i] - p) / PART_SD_C for i, p in enumerate(parts)],
                (x - begin) / spread,
            ]
        )

    reach = 4.0 * spread
    best = least_squares(off, begin, bounds=(begin - reach, begin + reach), loss="soft_l1",
                         max_nfev=40, tr_solver="exact")  # fmt: skip
    return network(best.x)


# ---- what is left over -------------------------------------------------------------------------


def _with_flow(
    series: RecordedSeries, network: Network, start: Array, ambient_c: Array, names: tuple[str, ...]
) -> Rebuilt:
    """Find the heat flow that takes the model through the record."""
    steps = max(int(series.time_s[-1] // FLOW_S), 1)
    grid = np.linspace(0.0, float(series.time_s[-1]), steps + 1)
    dt_s = float(grid[1])
    given = np.concatenate([[0.0], np.cumsum(series.heat[:-1] * np.diff(series.time_s))])
    power = series.power_w * np.diff(np.interp(grid, series.time_s, given)) / dt_s
    shed = np.interp(grid, series.time_s, ambient_c)
    measured = [AIR, *range(FIRST_MOULD, FIRST_MOULD + len(names))]
    curves = [series.air_c, *(series.parts_c[name] for name in names)]
    targets = np.array(
        [np.interp(grid, series.time_s, _mean_over(series.time_s, c, 2.0 * dt_s)) for c in curves]
    )
    f, h = step_matrices(network, dt_s)
    per_flow = h[:, 1:][:, measured]
    solve = np.linalg.inv(per_flow[measured])
    flow = np.zeros((steps, len(network.capacities)))
    state = start
    for k in range(steps):
        state = f @ state + h[:, 0] * (shed[k] + shed[k + 1]) / 2.0 + h[:, 1 + HEATER] * power[k]
        need = solve @ (targets[:, k + 1] - state[measured])
        flow[k, measured] = need
        state = state + per_flow @ need
    for node in measured[1:]:
        flow[:, node] = _evened(flow[:, node], MOULD_SMOOTH)
    state, off = start, np.zeros((len(measured), steps))
    inputs = np.zeros(h.shape[1])
    for k in range(steps):
        inputs[0], inputs[1:] = (shed[k] + shed[k + 1]) / 2.0, flow[k]
        inputs[1 + HEATER] += power[k]
        state = f @ state + h @ inputs
        off[:, k] = state[measured] - targets[:, k + 1]
    rms = np.sqrt(np.mean(off**2, axis=1))
    return Rebuilt(
        network, start, grid, shed, flow, names, float(rms[0]),
        float(np.max(rms[1:])) if names else 0.0,
        float(np.sqrt(np.mean(_evened(flow.sum(axis=1), TOLD_SMOOTH) ** 2))),
    )  # fmt: skip


def _evened(values: Array, steps: int) -> Array:
    """Mean over so many steps (odd) round every one."""
    padded = np.pad(values, steps // 2, mode="edge")
    out: Array = np.convolve(padded, np.ones(steps) / steps, mode="valid")
    return out
