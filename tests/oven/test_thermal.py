"""The thermal network as a thing in code: steps, variants and what it refuses."""

from __future__ import annotations

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.oven.thermal import (
    AIR,
    FIRST_MOULD,
    Mould,
    Network,
    network_from_model,
    step,
    step_matrices,
)
from nightcure.simulate.scenario import BOX

TEMPERATURES = st.lists(st.floats(-20, 90), min_size=5, max_size=5)


@given(TEMPERATURES, st.floats(-20, 30), st.floats(0, 300), st.floats(0.1, 600))
@hypo(max_examples=60, deadline=None)
def test_two_steps_are_one_of_twice_the_length(
    state: list[float], ambient: float, heater_w: float, dt_s: float
) -> None:
    p = np.array([heater_w, 0, 0, 0, 0])
    twice = step(BOX, step(BOX, np.array(state), dt_s, ambient, p), dt_s, ambient, p)
    assert step(BOX, np.array(state), 2 * dt_s, ambient, p) == pytest.approx(twice, abs=1e-8)


@given(TEMPERATURES, st.floats(-20, 30), st.floats(0.1, 86400))
@hypo(max_examples=60, deadline=None)
def test_unheated_nothing_leaves_the_range_it_started_in(
    state: list[float], ambient: float, dt_s: float
) -> None:
    """No heat flows uphill: every node stays between the coldest and the warmest, ambient too."""
    later = step(BOX, np.array(state), dt_s, ambient, np.zeros(5))
    assert min(*state, ambient) - 1e-6 <= min(later)
    assert max(later) <= max(*state, ambient) + 1e-6


def test_at_ambient_it_stays_there() -> None:
    later = step(BOX, np.full(5, 7.0), 3600.0, 7.0, np.zeros(5))
    assert later == pytest.approx(np.full(5, 7.0), abs=1e-9)


def test_matrices_are_shaped_as_said_and_kept() -> None:
    f, h = step_matrices(BOX, 2.0)
    assert f.shape == (5, 5)
    assert h.shape == (5, 6)
    assert step_matrices(BOX, 2.0)[0] is f


@pytest.mark.parametrize("factor", [0.5, 1.0, 1.3, 1.5])
def test_more_loss_is_that_much_more(factor: float) -> None:
    """By its property, and by what the air comes to rest at."""
    other = BOX.with_loss_times(factor)
    assert other.loss_w_per_k == pytest.approx(factor * BOX.loss_w_per_k)
    later = step(other, np.full(5, 5.0), 1e7, 5.0, np.array([100.0, 0, 0, 0, 0]))
    assert later[AIR] - 5.0 == pytest.approx(100.0 / (factor * BOX.loss_w_per_k), rel=1e-6)
    assert other.air_wall_w_per_k == BOX.air_wall_w_per_k


def test_walls_cannot_lose_more_than_their_film_passes() -> None:
    with pytest.raises(ValueError, match="inner film passes, 28 W/K"):
        BOX.with_loss_times(12.0)


def test_heavier_moulds_keep_their_surface() -> None:
    other = BOX.with_mould_times(2.0)
    assert [m.capacity_j_per_k for m in other.moulds] == [26400.0, 17600.0]
    assert [m.air_w_per_k for m in other.moulds] == [m.air_w_per_k for m in BOX.moulds]


def test_a_network_from_a_model_is_that_model() -> None:
    made = network_from_model(3.9, 4600.0, 22000.0, 1400.0, 230.0, 300.0, ("a", "b"))
    assert made.loss_w_per_k == pytest.approx(3.9)
    assert sum(made.capacities) == pytest.approx(4600 + 22000 + 3 * 230)
    assert made.heater_capacity_j_per_k / made.heater_air_w_per_k == pytest.approx(230.0)
    assert [m.name for m in made.moulds] == ["a", "b"]
    for m in made.moulds:
        assert m.capacity_j_per_k / m.air_w_per_k == pytest.approx(1400.0)
    hot = step(made, np.full(5, 5.0), 1e7, 5.0, np.array([300.0, 0, 0, 0, 0]))
    assert hot[0] - hot[AIR] == pytest.approx(100.0, rel=1e-4)
    bare = network_from_model(3.9, 4600.0, 0.0, 0.0, 0.0, 300.0)
    assert bare.moulds == ()
    assert len(bare.capacities) == FIRST_MOULD


NUMBERS = [f.name for f in fields(BOX) if f.name not in ("moulds", "layers")]


@pytest.mark.parametrize("field", NUMBERS)
@pytest.mark.parametrize("value", [-1.0, math.nan, math.inf])
def test_impossible_ovens_are_refused(field: str, value: float) -> None:
    with pytest.raises(ValueError, match=field):
        Network(**{**vars(BOX), field: value})


@pytest.mark.parametrize("field", [n for n in NUMBERS if "capacity" in n])
def test_nothing_is_without_heat_capacity(field: str) -> None:
    with pytest.raises(ValueError, match="capacity"):
        Network(**{**vars(BOX), field: 0.0})


@pytest.mark.parametrize(
    ("mould", "essential"),
    [
        (Mould("lid", 0.0, 1.0), "capacity must be above 0"),
        (Mould("lid", math.nan, 1.0), "'lid': capacity_j_per_k is nan"),
        (Mould("lid", 100.0, -1.0), "'lid': air_w_per_k is -1.0"),
        (Mould("lid", 100.0, math.inf), "'lid': air_w_per_k is inf"),
    ],
)
def test_impossible_moulds_are_refused(mould: Mould, essential: str) -> None:
    with pytest.raises(ValueError, match=essential):
        replace(BOX, moulds=(mould,))
