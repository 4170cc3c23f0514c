"""Many ovens at once, and the exact response: against scipy, python-control and the plain step."""

from __future__ import annotations

import itertools
from dataclasses import replace

import control
import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.oven.ensemble import Ensemble
from nightcure.oven.response import modes, response
from nightcure.oven.thermal import AIR, FIRST_MOULD, HEATER, Layer, Network, step
from nightcure.simulate.scenario import BOX

#: The scenario's box with its walls in three lumps.
LAYERED = replace(
    BOX,
    wall_capacity_j_per_k=1000.0,
    wall_ambient_w_per_k=9.0,
    layers=(Layer(1100.0, 9.0), Layer(1100.0, 9.5)),
)


def test_every_member_goes_its_own_way() -> None:
    members = [BOX, BOX.with_mould_times(1.7), BOX.with_loss_times(1.3)]
    together = Ensemble(members, 8.0)
    alone = [np.full(5, 8.0) for _ in members]
    rng = np.random.default_rng(0)
    for _ in range(50):
        duty, ambient = rng.uniform(0, 1, 3), rng.uniform(0, 9, 3)
        extra = rng.uniform(0, 50, (3, 5)) * (np.arange(5) != HEATER)
        together.step(10.0, duty, ambient, extra)
        for i, member in enumerate(members):
            watts = extra[i].copy()
            watts[HEATER] = duty[i] * member.power_w
            alone[i] = step(member, alone[i], 10.0, float(ambient[i]), watts)
    assert together.state_c == pytest.approx(np.array(alone), abs=1e-9)
    assert together.air_c == pytest.approx(np.array(alone)[:, AIR], abs=1e-9)
    assert np.ptp(together.air_c) > 0.5, "they differ"


def test_ovens_of_other_shapes_are_refused() -> None:
    with pytest.raises(ValueError, match=r"\[5, 7\] nodes"):
        Ensemble([BOX, LAYERED], 8.0)


def test_walls_in_layers_lose_what_their_series_passes() -> None:
    """Steady state against the series resistance written out by hand."""
    series = 1 / (1 / 28.0 + 1 / 9.0 + 1 / 9.5 + 1 / 9.0)
    assert LAYERED.loss_w_per_k == pytest.approx(1.1 + series)
    watts = np.zeros(7)
    watts[HEATER] = 100.0
    state = step(LAYERED, np.full(7, 3.0), 1e7, 3.0, watts)
    assert state[AIR] - 3.0 == pytest.approx(100.0 / (1.1 + series), rel=1e-6)
    # Temperatures fall outwards: film, first layer, second layer, ambient.
    assert state[AIR] > state[2] > state[5] > state[6] > 3.0


def solved(network: Network, hours: float, on_s: float, slope: float) -> np.ndarray:
    """scipy's LSODA at 1e-10: heater on until `on_s`, ambient falling in a straight line."""
    a, b = network.rates()
    state, ends = np.full(len(a), 9.0), (0.0, on_s, hours * 3600.0)
    for begin_s, end_s in itertools.pairwise(ends):
        heat = b[:, 1 + HEATER] * (network.power_w if end_s <= on_s else 0.0)
        state = solve_ivp(
            lambda t, x, heat=heat: a @ x + b[:, 0] * (9.0 + slope * t) + heat,
            (begin_s, end_s), state, "LSODA", rtol=1e-10, atol=1e-10,
        ).y[:, -1]  # fmt: skip
    return np.asarray(state)


@pytest.mark.parametrize("network", [BOX, LAYERED])
def test_the_response_is_that_of_scipys_stiff_solver(network: Network) -> None:
    """Unequal times, a straight ambient, 12 h: within 1e-5 K of `solve_ivp`."""
    slope = -7.0 / 43200.0
    times = np.unique(np.r_[0.0, np.random.default_rng(1).uniform(0, 43200, 300), 7200.0, 43200.0])
    power = np.where(times[:-1] < 7200.0, network.power_w, 0.0)
    start = np.full(len(network.capacities), 9.0)
    nodes = tuple(range(len(start)))
    ours = response(network, times, power, 9.0 + slope * times, start, nodes)
    assert ours[:, -1] == pytest.approx(solved(network, 12.0, 7200.0, slope), abs=1e-5)
    middle = int(np.searchsorted(times, 7200.0))
    assert ours[:, middle] == pytest.approx(solved(network, 2.0, 7200.0, slope), abs=1e-5)
    assert ours[AIR, middle] > 35.0


def test_the_response_is_python_controls() -> None:
    """`forced_response` of the same state space, an input that python-control holds linear:
    steps are given twice at their instant's two sides, so 0.01 K is the agreement asked for."""
    a, b = LAYERED.rates()
    times = np.arange(0.0, 14400.0, 1.0)
    on = (times // 1800 % 2 == 0).astype(float)
    system = control.ss(a, b[:, [1 + HEATER, 0]], np.eye(7)[[AIR, FIRST_MOULD]], np.zeros((2, 2)))
    inputs = np.vstack([300.0 * on, np.full_like(times, 4.0)])
    theirs = control.forced_response(system, times, inputs, np.full(7, 9.0)).outputs
    ours = response(
        LAYERED, times, 150.0 * (on[:-1] + on[1:]), np.full_like(times, 4.0),
        np.full(7, 9.0), (AIR, FIRST_MOULD),
    )  # fmt: skip
    assert np.max(np.abs(ours - theirs)) < 0.01
    assert np.ptp(theirs[0]) > 10.0


def test_modes() -> None:
    """Time constants are those of numpy's general eigenvalues."""
    a, _ = LAYERED.rates()
    assert np.sort(modes(LAYERED).rates_per_s) == pytest.approx(
        np.sort(-np.linalg.eigvals(a).real), rel=1e-9
    )


def test_steps_longer_than_any_time_constant() -> None:
    """Three steps of 0.1 s, a fortnight and an hour, against the matrix exponential."""
    times = np.array([0.0, 0.1, 1.2e6, 1.2036e6])
    power = np.array([300.0, 100.0, 0.0])
    ours = response(BOX, times, power, np.full(4, 5.0), np.full(5, 20.0), (AIR,))[0]
    state, expected = np.full(5, 20.0), [20.0]
    for dt_s, watts in zip(np.diff(times), power, strict=True):
        p = np.zeros(5)
        p[HEATER] = watts
        state = step(BOX, state, float(dt_s), 5.0, p)
        expected.append(float(state[AIR]))
    assert ours == pytest.approx(expected, abs=1e-6)
