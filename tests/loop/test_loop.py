"""The loop's contracts: one decision out of whatever comes in, off unless everything says on."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.profile import parse_profile
from nightcure.tick import Command, Fault, Phase, Reading, TickInputs
from tests.nights import (
    COLD,
    PROFILE,
    SETTINGS,
    SHORT,
    changed,
    night,
    readings,
    run,
    start,
    still,
    tripped,
    word,
)
from tests.ticks import one_tick


@given(st.lists(one_tick, min_size=1, max_size=60))
@hypo(max_examples=150, deadline=None)
def test_whatever_comes_in_the_heater_is_on_only_with_every_reason(steps: list[Any]) -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0))
    t_s, previous = 0.0, loop.tick(still(2.0, start()))
    for dt_s, wall_s, read, command, silent_s, pressed in steps:
        t_s += dt_s
        inputs = TickInputs(
            t_s,
            1000.0 + t_s + wall_s,
            tuple(Reading(v, t_s + age, f) for v, age, f in read),
            () if command is None else (command,),
            silent_s,
            0.0,
            pressed,
        )
        d = loop.tick(inputs)
        if d.heater_on:
            assert d.phase in (Phase.RAMP, Phase.SOAK, Phase.COOL)
            assert d.trip is None
            assert d.control_c is not None
            assert d.control_c == d.control_c  # not NaN
            assert d.contactor_on
            assert previous.contactor_on, "the contactor closes a tick before the heater"
        if d.phase in (Phase.IDLE, Phase.DONE, Phase.TRIPPED):
            assert not d.heater_on
            assert not d.contactor_on
            assert d.duty == 0.0
        json.dumps(loop.snapshot(), allow_nan=False)
        previous = d


def test_the_contactor_closes_first_and_drops_at_the_end() -> None:
    _, ticks = night(SHORT)
    decisions = [d for _, d in ticks]
    first = next(i for i, d in enumerate(decisions) if d.heater_on)
    assert decisions[first - 1].contactor_on
    assert not decisions[first - 1].heater_on
    assert decisions[-1].phase is Phase.DONE
    assert not decisions[-1].contactor_on


def test_stop_acts_within_the_same_tick() -> None:
    loop = Loop(SETTINGS)
    run(loop, [still(0.0, start()), still(2.0), still(4.0)])
    d = loop.tick(still(6.0, word("stop", 5)))
    assert (d.heater_on, d.contactor_on, d.phase) == (False, False, Phase.IDLE)
    assert d.outcomes[0][:2] == (5, "done")
    assert [e.name for e in d.events if e.kind == "night"] == ["stopped"]


def test_a_start_asked_for_before_a_stop_is_refused_in_the_same_tick() -> None:
    """A stop is carried out first; it must not be undone by what it was meant to undo."""
    loop = Loop(SETTINGS)
    d = loop.tick(still(0.0, word("stop", 6), start(number=5)))
    assert [o.outcome for o in d.outcomes] == ["done", "refused"]
    assert "stop was pressed after it" in d.outcomes[1].message
    assert (d.phase, d.heater_on) == (Phase.IDLE, False)
    assert loop.tick(still(2.0, word("stop", 7), start(number=8))).phase is Phase.RAMP


def test_the_stop_button_ends_the_night() -> None:
    loop = Loop(SETTINGS)
    run(loop, [still(0.0, start()), still(2.0)])
    d = loop.tick(still(4.0)._replace(stop_pressed=True))
    assert d.phase is Phase.IDLE
    assert not d.contactor_on


@pytest.mark.parametrize(
    ("command", "values", "sentence"),
    [
        (word("start", **ALL_CONFIRMED), COLD,
         "Not started: profile is None; it should be a table"),
        (start(), (None, 9.0, 9.0, 9.0), "Not started: there is no believable air temperature."),
        (word("reset"), COLD, "Nothing has tripped."),
        (word("dance"), COLD, "There is no command 'dance'."),
        (
            word("start", **ALL_CONFIRMED, profile={**SHORT.model_dump(mode="json"), "segments": [
                {"kind": "soak", "at_c": 70.0, "hours": 1.0}]}),
            COLD,
            "Not started: profile 'Short', segment 1 (soak): 70 °C is above",
        ),
    ],
)  # fmt: skip
def test_refusals_are_sentences(
    command: Command, values: tuple[float | None, ...], sentence: str
) -> None:
    loop = Loop(SETTINGS)
    d = loop.tick(still(0.0, command, values=values))
    assert d.outcomes[0].outcome == "refused"
    assert d.outcomes[0].message.startswith(sentence), d.outcomes[0].message
    assert d.phase is Phase.IDLE


def test_a_running_night_is_not_started_over() -> None:
    loop = Loop(SETTINGS)
    d = run(loop, [still(0.0, start()), still(2.0, start(SHORT, 2))])[-1]
    assert d.outcomes[0].outcome == "refused"
    assert "already running" in d.outcomes[0].message


def test_a_trip_latches_and_is_reset_only_when_its_cause_is_gone() -> None:
    loop, t_s = tripped()
    refused = loop.tick(still(t_s + 2, word("reset"), values=(None, 9.0, 9.0, 9.0)))
    assert refused.outcomes[0].outcome == "refused"
    assert "the cause is still there. No believable air temperature" in refused.outcomes[0].message
    for i in range(2, 7):
        back = loop.tick(still(t_s + 2 * i))
        assert back.trip == "control-sensor-lost"
        assert back.phase is Phase.TRIPPED
    again = loop.tick(still(t_s + 20, start()))
    assert again.outcomes[0].outcome == "refused"
    done = loop.tick(still(t_s + 22, word("reset")))
    assert done.outcomes[0].outcome == "done"
    assert (done.trip, done.phase) == (None, Phase.IDLE)
    assert loop.tick(still(t_s + 24, start())).phase is Phase.RAMP


@pytest.mark.parametrize("number", [0, 1, 2, 3])
@pytest.mark.parametrize("bad", [float("nan"), float("inf"), -float("inf")])
def test_a_value_that_is_no_number_is_never_believed(number: int, bad: float) -> None:
    loop = Loop(SETTINGS)
    run(loop, [still(2.0 * i, *([start()] if i == 0 else [])) for i in range(30)])
    values = [9.0, 9.0, 9.0, 9.0]
    values[number] = bad
    for i in range(30, 50):
        d = loop.tick(still(2.0 * i, values=tuple(values)))
        assert d.faults[number] is Fault.RANGE
        assert d.believed[number] is None
        if number == 0:
            assert (d.heater_on, d.duty, d.control_c) == (False, 0.0, None)
    json.dumps(loop.snapshot(), allow_nan=False)


@pytest.mark.parametrize(("contactor", "first"), [({"pin": 27}, 1), (None, 0)])
def test_the_heater_waits_one_tick_for_a_contactor(contactor: Any, first: int) -> None:
    """In a frost the very first duty is a pulse; with a contactor it comes a tick later."""
    data = {**SETTINGS.model_dump(mode="json"), "contactor": contactor}
    loop = Loop(type(SETTINGS).model_validate(data))
    frost = (9.0, 9.0, 9.0, -20.0)
    ds = run(loop, [still(2.0 * i, *([start()] if i == 0 else []), values=frost) for i in range(3)])
    assert [d.heater_on for d in ds].index(True) == first
    assert all(d.contactor_on for d in ds)


def test_a_lost_sensor_does_not_wait_for_the_shortest_pulse() -> None:
    """Safety before the relay's contacts: min_on_s is 20 s here, off comes in the same tick."""
    settings = changed(SETTINGS, heater={"window_s": 240.0, "min_on_s": 20.0, "min_off_s": 20.0})
    loop = Loop(settings)
    frost = (9.0, 9.0, 9.0, -20.0)
    for i in range(2):
        d = loop.tick(still(2.0 * i, *([start()] if i == 0 else []), values=frost))
    assert d.heater_on
    assert not loop.tick(still(4.0, values=(None, 9.0, 9.0, -20.0))).heater_on


