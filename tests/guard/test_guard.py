"""The guard as one: what is only noted, and what of an alarm outlives its cause."""

from __future__ import annotations

import json

import pytest

from nightcure.guard.guard import Guard
from nightcure.tick import Event
from tests.nights import SETTINGS

from .test_interlocks import QUIET

WALL_S = 1.8e9


def noted(**moment: float) -> list[tuple[str, str]]:
    told = Guard(SETTINGS).look(QUIET._replace(**moment), WALL_S)
    return [(e.name, e.message) for e in told if e.kind == "note"]


@pytest.mark.parametrize("step_s", [2.5, -2.5])
def test_a_clock_that_moves_is_noted_either_way(step_s: float) -> None:
    assert noted(wall_step_s=step_s) == [("clock", f"The wall clock moved by {step_s:+.1f} s.")]
    assert noted(wall_step_s=step_s / 2) == [], "clocks are corrected by a little all the time"


def test_a_late_tick_is_noted_from_three_ticks_on() -> None:
    tick_s = SETTINGS.timing.tick_s
    assert noted(gap_s=3 * tick_s) == []
    assert noted(gap_s=3 * tick_s + 0.1) == [("late", "The loop was late: 6.1 s since a tick.")]


def test_an_alarm_is_told_once_when_it_comes_and_once_when_its_cause_goes() -> None:
    guard = Guard(SETTINGS)
    hot = QUIET._replace(air_c=(61.0,), control_c=61.0)

    def look(hot_now: bool) -> list[Event]:
        told = guard.look(hot if hot_now else QUIET, WALL_S)
        return [e for e in told if e.name == "over-temperature"]

    states = [[e.state for e in look(now)] for now in (False, True, True, True, False, False)]
    assert states == [[], [], ["unacknowledged"], [], ["returned-unacknowledged"], []]
    assert guard.alarms.trip == "over-temperature", "gone is not reset"
    again = Guard(SETTINGS)
    again.restore(json.loads(json.dumps(guard.snapshot())))
    assert again.alarms.trip == "over-temperature"
    assert again.snapshot() == guard.snapshot()
