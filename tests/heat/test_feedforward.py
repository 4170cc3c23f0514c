"""Feed-forward alone on the thermal network: with a true model the air follows its ramp."""

from __future__ import annotations

import json
import math
from collections.abc import Callable

import pytest

from nightcure.heat.feedforward import FeedForward
from nightcure.oven.thermal import AIR, Mould, Network
from nightcure.settings import Model, Role, Thermometer
from nightcure.simulate.virtual import VirtualOven
from tests.nights import SETTINGS, changed

AIR_PROBE = Thermometer(id="28-0000000000a1", role=Role.AIR, name="Air")
MODEL = Model(loss_w_per_k=4.0, air_capacity_j_per_k=5000.0, mould_capacity_j_per_k=20000.0,
              mould_lag_s=1000.0, heater_lag_s=200.0)  # fmt: skip
#: As strong a heater as the oven file may name, so that no limit is met.
STRONG = changed(SETTINGS, heater={"power_w": 6000.0})
DT_S = 2.0
SLOPE = 15.0 / 3600.0


def network(heater: float = 1e-6, mould: float = 0.0, air: float = 5000.0) -> Network:
    """Heater, air and one mould; a wall that nothing reaches. All loss is leak."""
    return Network(
        power_w=1.0,
        heater_capacity_j_per_k=heater,
        heater_air_w_per_k=3.0,
        air_capacity_j_per_k=air,
        wall_capacity_j_per_k=1.0,
        air_wall_w_per_k=0.0,
        wall_ambient_w_per_k=1.0,
        leak_w_per_k=4.0,
        moulds=(Mould("m", mould, 20.0),) if mould else (),
    )


def by(model: Model) -> FeedForward:
    return FeedForward(STRONG.model_copy(update={"model": model}))


def follow(
    true: Network, model: Model, setpoint: Callable[[float], float], for_s: float,
    ambient_c: Callable[[float], float] = lambda _: 5.0,
) -> list[float]:  # fmt: skip
    """Air minus setpoint (K), tick by tick, with feed-forward alone; power in watts."""
    ff = by(model)
    oven = VirtualOven(true, [AIR_PROBE], ambient_c, start_c=setpoint(0.0))
    errors = []
    for i in range(int(for_s / DT_S)):
        t_s = i * DT_S
        asked = ff.ask(DT_S, setpoint(t_s), setpoint(t_s + model.lead_s), ambient_c(t_s))
        oven.body.power_w = asked.watts
        oven.step(DT_S, True)
        errors.append(float(oven.state_c[AIR]) - setpoint(t_s + DT_S))
    return errors


def ramp(t_s: float) -> float:
    """20 °C, from half an hour on up by 15 K/h for an hour, then a soak at 35 °C."""
    return 20.0 + SLOPE * min(max(t_s - 1800.0, 0.0), 3600.0)


def matched(**fields: float) -> Model:
    known = {"loss_w_per_k": 4.0, "air_capacity_j_per_k": 5000.0, "heater_lag_s": 0.0}
    return Model(**{**known, **fields})


def test_a_lump_follows_its_ramp_to_a_tick() -> None:
    """Matched single lump: no more than two ticks' ramp (0.017 K) behind, ambient falling."""
    errors = follow(network(), matched(), ramp, 9000.0, lambda t: 9.0 - t / 3000.0)
    assert max(abs(e) for e in errors) < 2 * DT_S * SLOPE
    assert abs(errors[-1]) < 0.001


def test_a_lump_whose_model_is_wrong_does_not() -> None:
    """A tenth of loss unknown costs a tenth of the rise over ambient at rest: 0.1 x 30 K."""
    errors = follow(network(), matched(loss_w_per_k=4.4), ramp, 30000.0)
    assert errors[-1] == pytest.approx(0.1 * 30.0, rel=0.01)


def test_moulds_are_carried_along() -> None:
    """A mould of 20 kJ/K behind 20 W/K lags 1000 s: with both in the model the air follows to two
    ticks' ramp; without them it falls behind by kelvins."""
    heavy = network(mould=20000.0)
    known = matched(mould_capacity_j_per_k=20000.0, mould_lag_s=1000.0)
    assert max(abs(e) for e in follow(heavy, known, ramp, 9000.0)) < 2 * DT_S * SLOPE
    assert min(follow(heavy, matched(), ramp, 9000.0)) < -3.0


def test_a_heaters_lag_is_met_by_looking_ahead() -> None:
    """Heater body 600 J/K behind 3 W/K lags 200 s. With the lag in the model, and its capacity
    counted among the air's, the air is where it should be; without, it is rate x lag = 0.833 K late
    and more (heat that comes 200 s late on a steady ramp)."""
    slow, late_by_k, well_up = network(heater=600.0), SLOPE * 200.0, round(5000 / DT_S)
    ahead = follow(slow, matched(heater_lag_s=200.0, air_capacity_j_per_k=5600.0), ramp, 5100.0)
    late = follow(slow, matched(heater_lag_s=0.0, air_capacity_j_per_k=5600.0), ramp, 5100.0)
    assert abs(ahead[well_up]) < 0.02
    assert late[well_up] < -late_by_k


