"""The PID regulator's promises, one by one (on processes: reference/test_tuning_and_pid.py)."""

from __future__ import annotations

import json
import math

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.heat.pid import PidRegulator
from nightcure.settings import Regulator


def pid(
    kc: float, ti: float, td: float = 0.0, tf: float = 0.0, power_w: float = 1e6
) -> PidRegulator:
    """A regulator with any gains."""
    settings = Regulator.model_construct(
        gain_w_per_k=kc, integral_s=ti, derivative_s=td, filter_s=tf
    )
    return PidRegulator(settings, power_w)


def test_a_setpoint_step_does_not_kick_the_derivative() -> None:
    one, two = pid(10.0, 1e6, td=100.0), pid(10.0, 1e6, td=0.0)
    for regulator in (one, two):
        for _ in range(5):
            before = regulator.watts(2.0, 20.0, 20.0, 500.0)
    kicked, plain = one.watts(2.0, 25.0, 20.0, 500.0), two.watts(2.0, 25.0, 20.0, 500.0)
    assert kicked == pytest.approx(plain)
    assert kicked - before == pytest.approx(10.0 * 5.0, rel=1e-3), "the gain alone"


def test_a_rising_measurement_brakes() -> None:
    """Kc td dT/dt on top of the rest: 10 W/K, 100 s, 0.05 K/s is 50 W less."""
    one, two = pid(10.0, 1e9, td=100.0), pid(10.0, 1e9, td=0.0)
    for i in range(5):
        said = [r.watts(2.0, 30.0, 20.0 + 0.1 * i, 500.0) for r in (one, two)]
    assert said[1] - said[0] == pytest.approx(50.0)


def test_the_derivative_filter_tames_one_quantum() -> None:
    """One step of a DS18B20's last bit (1/16 K) at 2 s: unfiltered kc q (1 + td/dt + dt/ti),
    filtered the same times dt/(tf + dt)."""

    def kick(tf: float) -> float:
        regulator = pid(45.0, 500.0, td=40.0, tf=tf)
        for _ in range(5):
            before = regulator.watts(2.0, 38.0, 38.0, 100.0)
        return before - regulator.watts(2.0, 38.0, 38.0625, 100.0)

    unfiltered = 45.0 * 0.0625 * (1 + 40.0 / 2.0 + 2.0 / 500.0)
    assert kick(0.0) == pytest.approx(unfiltered)
    assert kick(10.0) == pytest.approx(unfiltered * 2.0 / 12.0)


@pytest.mark.parametrize("output_w", [0.0, 120.0, 200.0])
@pytest.mark.parametrize("measured_c", [36.0, 38.0, 40.0])
def test_starts_without_a_bump(output_w: float, measured_c: float) -> None:
    """All but what the integral gathers in the first tick, kc e dt / ti."""
    regulator = pid(45.0, 500.0, 40.0, 10.0, power_w=300.0)
    regulator.watts(2.0, 38.0, 20.0)
    regulator.start(38.0, measured_c, output_w)
    gathered_w = 45.0 * (38.0 - measured_c) * 2.0 / 500.0
    said = regulator.watts(2.0, 38.0, measured_c)
    assert said == pytest.approx(min(max(output_w + gathered_w, 0.0), 300.0))


def test_far_from_the_setpoint_the_integral_reaches_as_far_as_it_can() -> None:
    """45 W/K x 10 K less the most an integral may hold, 300 W."""
    regulator = pid(45.0, 500.0, power_w=300.0)
    regulator.start(38.0, 28.0, 0.0)
    assert regulator.watts(2.0, 38.0, 28.0, held=True) == pytest.approx(150.0)


def test_held_freezes_the_integral() -> None:
    free, held = pid(10.0, 100.0), pid(10.0, 100.0)
    for _ in range(100):
        a = free.watts(2.0, 21.0, 20.0, 100.0)
        b = held.watts(2.0, 21.0, 20.0, 100.0, held=True)
    assert b == pytest.approx(110.0)
    assert a == pytest.approx(110.0 + 10.0 * 200.0 / 100.0)