def test_a_late_tick_counts_in_full_towards_the_longest_night() -> None:
    """Though the regulator reckons with three ticks at most."""
    loop = Loop(SETTINGS)
    run(loop, [still(0.0, start()), still(2.0), still(27.0)])
    assert loop.snapshot()["night_s"] == 27.0


@pytest.mark.parametrize("fault", ["sensor-missing@20min", "relay-welded@30min", "exotherm@20min"])
def test_a_trip_drops_heater_and_contactor_in_its_own_tick(fault: str) -> None:
    _, ticks = night(SHORT, faults=[fault])
    decisions = [d for _, d in ticks]
    first = next(i for i, d in enumerate(decisions) if d.trip is not None)
    assert decisions[first - 1].contactor_on
    for d in decisions[first:]:
        assert (d.heater_on, d.contactor_on, d.duty) == (False, False, 0.0)
        assert d.fan_on  # it runs on while the heater is hot
        assert d.phase is Phase.TRIPPED
    assert any(e.kind == "trip" and e.message.endswith(".") for e in decisions[first].events)


def test_an_idle_oven_that_is_too_hot_trips_too() -> None:
    loop = Loop(SETTINGS)
    ds = run(loop, [still(2.0 * i, values=(61.0, 50.0, 50.0, 9.0)) for i in range(3)])
    assert (ds[-1].trip, ds[-1].phase) == ("over-temperature", Phase.TRIPPED)
    refused = loop.tick(still(6.0, word("reset"), values=(59.0, 50.0, 50.0, 9.0)))
    assert "the cause is still there. Over-temperature" in refused.outcomes[0].message
    loop.tick(still(8.0, values=(57.9, 50.0, 50.0, 9.0)))
    done = loop.tick(still(10.0, word("reset"), values=(57.9, 50.0, 50.0, 9.0)))
    assert done.outcomes[0].outcome == "done"


