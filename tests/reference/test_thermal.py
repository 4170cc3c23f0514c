"""The thermal network against scipy's stiff solver, closed forms and open worked examples.

The right-hand side below is written out by hand, so a wrong matrix would show.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.oven.thermal import AIR, FIRST_MOULD, HEATER, WALL, Array, Network, step
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from tests.nights import SETTINGS


def balance(
    n: Network, state: Array, ambient: float, heater_w: float, part_w: float = 0.0
) -> list[float]:
    """dT/dt of every node, K/s, from each node's own heat balance."""
    heater, air, wall, *moulds = state
    from_heater = n.heater_air_w_per_k * (heater - air)
    to_wall = n.air_wall_w_per_k * (air - wall)
    to_moulds = [m.air_w_per_k * (air - t) for m, t in zip(n.moulds, moulds, strict=True)]
    own_w = [part_w, *[0.0] * len(moulds)]
    return [
        (heater_w - from_heater) / n.heater_capacity_j_per_k,
        (from_heater - to_wall - sum(to_moulds) - n.leak_w_per_k * (air - ambient))
        / n.air_capacity_j_per_k,
        (to_wall - n.wall_ambient_w_per_k * (wall - ambient)) / n.wall_capacity_j_per_k,
        *[
            (q + own) / m.capacity_j_per_k
            for m, q, own in zip(n.moulds, to_moulds, own_w[: len(moulds)], strict=True)
        ],
    ]


def solved(
    state: Array, start_s: float, end_s: float, heater_w: float, ambient: Callable[[float], float]
) -> Array:
    """The box at `end_s` by scipy's LSODA (stiff) at 1e-10, ambient a smooth function of time."""
    result = solve_ivp(
        lambda t, x: balance(BOX, x, ambient(t), heater_w),
        (start_s, end_s), state, "LSODA", rtol=1e-10, atol=1e-10,
    )  # fmt: skip
    end: Array = result.y[:, -1]
    return end


def test_a_night_against_scipys_stiff_solver() -> None:
    """12 h of the virtual oven at 2 s, heater switching at random (about 2 min), a smoothly falling
    ambient that our side takes as held over each step: within 0.001 K on every node."""
    rng = np.random.default_rng(3)
    oven = VirtualOven(BOX, SETTINGS.thermometers, ambient_c, start_c=9.0)
    theirs, worst, hottest_c, on = np.full(5, 9.0), 0.0, 0.0, True
    while oven.t_s < 43200.0:
        start_s, ticks = oven.t_s, int(rng.integers(15, 105))
        for _ in range(ticks):
            oven.step(2.0, on)
        theirs = solved(theirs, start_s, oven.t_s, 300.0 * on, ambient_c)
        worst = max(worst, float(np.max(np.abs(oven.state_c - theirs))))
        hottest_c = max(hottest_c, float(oven.state_c[AIR]))
        on = not on
    assert worst < 0.001
    assert hottest_c > 35.0, "the night was a warm one"


def test_an_exotherm_and_an_open_door_against_the_solver() -> None:
    """400 W in the first mould, then 60 W/K more leak, half an hour each: within 1e-5 K."""
    p = np.zeros(5)
    p[FIRST_MOULD] = 400.0
    ours = np.array([60.0, 38.0, 36.0, 37.0, 35.0])
    theirs = ours.copy()
    for network in (BOX, Network(**{**vars(BOX), "leak_w_per_k": BOX.leak_w_per_k + 60.0})):
        for _ in range(900):
            ours = step(network, ours, 2.0, 4.0, p)
        theirs = solve_ivp(
            lambda _t, x, n=network: balance(n, x, 4.0, 0.0, 400.0),
            (0.0, 1800.0), theirs, "Radau", rtol=1e-10, atol=1e-10,
        ).y[:, -1]  # fmt: skip
        assert np.max(np.abs(ours - theirs)) < 1e-5


def test_energy_closes() -> None:
    """Heat given = heat stored + heat lost, to 1e-6, over 3 h of switching; the loss integrated by
    Simpson's rule from the temperatures."""
    c, dt_s = np.array(BOX.capacities), 2.0
    state, lost_j, given_j = np.full(5, 9.0), 0.0, 0.0

    def loss_w(s: Array) -> float:
        leak, skin = BOX.leak_w_per_k, BOX.wall_ambient_w_per_k
        return float(leak * (s[AIR] - 9.0) + skin * (s[WALL] - 9.0))

    for i in range(5400):
        p = np.zeros(5)
        p[HEATER] = 300.0 if i % 97 < 60 else 0.0
        given_j += p[HEATER] * dt_s
        middle = step(BOX, state, dt_s / 2, 9.0, p)
        end = step(BOX, middle, dt_s / 2, 9.0, p)
        lost_j += dt_s / 6 * (loss_w(state) + 4 * loss_w(middle) + loss_w(end))
        state = end
    assert float(c @ (state - 9.0)) + lost_j == pytest.approx(given_j, rel=1e-6)
    assert lost_j > 0.2 * given_j


# ---- one lump ----------------------------------------------------------------------------------


