"""Commands to the night: what each does, and every reason for which it is refused."""

from __future__ import annotations

from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.loop.commands import ALL_CONFIRMED, CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.profile import Soak, parse_profile
from nightcure.tick import Phase, TickInputs

from ..nights import SETTINGS, changed, start, still, through_text, word
from ..standing import COOL, HOURS, RAMP, SECOND, SOAK, WARM, Standing, under_way

# ---- skip -----------------------------------------------------------------------------------


def test_skipping_goes_through_the_night_to_its_end() -> None:
    oven = Standing(values=WARM)
    oven.tick(start(HOURS))
    for number, kind in enumerate(("soak", "soak", "cool"), 1):
        d = oven.tick(word("skip"))
        assert d.outcomes[0].message.startswith(f"Left segment {number} (")
        assert (d.phase.value, d.segment) == (kind, number)
        assert [e.kind for e in d.events] == ["phase", "command"]
        assert d.contactor_on
    d = oven.tick(word("skip"))
    assert (d.phase, d.heater_on, d.contactor_on) == (Phase.DONE, False, False)
    assert [e.name for e in d.events if e.kind == "night"] == ["done"]


# ---- extend ---------------------------------------------------------------------------------


def test_a_soak_is_made_longer_and_shorter() -> None:
    oven = under_way(SOAK)
    assert oven.loop.run is not None
    left_s = oven.loop.run.left_s()
    assert oven.done("extend", minutes=30) == "The soak now lasts 2 h 30 min."
    assert oven.loop.run.left_s() == pytest.approx(left_s + 1800.0, abs=3.0)
    assert oven.done("extend", minutes=-60.0) == "The soak now lasts 1 h 30 min."
    segment = oven.loop.run.segment
    assert isinstance(segment, Soak)
    assert segment.hours == 1.5
    assert HOURS.segments[SOAK] == Soak(at_c=12.0, hours=2.0), "the profile asked for stays"


def test_a_soak_ends_when_it_was_told_to() -> None:
    settings = changed(SETTINGS, limits={"ramp_c_per_h": 100.0})
    oven = under_way(SOAK, settings)
    warm = (12.0, 12.0, 12.0, 9.0)
    oven.done("extend", minutes=-110)
    oven.ticks(240, warm)  # eight minutes of ten, less what the setpoint took to rise
    assert oven.loop.run is not None
    assert oven.loop.run.index == SOAK
    oven.ticks(140, warm)
    assert oven.loop.run.index == SECOND


# ---- setpoint -------------------------------------------------------------------------------


def test_a_soaks_setpoint_moves_no_faster_than_the_moulds_take() -> None:
    oven = under_way(SOAK)
    assert oven.done("setpoint", celsius=20) == "The soak now goes to 20.0 °C."
    before = oven.tick().setpoint_c
    after = oven.tick().setpoint_c
    assert before is not None
    assert after is not None
    assert after - before == pytest.approx(SETTINGS.limits.ramp_c_per_h * 2.0 / 3600.0, abs=1e-4)


def temperatures(oven: Standing) -> list[float]:
    assert oven.loop.run is not None
    return [getattr(s, "to_c", getattr(s, "at_c", 0.0)) for s in oven.loop.run.profile.segments]


def hours(oven: Standing) -> list[float]:
    assert oven.loop.run is not None
    return [s.hours for s in oven.loop.run.profile.segments if isinstance(s, Soak)]


def test_a_ramp_gets_another_end_and_the_soak_that_holds_it_goes_along() -> None:
    """Else who asks for less on the way up gets the old heat back when the ramp is done."""
    oven = under_way(RAMP)
    asked = hours(oven)
    said = "The ramp and the soak after it now go to 10.5 °C."
    assert oven.done("setpoint", celsius=10.5) == said
    assert temperatures(oven)[:3] == [10.5, 10.5, 10.0], "the next soak has its own"
    oven.done("setpoint", celsius=14.5)
    assert temperatures(oven)[:3] == [14.5, 14.5, 10.0]
    oven.done("skip")
    oven.done("setpoint", celsius=13)
    assert temperatures(oven)[:3] == [14.5, 13.0, 10.0], "what is over stays as it was"
    assert hours(oven) == asked, "another temperature, for as long"