def test_start_and_a_held_stop_button_give_no_heat() -> None:
    loop = Loop(SETTINGS)
    for i in range(20):
        d = loop.tick(still(2.0 * i, start(number=i))._replace(stop_pressed=True))
        assert (d.heater_on, d.contactor_on, d.phase) == (False, False, Phase.IDLE)
        assert d.outcomes[0].outcome == "refused"
        assert "stop button" in d.outcomes[0].message
        assert d.events[0].kind == "command"
        assert len(d.events) == 1


def test_a_lost_part_sensor_is_a_warning_and_the_night_goes_on_by_the_others() -> None:
    loop = Loop(SETTINGS)
    said: list[str] = []
    for i in range(60):
        values = (9.0, None, 9.0, 9.0) if i > 5 else COLD
        d = loop.tick(still(2.0 * i, *([start()] if i == 0 else []), values=values))
        said += [e.message for e in d.events if e.kind == "alarm"]
    assert d.trip is None
    assert d.phase is Phase.RAMP
    assert len(said) == 1
    assert SETTINGS.thermometers[1].name + " (" in said[0]
    d = loop.tick(still(122.0, word("acknowledge")))
    assert loop.alarms() == []


def test_several_commands_in_one_tick_are_taken_in_order() -> None:
    loop = Loop(SETTINGS)
    d = loop.tick(still(0.0, start(number=1), word("stop", 2), start(SHORT, 3)))
    assert [(o.command_id, o.outcome) for o in d.outcomes] == [
        (1, "done"),
        (2, "done"),
        (3, "refused"),
    ]
    assert loop.run is None, "one tick holds one night"
    assert loop.tick(still(2.0, start(SHORT, 4))).outcomes[0].outcome == "done"
    d = loop.tick(still(4.0, start(SHORT, 5), word("stop", 6)))
    assert [(o.command_id, o.outcome) for o in d.outcomes] == [(5, "refused"), (6, "done")]
    assert (d.heater_on, d.contactor_on) == (False, False)


def test_an_alarm_that_is_no_name_acknowledges_nothing() -> None:
    loop, t_s = tripped()
    odd = loop.tick(still(t_s + 2, word("acknowledge", alarm=7)))
    assert odd.outcomes[0].outcome == "refused"
    assert odd.outcomes[0].message == "There is no alarm 7; give its name, or none for all."
    assert [a.state.value for a in loop.alarms()] == ["returned-unacknowledged"]
    seen = loop.tick(still(t_s + 4, word("acknowledge", alarm="control-sensor-lost")))
    assert seen.outcomes[0].outcome == "done"
    assert [a.state.value for a in loop.alarms()] == ["latched"]


@pytest.mark.parametrize(
    ("gap_s", "wall_s", "trip"),
    [(31.0, 31.0, "tick-late"), (2.0, 3602.0, None), (-5.0, 2.0, "time-went-back"),
     (2.0, -62.0, None), (2.0, 1.8e9, None), (29.0, 29.0, None), (2.0, 50.0, None)],
)  # fmt: skip
def test_time_that_goes_wrong(gap_s: float, wall_s: float, trip: str | None) -> None:
    loop = Loop(SETTINGS)
    run(loop, [still(2.0 * i, *([start()] if i == 0 else [])) for i in range(30)])
    t_s = 58.0 + gap_s
    d = loop.tick(TickInputs(t_s, 1058.0 + wall_s, readings(t_s, *COLD)))
    assert d.trip == trip
    assert trip is None or not d.heater_on