def test_at_a_ramps_end_the_heaters_stored_heat_is_met() -> None:
    """The true heater lags 200 s. Asked for one whole lag ahead (a lag met by looking ahead alone)
    the air was 0.2 K short at the corner; brought to the need within a fifth of the lag it is not.
    """
    slow, corner = network(heater=600.0), round(5400.0 / DT_S)
    errors = follow(slow, matched(heater_lag_s=200.0, air_capacity_j_per_k=5600.0), ramp, 9000.0)
    assert max(abs(e) for e in errors[corner - 300 :]) < 0.1


def test_it_holds_what_is_lost() -> None:
    ff = by(MODEL.model_copy(update={"heater_lag_s": 0.0}))
    assert [ff.ask(2.0, 38.0, 38.0, 3.0).watts for _ in range(5)] == [140.0] * 5


def test_a_cold_heater_is_asked_for_more_until_it_gives_what_is_lost() -> None:
    """Brought to 140 W within 40 s (a fifth of its lag): 140 / (1 - e^-0.2) at first, and the
    difference to 140 W is down to 1/e every 36 s (what is left of it after a tick: 1 -
    (1 - e^-0.01) / (1 - e^-0.2) = 0.945)."""
    ff = by(MODEL)
    asked = [ff.ask(2.0, 38.0, 38.0, 3.0).watts for _ in range(400)]
    assert asked[0] == pytest.approx(140.0 / (1.0 - math.exp(-0.2)))
    keeps = 1.0 - (1.0 - math.exp(-0.01)) / (1.0 - math.exp(-0.2))
    assert asked[18] - 140.0 == pytest.approx((asked[0] - 140.0) * keeps**18)
    assert asked[-1] == pytest.approx(140.0)


def test_the_thermometer_is_expected_to_lag_a_ramp() -> None:
    """First-order lags of 20 s (probe) and 10 s (filter): 30 s behind a long ramp."""
    ff = by(MODEL.model_copy(update={"heater_lag_s": 0.0}))
    for i in range(1000):
        setpoint_c = 20.0 + 2.0 * i * SLOPE
        shown_c = ff.ask(2.0, setpoint_c, setpoint_c, 20.0).shown_c
    assert setpoint_c - shown_c == pytest.approx(30.0 * SLOPE, rel=1e-3)


def test_the_air_is_never_aimed_above_its_setpoint() -> None:
    """The model's air cannot follow a setpoint that falls by 60 K/h; the regulator is not to heat
    an oven that can. What is left is the probe's and the filter's lag, 30 s."""
    ff = FeedForward(SETTINGS)
    for i in range(900):
        setpoint_c = 50.0 - 2.0 * i * 60.0 / 3600.0
        asked = ff.ask(2.0, setpoint_c, setpoint_c, 5.0)
    assert asked.watts == 0.0
    assert asked.shown_c - setpoint_c == pytest.approx(0.5, rel=0.01)


def test_a_heater_that_was_held_off_excuses_nothing() -> None:
    """Whatever the model's air did before: the setpoint is what counts after a pause, the probe's
    lag apart."""
    ff = FeedForward(changed(SETTINGS, heater={"power_w": 50.0}))
    for i in range(300):  # more than 50 W can do
        shown_c = ff.ask(2.0, 30.0 + 0.01 * i, 30.0 + 0.01 * i, 5.0).shown_c
    assert shown_c == pytest.approx(33.0 - 1.0, abs=0.25), "no further off than 1 K"
    for _ in range(100):
        ff.held_off(2.0)
        shown_c = ff.ask(2.0, 33.0, 33.0, 5.0).shown_c
    assert shown_c == pytest.approx(33.0, abs=0.05)


def test_on_a_ramp_it_grows_to_what_everything_takes_up() -> None:
    """Loss plus (C_air + C_mould) times the rate once the moulds follow (energy balance); the
    moulds' share comes as 1 - exp(-t/lag)."""
    ff = by(MODEL.model_copy(update={"heater_lag_s": 0.0}))
    assert ff.ask(2.0, 20.0, 20.0, 20.0).watts == 0.0
    for i in range(1, 4000):
        setpoint_c = 20.0 + 2.0 * i * SLOPE
        said = ff.ask(2.0, setpoint_c, setpoint_c, 20.0).watts
        rise_k, share = 2.0 * i * SLOPE, 1.0 - math.exp(-2.0 * i / 1000.0)
        expected = 4.0 * rise_k + 5000.0 * SLOPE + 20000.0 * SLOPE * share
        assert said == pytest.approx(expected, rel=1e-9)


def test_a_new_night_forgets_the_last() -> None:
    ff, fresh = by(MODEL), by(MODEL)
    for i in range(100):
        ff.ask(2.0, 20.0 + i, 20.5 + i, 5.0)
    ff.start()
    assert ff.ask(2.0, 20.0, 20.0, 5.0) == fresh.ask(2.0, 20.0, 20.0, 5.0)


def test_state_restores_to_the_bit() -> None:
    one, two = FeedForward(SETTINGS), FeedForward(SETTINGS)
    for i in range(70):
        one.ask(2.0, 20.0 + i / 30.0, 20.1 + i / 30.0, 4.0)
    two.restore(json.loads(json.dumps(one.snapshot())))
    for i in range(70, 140):
        at = (2.0, 20.0 + i / 30.0, 20.1 + i / 30.0, 4.0)
        assert one.ask(*at) == two.ask(*at)
