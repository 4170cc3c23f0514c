"""A fan that stands still, told from heater and air on an oven of another structure (zones).

Films in moving and still air: 25 and 5 to 8 W/(m2 K) (common practice, no source), so that a
heater's body, half of its heat leaving by radiation, gets half as much again above the air.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from nightcure.guard.fan import FanFailed
from nightcure.loop.loop import FAN_RUNS_ON_S, Loop
from nightcure.settings import Settings
from nightcure.tick import Phase
from tests.guard.test_interlocks import QUIET
from tests.nights import SETTINGS, SHORT, start, still, through_text, word


def tripped_after_s(
    settings: Settings,
    stops_s: float,
    still_share: float,
    swing: float,
    seed: int = 0,
    window_s: float = 20.0,
) -> float | None:
    """Ten hours of a heater's body in an air at 38 °C, with the film falling when the fan stops.

    The body by its own equation, radiation to the fourth power, readings in steps of 1/16 K.
    `still_share`: of the film, what is left. `swing`: of the duty, over half an hour.
    """
    rng = np.random.default_rng(seed)
    rule = FanFailed(settings)
    area_m2, body_c, capacity = 0.12, 38.0, 700.0
    for k in range(18_000):
        t_s = 2.0 * k
        air_c = 38.0 - 25.0 * math.exp(-t_s / 5000.0)
        duty = 0.5 + swing * math.sin(t_s / 1800.0 * 2.0 * math.pi) + 0.3 * math.exp(-t_s / 5000.0)
        film = 22.0 * (1.0 if t_s < stops_s else still_share)
        lost_w = area_m2 * film * (body_c - air_c)
        lost_w += area_m2 * 0.9 * 5.67e-8 * ((body_c + 273.15) ** 4 - (air_c + 273.15) ** 4)
        on = t_s % window_s < duty * window_s
        body_c += (300.0 * on - lost_w) / capacity * 2.0
        shield_c = air_c + 0.6 * (body_c - air_c) + rng.normal(0.0, 0.06)
        seen = QUIET._replace(
            control_c=round(air_c * 16) / 16,
            heaters_c=(round(shield_c * 16) / 16,),
            duty=duty,
            heater_on=on,
        )
        if rule.look(seen) is not None:
            return t_s
    return None


@pytest.mark.parametrize("stops_s", [7200.0, 14_400.0, 25_000.0])
@pytest.mark.parametrize("swing", [0.0, 0.1])
@pytest.mark.parametrize("window_s", [20.0, 240.0])
def test_a_fan_that_stops_is_found_within_half_an_hour(
    stops_s: float, swing: float, window_s: float
) -> None:
    when_s = tripped_after_s(SETTINGS, stops_s, 0.25, swing, window_s=window_s)
    assert when_s is not None
    assert stops_s < when_s <= stops_s + 1800.0


@pytest.mark.parametrize("swing", [0.0, 0.1, 0.3, 0.5])
@pytest.mark.parametrize("seed", range(3))
@pytest.mark.parametrize("window_s", [20.0, 240.0])
def test_a_fan_that_turns_is_left_in_peace(swing: float, seed: int, window_s: float) -> None:
    """From a cold start, where radiation takes less, with a duty that swings."""
    assert tripped_after_s(SETTINGS, math.inf, 1.0, swing, seed, window_s) is None


def without_a_pin(fan: str | None) -> Settings:
    data = SETTINGS.model_dump(mode="json")
    installation = data["installation"] | {"fan": fan}
    return Settings.model_validate(data | {"fan": None, "installation": installation})


@pytest.mark.parametrize("fan", [None, "none"])
def test_an_oven_without_a_declared_fan_is_not_watched(fan: str | None) -> None:
    assert tripped_after_s(without_a_pin(fan), 7200.0, 0.25, 0.0) is None


def test_a_fan_that_is_always_on_is_watched_too() -> None:
    """Fails before this: only one that the program switches was, and the path without mains wiring
    has none."""
    when_s = tripped_after_s(without_a_pin("always"), 7200.0, 0.25, 0.0)
    assert when_s is not None
    assert 7200.0 < when_s <= 9000.0


# ---- it runs on ----------------------------------------------------------------------------------


def heated() -> tuple[Loop, float]:
    """A loop that heats, and its time."""
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT)))
    t_s, on = 0.0, False
    while not on:
        t_s += 2.0
        on = loop.tick(still(t_s)).heater_on
        assert t_s < 600.0
    return loop, t_s


def fan_after_s(loop: Loop, t_s: float) -> float:
    """How long the fan runs from now on, at rest."""
    for k in range(1, 2000):
        if not loop.tick(still(t_s + 2.0 * k)).fan_on:
            return 2.0 * k
    raise AssertionError("it never stops")


def test_the_fan_runs_on_half_an_hour_after_a_stop() -> None:
    """Fails before this: it stopped with the night, the heater still hot."""
    loop, t_s = heated()
    d = loop.tick(still(t_s + 2.0, word("stop")))
    assert (d.phase, d.heater_on, d.contactor_on, d.fan_on) == (Phase.IDLE, False, False, True)
    assert fan_after_s(loop, t_s + 2.0) == pytest.approx(FAN_RUNS_ON_S, abs=4.0)


def test_it_runs_on_after_a_trip_and_over_a_restart() -> None:
    loop, t_s = heated()
    while loop.phase is not Phase.TRIPPED:
        t_s += 2.0
        d = loop.tick(still(t_s, values=(None, 9.0, 9.0, 9.0)))
    assert d.fan_on
    again = Loop(SETTINGS)
    again.restore(through_text(loop))
    assert 1600.0 < fan_after_s(again, t_s) < FAN_RUNS_ON_S


def test_a_fan_that_was_not_needed_is_not_started() -> None:
    assert not Loop(SETTINGS).tick(still(0.0)).fan_on


def test_a_recorded_nights_fan_does_as_it_did() -> None:
    limits = SETTINGS.limits.model_copy(update={"cut_out_c": None})
    loop = Loop(SETTINGS.model_copy(update={"limits": limits}))
    loop.tick(still(0.0, start(SHORT)))
    for k in range(1, 60):
        loop.tick(still(2.0 * k))
    assert not loop.tick(still(130.0, word("stop"))).fan_on