def test_a_stand_in_takes_over_and_without_one_the_heater_is_off_at_once() -> None:
    extra = {"id": "28-0000000000a2", "role": "air", "name": "Air 2"}
    data = SETTINGS.model_dump(mode="json")
    two = type(SETTINGS).model_validate({**data, "thermometers": [*data["thermometers"], extra]})
    for settings, more, goes_on in ((two, (9.0,), True), (SETTINGS, (), False)):
        loop = Loop(settings)
        on = False
        for i in range(300):
            lost = i > 150
            air = (None if lost else 9.0, 9.0, 9.0, 9.0, *more)
            first = (start(),) if i == 0 else ()
            d = loop.tick(still(2.0 * i, *first, values=air))
            if lost and not goes_on:
                assert not d.heater_on
            on = on or (lost and d.heater_on)
        assert on is goes_on


def test_fahrenheit_reaches_the_sentences() -> None:
    settings = changed(SETTINGS)
    settings = settings.model_copy(update={"units": "F"})
    loop = Loop(settings)
    d = loop.tick(still(0.0, start()))
    assert any("48.2 °F" in e.message for e in d.events)
    assert PROFILE.highest_c == 38.0


def test_what_is_doubted_is_not_heated_for_in_the_cool_down_either() -> None:
    """Somebody skips the rest of a soak while a sensor hangs outside."""
    loop = Loop(SETTINGS)
    soak = parse_profile(
        {
            "name": "Soak",
            "segments": [
                {"kind": "soak", "at_c": 40.0, "hours": 5.0},
                {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 15.0},
            ],
        }
    )
    for i in range(900):
        asked = [start(soak)] if i == 0 else [word("skip")] if i == 500 else []
        outside = ((34.0 if i < 320 else 10.0) + 0.0625 * (i % 2), 35.0, 35.0, 9.0)
        d = loop.tick(still(2.0 * i, *asked, values=outside))
        if i > 500:
            assert d.phase is Phase.COOL
            assert (d.heater_on, d.contactor_on, d.duty) == (False, False, 0.0)
        if i > 501:
            assert d.control_c is not None, "the profile goes on"


def test_ticks_need_not_be_regular() -> None:
    """The daemon ticks early when somebody asks for something."""
    loop = Loop(SETTINGS)
    t_s = 0.0
    loop.tick(still(t_s, start()))
    for i in range(200):
        t_s += 0.25 if i % 3 else 2.0
        d = loop.tick(still(t_s))
        assert d.trip is None


def test_a_ramp_does_not_make_up_for_a_late_tick() -> None:
    """The relay was open meanwhile: the setpoint goes on by three ticks at the most."""
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start()))
    before = loop.tick(still(2.0)).setpoint_c
    on_time = loop.tick(still(4.0)).setpoint_c
    late = loop.tick(still(13.0)).setpoint_c
    assert before is not None
    assert on_time is not None
    assert late is not None
    assert late - on_time == pytest.approx(3 * (on_time - before), abs=2e-4)
    assert on_time > before


def test_an_idle_oven_trips_nothing_through_three_days_and_nights_of_its_shed() -> None:
    """Parts lag behind a shed that swings by 12 K, and are the warmer ones every evening."""
    loop, part_c = Loop(SETTINGS), 9.0
    for i in range(3 * 1440):
        t_s = 60.0 * i
        shed_c = 9.0 - 6.0 * math.cos(2.0 * math.pi * t_s / 86400.0)
        part_c += (shed_c - part_c) * 60.0 / 9000.0
        d = loop.tick(still(t_s, values=(shed_c, part_c, part_c, shed_c)))
        assert d.trip is None, d.events


def test_a_control_sensor_that_stands_still_is_asked_by_more_heat() -> None:
    """From 450 s on the regulator aims an eighth of a kelvin higher: gain x 0.125 K at once."""
    profile = parse_profile(
        {"name": "Held", "segments": [{"kind": "soak", "at_c": 20.0, "hours": 1.0}]}
    )
    loop, duties = Loop(SETTINGS), {}
    for i in range(300):
        t_s = 2.0 * i
        asked = (start(profile),) if i == 0 else ()
        d = loop.tick(still(t_s, *asked, values=(20.0, 20.0, 20.0, 9.0)))
        duties[t_s] = d.duty
    step = 0.125 * SETTINGS.regulator.gain_w_per_k / SETTINGS.heater.power_w
    assert duties[448.0] - duties[400.0] < 0.1 * step, "held, and nothing moves"
    assert duties[598.0] - duties[448.0] > step
