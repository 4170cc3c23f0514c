"""The loop's contracts: pure, restorable, off unless everything says on."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.codec import decision_fields, decode_inputs, encode_inputs
from nightcure.loop import Loop
from nightcure.measure.reading import Fault, Reading
from nightcure.records import Command, Decision, Phase, TickInputs
from tests.nights import PROFILE, SETTINGS, SHORT, changed, night, readings, start, word

COLD = (9.0, 9.0, 9.0, 9.0)


def run(loop: Loop, ticks: list[TickInputs]) -> list[Decision]:
    return [loop.tick(i) for i in ticks]


def still(t_s: float, *commands: Command, values: tuple[float | None, ...] = COLD) -> TickInputs:
    """A tick in an oven where nothing moves."""
    return TickInputs(t_s, 1000.0 + t_s, readings(t_s, *values), commands)


@pytest.fixture(scope="module")
def short_night() -> list[tuple[TickInputs, Decision]]:
    return night(SHORT)[1]


@pytest.mark.parametrize("faults", [(), ("door-open@40min",), ("sensor-crc@30min+30s",)])
def test_replay_gives_the_same_decisions_to_the_bit(faults: tuple[str, ...]) -> None:
    """The contract behind every replay, through the text the ledger keeps."""
    _, ticks = night(SHORT, faults=faults)
    fresh = Loop(SETTINGS)
    for number, (inputs, decision) in enumerate(ticks):
        kept, resumed = decode_inputs(inputs.mono_s, inputs.wall_s, encode_inputs(inputs))
        assert resumed is None
        assert kept == inputs
        again = fresh.tick(kept)
        assert again == decision, f"tick {number}"
        assert decision_fields(again) == decision_fields(decision)


def test_a_flipped_bit_is_noticed(short_night: list[tuple[TickInputs, Decision]]) -> None:
    fresh = Loop(SETTINGS)
    for number, (inputs, decision) in enumerate(short_night):
        if number == 900:
            first = inputs.readings[0]
            assert first.value_c is not None
            bent = Reading(first.value_c + 0.0625, first.taken_s)
            inputs = inputs._replace(readings=(bent, *inputs.readings[1:]))
        if fresh.tick(inputs) != decision:
            assert number == 900
            return
    raise AssertionError("the changed reading went unnoticed")


@given(st.integers(1, 2000))
@hypo(max_examples=12, deadline=None)
def test_a_snapshot_restores_to_the_bit(at: int) -> None:
    ticks = [i for i, _ in NIGHT]
    at = min(at, len(ticks) - 2)
    whole = Loop(SETTINGS)
    run(whole, ticks[:at])
    state = json.loads(json.dumps(whole.snapshot(), allow_nan=False))
    second = Loop(SETTINGS)
    second.restore(state)
    assert run(second, ticks[at : at + 400]) == run(whole, ticks[at : at + 400])


NIGHT = night(SHORT)[1]

values = st.one_of(st.none(), st.floats(allow_nan=True, allow_infinity=True), st.floats(-50, 130))
one_reading = st.tuples(values, st.floats(-30, 1), st.one_of(st.none(), st.sampled_from(Fault)))
commands = st.sampled_from(
    [
        None,
        None,
        None,
        start(),
        start(SHORT),
        word("stop"),
        word("reset"),
        word("acknowledge"),
        word("acknowledge", alarm=7),
        word("start"),
        word("start", profile={"name": 3}),
        word("dance"),
    ]
)
one_tick = st.tuples(
    st.floats(-5, 40),
    st.floats(-4000, 4000),
    st.lists(one_reading, min_size=4, max_size=4),
    commands,
    st.floats(0, 100),
    st.booleans(),
)


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


def test_the_stop_button_ends_the_night() -> None:
    loop = Loop(SETTINGS)
    run(loop, [still(0.0, start()), still(2.0)])
    d = loop.tick(still(4.0)._replace(stop_pressed=True))
    assert d.phase is Phase.IDLE
    assert not d.contactor_on


@pytest.mark.parametrize(
    ("command", "values", "sentence"),
    [
        (word("start"), COLD, "Not started: profile is None"),
        (start(), (None, 9.0, 9.0, 9.0), "Not started: there is no believable air temperature."),
        (word("reset"), COLD, "Nothing has tripped."),
        (word("dance"), COLD, "There is no command 'dance'."),
        (
            word("start", profile={**SHORT.model_dump(mode="json"), "segments": [
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


def tripped() -> tuple[Loop, float]:
    """A loop that has lost its control sensor."""
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start()))
    t_s = 0.0
    while loop.phase is not Phase.TRIPPED:
        t_s += 2.0
        d = loop.tick(still(t_s, values=(None, 9.0, 9.0, 9.0)))
        assert not d.heater_on
        assert t_s < 100.0
    return loop, t_s


def test_a_trip_latches_and_is_reset_only_when_its_cause_is_gone() -> None:
    loop, t_s = tripped()
    refused = loop.tick(still(t_s + 2, word("reset"), values=(None, 9.0, 9.0, 9.0)))
    assert refused.outcomes[0].outcome == "refused"
    assert "control-sensor-lost still holds" in refused.outcomes[0].message
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


def test_a_trip_survives_a_power_cut() -> None:
    loop, t_s = tripped()
    second = Loop(SETTINGS)
    second.resume(json.loads(json.dumps(loop.snapshot())))
    d = second.tick(still(t_s + 60))
    assert d.trip == "control-sensor-lost"
    assert d.phase is Phase.TRIPPED
    assert not d.heater_on


def resumed(away_s: float, air_c: float) -> Decision:
    loop = Loop(SETTINGS)
    run(loop, [still(2.0 * i, *([start()] if i == 0 else [])) for i in range(30)])
    second = Loop(SETTINGS)
    second.resume(json.loads(json.dumps(loop.snapshot())))
    # A rebooted board counts its monotonic time from nothing.
    inputs = TickInputs(5.0, 1058.0 + away_s, readings(5.0, air_c, 9.0, 9.0, 9.0))
    return second.tick(inputs)


@pytest.mark.parametrize(
    ("away_s", "air_c", "why"),
    [
        (1900.0, 9.0, "it stood still for 31 min 40 s, allowed are 30 min"),
        (60.0, -5.0, "the air fell by 14.0 K, allowed are 12 K"),
        (-600.0, 9.0, "the clock is 10 min behind the record"),
    ],
)
def test_a_resume_is_refused_with_its_reason(away_s: float, air_c: float, why: str) -> None:
    d = resumed(away_s, air_c)
    assert d.trip == "resume-refused"
    assert d.phase is Phase.TRIPPED
    assert not d.heater_on
    assert any(why in e.message for e in d.events), d.events


def test_a_resume_within_its_limits_goes_on() -> None:
    d = resumed(120.0, 8.0)
    assert d.trip is None
    assert d.phase is Phase.RAMP
    assert any(e.message.startswith("Resumed after 2 min") for e in d.events)


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


def test_ticks_need_not_be_regular() -> None:
    """The daemon ticks early when somebody asks for something."""
    loop = Loop(SETTINGS)
    t_s = 0.0
    loop.tick(still(t_s, start()))
    for i in range(200):
        t_s += 0.25 if i % 3 else 2.0
        d = loop.tick(still(t_s))
        assert d.trip is None


def test_fahrenheit_reaches_the_sentences() -> None:
    settings = changed(SETTINGS)
    settings = settings.model_copy(update={"units": "F"})
    loop = Loop(settings)
    d = loop.tick(still(0.0, start()))
    assert any("48.2 °F" in e.message for e in d.events)
    assert PROFILE.highest_c == 38.0