@pytest.mark.parametrize(
    ("after", "aim_c"),
    [
        ({"kind": "soak", "at_c": 20.0, "hours": 1.0}, 20.0),
        ({"kind": "ramp", "to_c": 12.0, "rate_c_per_h": 9.0}, 12.0),
        ({"kind": "cool", "rate_c_per_h": 20.0, "below_c": 5.0}, 0.0),
    ],
)
def test_a_ramp_changes_alone_where_what_follows_does_not_hold_it(
    after: dict[str, Any], aim_c: float
) -> None:
    ramp = {"kind": "ramp", "to_c": 12.0, "rate_c_per_h": 20.0}
    oven = Standing()
    first = {"kind": "soak", "at_c": 10.0, "hours": 1.0}
    oven.tick(start(parse_profile({"name": "Three", "segments": [first, ramp, after]})))
    oven.done("skip")
    assert oven.done("setpoint", celsius=14.5) == "The ramp now goes to 14.5 °C."
    assert temperatures(oven) == [10.0, 14.5, aim_c]


def test_fahrenheit_is_shown_and_celsius_is_asked() -> None:
    oven = under_way(SOAK, SETTINGS.model_copy(update={"units": "F"}))
    assert oven.done("setpoint", celsius=20) == "The soak now goes to 68.0 °F."


# ---- refused --------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["skip", "extend", "setpoint"])
def test_nothing_is_steered_where_no_night_runs(name: str) -> None:
    assert Standing().refused(name, minutes=5, celsius=30) == "No night is running."


@pytest.mark.parametrize(
    ("segment", "name", "args", "sentence"),
    [
        (RAMP, "extend", {"minutes": 5}, "Only a soak has a length, and none"),
        (COOL, "extend", {"minutes": 5}, "Only a soak has a length, and none"),
        (COOL, "setpoint", {"celsius": 20}, "A cool-down has no temperature to hold"),
        (SOAK, "extend", {"minutes": -120}, "The soak has lasted"),
        (SOAK, "extend", {"minutes": 60 * 14}, "The night would last"),
        (
            SOAK,
            "extend",
            {"minutes": 60 * 80},
            "The soak would last 82 h 00 min and the longest allowed is a night of 16 h",
        ),
        (SOAK, "setpoint", {"celsius": 59.5}, "profile 'Hours', segment 2 (soak): 59.5 °C is"),
        (RAMP, "setpoint", {"celsius": 59.5}, "profile 'Hours', segment 1 (ramp): 59.5 °C is"),
        (SOAK, "setpoint", {"celsius": -1}, "segment 2: at_c is -1.0; it should be at least 0"),
        (SOAK, "setpoint", {"celsius": 81}, "segment 2: at_c is 81.0; it should be at most 80"),
    ],
)
def test_what_the_night_or_the_oven_does_not_bear(
    segment: int, name: str, args: dict[str, Any], sentence: str
) -> None:
    assert under_way(segment).refused(name, **args).startswith(sentence)


@pytest.mark.parametrize(("name", "key"), [("extend", "minutes"), ("setpoint", "celsius")])
@pytest.mark.parametrize(
    ("value", "found"),
    [(None, "missing"), ("30", "'30'"), (True, "True"), ([30], "[30]"), ({}, "{}"),
     (float("nan"), "nan"), (float("-inf"), "-inf"), (10**400, "1000"), (10**5000, "a number"),
     ("\ud800" * 99, "'\\ud800")],
    ids=lambda value: type(value).__name__,
)  # fmt: skip
def test_numbers_that_are_none(name: str, key: str, value: Any, found: str) -> None:
    message = under_way(SOAK).refused(name, **({} if value is None else {key: value}))
    assert message.startswith(f"{key} is ")
    assert found in message
    message.encode()
    assert len(message) < 120


def test_a_setpoint_above_what_a_parts_card_allows() -> None:
    part = {
        "name": "Lid", "card": "polyester-laminating", "catalyst_pct": 2.0, "resin_kg": 0.5,
        "sensor": "Lid",
    }  # fmt: skip
    from nightcure.cure.part import with_figures

    data = with_figures({**HOURS.model_dump(mode="json"), "parts": [part],
                         "box": {"volume_m3": 0.43, "evaporated_pct": 0.5}})  # fmt: skip
    data["parts"][0]["figures"]["highest_c"] = 30.0
    oven = Standing()
    oven.tick(start(parse_profile(data)))
    assert "its card allows 30 °C" in oven.refused("setpoint", celsius=35)
    oven.done("setpoint", celsius=29)