@pytest.mark.parametrize(("setpoint_c", "limit_w"), [(80.0, 300.0), (-40.0, 0.0)])
def test_the_integral_stands_still_while_the_heater_can_do_no_more(
    setpoint_c: float, limit_w: float
) -> None:
    regulator = pid(45.0, 500.0, power_w=300.0)
    regulator.watts(2.0, setpoint_c, 20.0, 90.0)
    before = regulator.snapshot()["core"]["integral_w"]
    for _ in range(1000):
        assert regulator.watts(2.0, setpoint_c, 20.0, 90.0) == limit_w
    assert regulator.snapshot()["core"]["integral_w"] == before


def test_it_leaves_the_limit_as_soon_as_the_error_turns() -> None:
    regulator = pid(45.0, 500.0, power_w=300.0)
    for _ in range(1000):
        regulator.watts(2.0, 80.0, 20.0, 90.0)
    assert regulator.watts(2.0, 80.0, 80.0, 90.0) < 110.0
    assert regulator.watts(2.0, 80.0, 84.0, 90.0) == 0.0


@given(
    st.lists(
        st.tuples(st.floats(0.25, 6), st.floats(0, 80), st.floats(-20, 90), st.floats(-400, 400),
                  st.booleans()),
        min_size=1, max_size=60,
    )
)  # fmt: skip
@hypo(max_examples=100, deadline=None)
def test_it_never_asks_for_more_than_there_is(
    ticks: list[tuple[float, float, float, float, bool]],
) -> None:
    regulator = pid(45.0, 500.0, 40.0, 10.0, 300.0)
    for dt_s, setpoint_c, measured_c, feed_forward_w, held in ticks:
        assert 0.0 <= regulator.watts(dt_s, setpoint_c, measured_c, feed_forward_w, held) <= 300.0


@pytest.mark.parametrize(
    "bad",
    [
        (2.0, math.nan, 20.0, 0.0), (2.0, 20.0, math.nan, 0.0), (2.0, 20.0, 20.0, math.nan),
        (2.0, math.inf, 20.0, 0.0), (2.0, 20.0, -math.inf, 0.0), (2.0, 20.0, 20.0, math.inf),
        (2.0, math.inf, 20.0, -math.inf), (math.inf, 20.0, 20.0, 0.0), (math.nan, 20.0, 20.0, 0.0),
        (0.0, 20.0, 20.0, 0.0), (-1.0, 20.0, 20.0, 0.0),
    ],
)  # fmt: skip
@pytest.mark.parametrize("fresh", [True, False])
def test_nonsense_is_refused_and_changes_nothing(
    bad: tuple[float, float, float, float], fresh: bool
) -> None:
    regulator, twin = pid(10.0, 100.0, 10.0, 5.0), pid(10.0, 100.0, 10.0, 5.0)
    if not fresh:
        for r in (regulator, twin):
            r.watts(2.0, 21.0, 20.0)
    before = json.dumps(regulator.snapshot())
    with pytest.raises(ValueError, match="not finite, or no time"):
        regulator.watts(*bad)
    assert json.dumps(regulator.snapshot()) == before
    assert regulator.watts(2.0, 21.0, 20.5) == twin.watts(2.0, 21.0, 20.5)


@pytest.mark.parametrize("cut", [0, 1, 7, 50])
def test_state_restores_to_the_bit(cut: int) -> None:
    one, two = pid(45.0, 500.0, 40.0, 10.0, 300.0), pid(45.0, 500.0, 40.0, 10.0, 300.0)
    for _ in range(9):
        two.watts(2.0, 60.0, 20.0, 0.0)  # another past, which restore must wipe out
    for i in range(cut):
        one.watts(2.0, 38.0, 37.0 + i / 40.0, 90.0, held=i % 5 == 0)
    two.restore(json.loads(json.dumps(one.snapshot())))
    for i in range(200):
        args = (2.0, 38.0 + (i > 90) * 20.0, 37.5 + i / 60.0, 90.0, i % 7 == 3)
        assert one.watts(*args) == two.watts(*args)
    assert one.snapshot() == two.snapshot()
