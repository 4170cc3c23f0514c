"""A thermometer is checked: what it then shows, and every reason for which it is refused."""

from __future__ import annotations

from typing import Any

import pytest

from nightcure.loop.loop import Loop

from ..nights import COLD, SETTINGS, start, still, tripped, word
from ..standing import AIR, HOURS, LID, SOAK, Standing, under_way


def rested(*values: float | None) -> Standing:
    """An oven that has stood idle for a while."""
    oven = Standing()
    oven.ticks(12, values or COLD)
    return oven


def test_an_ice_point_corrects_from_the_next_tick_on() -> None:
    ice = (0.1875, 9.0, 9.0, 9.0)
    oven = rested(*ice)
    d = oven.tick(word("offset", sensor_id=AIR, method="ice-point"), values=ice)
    assert d.outcomes[0].message == ("Air is corrected by -0.19 K from now on. It showed 0.2 °C.")
    (check,) = d.checks
    assert check == (AIR, "ice-point", 0.1875, 0.0, -0.188, "test")
    assert d.believed[0] == 0.1875
    assert oven.tick(values=ice).believed[0] == pytest.approx(0.1875 - 0.188)
    assert oven.loop.settings.thermometers[0].offset_c == -0.188
    assert oven.loop.settings.thermometers[1:] == SETTINGS.thermometers[1:]


def test_a_check_is_of_the_bare_reading_whatever_the_offset_was() -> None:
    oven = rested()
    for _ in range(3):
        oven.done("offset", sensor_id=LID, method="reference", reference_c=9.5)
        assert oven.loop.settings.thermometers[1].offset_c == 0.5
        assert oven.tick().believed[1] == 9.5
    oven.done("offset", sensor_id=LID, method="typed", offset_c=-1.25)
    assert oven.tick().believed[1] == 7.75


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        ({}, "There is no thermometer None; give its 1-Wire id."),
        ({"sensor_id": "28-ffffffffffff", "method": "typed"}, "There is no thermometer '28-f"),
        ({"sensor_id": ["x"] * 900}, "There is no thermometer ['x'"),
        ({"sensor_id": AIR}, "method is None; it should be ice-point or reference or typed."),
        ({"sensor_id": AIR, "method": {}}, "method is {}; it should be"),
        ({"sensor_id": AIR, "method": "typed"}, "offset_c is missing; give a number."),
        ({"sensor_id": AIR, "method": "typed", "offset_c": float("nan")}, "offset_c is nan; it"),
        ({"sensor_id": AIR, "method": "typed", "offset_c": 5.01}, "An offset of +5.01 K is beyond"),
        ({"sensor_id": AIR, "method": "reference"}, "reference_c is missing; give a number."),
        ({"sensor_id": AIR, "method": "reference", "reference_c": "9"}, "reference_c is '9'; it"),
        ({"sensor_id": AIR, "method": "reference", "reference_c": 20}, "An offset of +11.00 K is"),
        ({"sensor_id": AIR, "method": "ice-point"}, "An offset of -9.00 K is beyond 5 K"),
    ],
)
def test_checks_that_are_none(args: dict[str, Any], sentence: str) -> None:
    oven = rested()
    assert oven.refused("offset", **args).startswith(sentence)
    assert oven.loop.settings == SETTINGS


def test_no_check_before_the_reading_stands_still() -> None:
    oven = Standing()
    oven.ticks(5)
    ask: dict[str, Any] = {"sensor_id": AIR, "method": "reference", "reference_c": 9.5}
    assert oven.refused("offset", **ask) == (
        "Air does not show one steady temperature yet; wait a minute."
    )
    for i in range(30):  # it drifts, 0.1 K a tick
        oven.tick(values=(9.0 - 0.1 * i, 9.0, 9.0, 9.0))
    assert "steady" in oven.refused("offset", **ask)
    oven.ticks(12)
    oven.tick(values=(None, 9.0, 9.0, 9.0))  # one lost reading: begin anew
    oven.ticks(8)
    assert "steady" in oven.refused("offset", **ask)
    oven.done("offset", **ask)


def test_a_sensor_that_repeats_an_old_reading_is_not_steady() -> None:
    loop = Loop(SETTINGS)
    for i in range(30):
        inputs = still(2.0 * i)
        stuck = inputs.readings[0]._replace(taken_s=0.0)
        loop.tick(inputs._replace(readings=(stuck, *inputs.readings[1:])))
    assert loop.shown_c(0) is None
    assert loop.shown_c(1) == 9.0


def test_no_check_while_a_night_runs_or_a_trip_stands() -> None:
    oven = under_way(SOAK)
    ask: dict[str, Any] = {"sensor_id": AIR, "method": "typed", "offset_c": 0.5}
    assert oven.refused("offset", **ask).startswith("A night is running")
    loop, t_s = tripped()
    d = loop.tick(still(t_s + 2.0, word("offset", **ask)))
    assert d.outcomes[0].message == "The oven has tripped (no air temperature); reset first."


def test_a_night_does_not_start_in_the_tick_of_a_check() -> None:
    """Its readings were judged with the old offset, its record would have the new one."""
    oven = rested()
    typed = word("offset", 1, sensor_id=AIR, method="typed", offset_c=0.5)
    d = oven.tick(typed, start(HOURS, 2))
    assert [o.outcome for o in d.outcomes] == ["done", "refused"]
    assert "start once more" in d.outcomes[1].message
    assert oven.tick(start(HOURS, 3)).outcomes[0].outcome == "done"
