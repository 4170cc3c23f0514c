"""The heating as one: what the regulator is told of the modulator, and of another night."""

from __future__ import annotations

import json

import pytest

from nightcure.heat.heating import Heating
from tests.nights import COLD, SETTINGS, SHORT

TICK_S = 2.0
AIR_C = COLD[0]


def begun() -> Heating:
    heating = Heating(SETTINGS)
    heating.start(SHORT, AIR_C)
    return heating


def ask(heating: Heating, over_k: float = 1.0, air_c: float = AIR_C) -> float:
    """The duty for a setpoint a little above the air: the heater can do more."""
    heating.ask(TICK_S, air_c + over_k, air_c + over_k, air_c, air_c)
    return heating.duty


def integral_w(heating: Heating) -> float:
    found: float = heating.snapshot()["regulator"]["core"]["integral_w"]
    return found


def test_what_the_heater_may_not_give_is_not_saved_up() -> None:
    """A contactor not yet closed, a reading missing: the integral stands still meanwhile."""
    heating = begun()
    before_w = integral_w(heating)
    for tick in range(300):
        ask(heating)
        assert not heating.tick(tick * TICK_S, TICK_S, False)
    assert integral_w(heating) == before_w
    for tick in range(300, 310):
        ask(heating)
        heating.tick(tick * TICK_S, TICK_S, True)
    assert integral_w(heating) > before_w


def test_a_night_begins_as_one_that_was_not_allowed_yet() -> None:
    """Also where the tick before it still heated: a stop and a start in one."""
    heating = begun()
    for tick in range(10):
        ask(heating)
        heating.tick(tick * TICK_S, TICK_S, True)
    heating.start(SHORT, AIR_C)
    before_w = integral_w(heating)
    ask(heating)
    assert integral_w(heating) == before_w


def test_the_second_night_asks_for_what_the_first_did() -> None:
    """The way down from the last setpoint is no part of its ramp."""
    used, fresh = begun(), begun()
    for tick in range(600):
        ask(used, air_c=38.0)
        used.tick(tick * TICK_S, TICK_S, True)
    used.ask_nothing()
    assert used.duty == 0.0
    assert not used.tick(600 * TICK_S, TICK_S, False)
    used.start(SHORT, AIR_C)
    assert [ask(used, k / 100) for k in range(600)] == [ask(fresh, k / 100) for k in range(600)]


@pytest.mark.parametrize("allowed", [True, False])
def test_a_snapshot_in_the_middle_of_a_pulse_goes_on_to_the_bit(allowed: bool) -> None:
    one = begun()
    for tick in range(25):
        ask(one)
        one.tick(tick * TICK_S, TICK_S, allowed)
    two = Heating(SETTINGS)
    two.restore(json.loads(json.dumps(one.snapshot())), SHORT)
    assert (two.duty, two.on, two.switchings) == (one.duty, one.on, one.switchings)
    for tick in range(25, 60):
        assert ask(two) == ask(one)
        at = (tick * TICK_S, TICK_S, True)
        assert two.tick(*at) == one.tick(*at)
    assert two.snapshot() == one.snapshot()


def test_another_process_takes_over_with_the_heater_off_and_nothing_owed() -> None:
    one = begun()
    ask(one, 3.0)
    one.tick(0.0, TICK_S, True)
    assert one.on
    switched = one.switchings
    one.resume()
    assert (one.on, one.duty, one.switchings) == (False, 0.0, switched)
    before_w = integral_w(one)
    ask(one)
    assert integral_w(one) == before_w, "its modulator was not followed either"


def test_a_heater_that_is_held_off_has_cooled_once_it_may_heat_again() -> None:
    """What the model's heater stored is spent: by a pause of ten of its lags, or by a restart."""
    model_s = 10.0 * SETTINGS.model.heater_lag_s
    for restart in (False, True):
        heating = begun()
        for tick in range(300):
            ask(heating, over_k=5.0)
            heating.tick(tick * TICK_S, TICK_S, True)
        warm_w = heating.snapshot()["feed_forward"]["heat_w"]
        assert warm_w > 5.0
        if restart:
            heating.resume()
        else:
            for tick in range(300, 300 + int(model_s / TICK_S)):
                heating.tick(tick * TICK_S, TICK_S, False)
        assert heating.snapshot()["feed_forward"]["heat_w"] < 0.001 * warm_w