def test_a_night_that_is_near_its_longest_may_still_be_made_cooler() -> None:
    settings = changed(SETTINGS, limits={"longest_night_h": 4.5})
    oven = under_way(SOAK, settings)
    assert oven.refused("extend", minutes=120).startswith("The night would last")
    oven.done("setpoint", celsius=11)
    oven.done("extend", minutes=-5)


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        ({"limit_device_confirmed": False}, "Not started: confirm first that an independent"),
        ({"limit_device_confirmed": "yes"}, "Not started: confirm first that an independent"),
        ({"limit_device_confirmed": None}, "Not started: confirm first that an independent"),
        ({"cautions_accepted": False}, "Not started: the cautions have not been accepted"),
        ({"cautions_accepted": 1}, "Not started: the cautions have not been accepted"),
    ],
)
def test_a_start_whose_confirmation_is_no_plain_yes(args: dict[str, Any], sentence: str) -> None:
    oven = Standing()
    asked = {"profile": HOURS.model_dump(mode="json"), **ALL_CONFIRMED}
    assert oven.refused("start", **{**asked, **args}).startswith(sentence)
    oven.done("start", **asked)


@pytest.mark.parametrize("without", [["cautions_accepted"], ["limit_device_confirmed"],
                                     ["cautions_accepted", "limit_device_confirmed"]])  # fmt: skip
def test_a_start_whose_confirmation_is_missing(without: list[str]) -> None:
    """Fails before this: what was missing counted as given."""
    oven = Standing()
    args = {"profile": HOURS.model_dump(mode="json"), **ALL_CONFIRMED}
    message = oven.refused("start", **{k: v for k, v in args.items() if k not in without})
    assert message.endswith(f"The command does not say {' and '.join(without)}.")
    for key, sentence in CONFIRMED.items():
        assert (sentence in message) is (key in without)


@pytest.mark.parametrize("rate", [5e-324, 1e-300, 0.0099])
def test_a_ramp_without_end_is_refused(rate: float) -> None:
    """Fails before this for the first: its duration overflowed, and the tick with it."""
    oven = Standing()
    ramp = {"kind": "ramp", "to_c": 30.0, "rate_c_per_h": rate}
    profile = {"name": "Slow", "segments": [ramp, {"kind": "soak", "at_c": 30.0, "hours": 1.0}]}
    message = oven.refused("start", profile=profile, **ALL_CONFIRMED)
    assert message.endswith("it should be at least 0.01."), message


def test_a_start_and_a_stop_read_as_one_and_say_who() -> None:
    oven = Standing()
    began = oven.tick(start(HOURS)).events
    assert [e.message for e in began] == ["Started 'Hours' with the air at 9.0 °C, by test."]
    ended = oven.tick(word("stop")).events
    assert [e.message for e in ended] == ["Stopped by test."]
    idle = oven.tick(word("stop")).events
    assert [e.message for e in idle] == ["test: No night was running; the heater is off."]


# ---- to the bit -----------------------------------------------------------------------------

asks = st.sampled_from(
    [
        word("skip"),
        word("extend", minutes=7.3),
        word("extend", minutes=-40),
        word("setpoint", celsius=10.7),
        word("setpoint", celsius=23.1),
        word("stop"),
        start(HOURS),
        None,
    ]
)


@given(st.lists(st.tuples(asks, st.integers(1, 40)), min_size=2, max_size=14), st.data())
@hypo(max_examples=30, deadline=None)
def test_a_steered_night_restores_to_the_bit(steps: list[Any], data: Any) -> None:
    ticks: list[TickInputs] = [still(0.0, start(HOURS))]
    for command, quiet in steps:
        commands = () if command is None else (command,)
        ticks.append(still(2.0 * len(ticks), *commands))
        ticks += [still(2.0 * (len(ticks) + i)) for i in range(quiet)]
    at = data.draw(st.integers(1, len(ticks) - 1))
    one, two = Loop(SETTINGS), Loop(SETTINGS)
    for inputs in ticks[:at]:
        one.tick(inputs)
    two.restore(through_text(one))
    for inputs in ticks[at:]:
        assert two.tick(inputs) == one.tick(inputs)
    assert two.snapshot() == one.snapshot()


def test_a_fault_of_the_programs_own_in_a_command_ends_the_night_and_not_the_controller(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start()))
    loop.tick(still(2.0))
    assert loop.tick(still(4.0)).phase is Phase.RAMP

    def broken(*_: object) -> str:
        raise OverflowError("too large")

    monkeypatch.setitem(loop._command_handler._words, "setpoint", broken)
    d = loop.tick(still(6.0, word("setpoint", 7, to_c=30.0)))
    assert (d.phase, d.heater_on, d.contactor_on) == (Phase.IDLE, False, False)
    (outcome,) = d.outcomes
    assert (outcome.command_id, outcome.outcome) == (7, "refused")
    assert "OverflowError in 'setpoint'" in outcome.message
    assert any(e.kind == "night" and "OverflowError" in e.message for e in d.events)