def lump(capacity: float, loss: float) -> Network:
    """One lump: the air node alone, with a heater body that is next to nothing."""
    return Network(
        power_w=1.0,
        heater_capacity_j_per_k=capacity * 1e-5,
        heater_air_w_per_k=loss * 10.0,
        air_capacity_j_per_k=capacity,
        wall_capacity_j_per_k=1.0,
        air_wall_w_per_k=0.0,
        wall_ambient_w_per_k=1.0,
        leak_w_per_k=loss,
    )


def after(network: Network, start_c: float, for_s: float, ambient: float, heater_w: float) -> float:
    return float(
        step(network, np.full(3, start_c), for_s, ambient, np.array([heater_w, 0, 0]))[AIR]
    )


def test_heated_lump_of_an_open_heat_transfer_course() -> None:
    """5x5x1 mm, rho 2000, c 700, 9e6 W/m3, one face at h 150, 20 °C: tau 9.333 s, steady 80 °C,
    79 °C at 38.21 s (an open heat-transfer course; design check values)."""
    volume, face = 5e-3 * 5e-3 * 1e-3, 5e-3 * 5e-3
    network, heat_w = lump(2000 * 700 * volume, 150 * face), 9e6 * volume
    assert after(network, 20.0, 500.0, 20.0, heat_w) == pytest.approx(80.0, abs=0.001)
    assert after(network, 20.0, 38.21, 20.0, heat_w) == pytest.approx(79.0, abs=0.001)
    one_tau = 20.0 + 60.0 * (1 - math.exp(-1))
    assert after(network, 20.0, 9.333, 20.0, heat_w) == pytest.approx(one_tau, abs=0.002)


def test_silver_sphere_of_an_open_worked_example() -> None:
    """50 mm, rho 10490, c 230, h 1500, from 400 K in 290 K: tau 13.404 s, at 310 K after 22.85 s
    (open worked example; design check values)."""
    capacity = 10490 * 230 * math.pi / 6 * 0.05**3
    network, zero = lump(capacity, 1500 * math.pi * 0.05**2), 273.15
    at_310_k = after(network, 400.0 - zero, 22.85, 290.0 - zero, 0.0) + zero
    assert at_310_k == pytest.approx(310.0, abs=0.01)
    one_tau = after(network, 400.0 - zero, 13.404, 290.0 - zero, 0.0) + zero
    assert one_tau == pytest.approx(290.0 + 110.0 / math.e, abs=0.002)


@pytest.mark.parametrize(
    ("above_k", "k_per_min"), [(0.0, 5.0), (60.0, 3.5), (120.0, 2.0), (180.0, 0.5)]
)
def test_fastest_rise(above_k: float, k_per_min: float) -> None:
    """P 500 W, UA 2.5 W/K, C 6000 J/K: (P - UA dT)/C (design check values)."""
    # From 0.6 s on, when the next-to-nothing heater body has come to its own temperature.
    start_c, oven = 20.0 + above_k, lump(6000.0, 2.5)
    rise_k = after(oven, start_c, 1.2, 20.0, 500.0) - after(oven, start_c, 0.6, 20.0, 500.0)
    assert rise_k * 100.0 == pytest.approx(k_per_min, rel=1e-3)


def test_cooling_leaves_a_share_of_one_over_e_after_its_time_constant() -> None:
    """The same lump, 2400 s: 36.79 % (design check values)."""
    left = (after(lump(6000.0, 2.5), 120.0, 2400.0, 20.0, 0.0) - 20.0) / 100.0
    assert left == pytest.approx(0.3679, abs=5e-5)


# ---- the scenario's box ------------------------------------------------------------------------


def test_the_scenarios_panels_are_iso_6946() -> None:
    """U = 1/(Rsi + d/lambda + Rse), 0.13 m2K/W on both faces, a box in a room (ISO 6946): 0.769
    W/(m2 K) for 25 mm of foam at 0.024. Film and skin in series are U A within 3 %; the film is
    1/0.13 = 7.7 W/(m2 K)."""
    u, area = 1.0 / (0.13 + 0.025 / 0.024 + 0.13), 2 * (1.2 * 0.6 + 1.2 * 0.6 + 0.6 * 0.6)
    film, skin = BOX.air_wall_w_per_k, BOX.wall_ambient_w_per_k
    assert u == pytest.approx(0.769, abs=0.001)
    assert film * skin / (film + skin) == pytest.approx(u * area, rel=0.03)
    assert BOX.loss_w_per_k - BOX.leak_w_per_k == pytest.approx(u * area, rel=0.03)
    assert film / area == pytest.approx(1 / 0.13, rel=0.03)


def test_what_it_holds_is_power_over_loss() -> None:
    state, p = np.full(5, 2.0), np.array([126.0, 0, 0, 0, 0])
    for _ in range(200):
        state = step(BOX, state, 3600.0, 2.0, p)
    assert state[AIR] - 2.0 == pytest.approx(126.0 / BOX.loss_w_per_k, rel=1e-6)
    assert state[HEATER] - state[AIR] == pytest.approx(126.0 / BOX.heater_air_w_per_k, rel=1e-6)
    assert state[FIRST_MOULD] == pytest.approx(state[AIR], rel=1e-6)
