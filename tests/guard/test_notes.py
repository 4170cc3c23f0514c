"""The hardware notes say what the program does: every rule, fault, reason and stated time."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from nightcure.guard import energy_balance, heat_check, heat_pulse, heat_response
from nightcure.guard.interlocks import (
    RULES,
    CannotHold,
    ControlSensorLost,
    Exotherm,
    FanFailed,
    Interlock,
    LedgerLost,
    OverTemperature,
    PartWarm,
    SensorLost,
    TickLate,
    TimeWentBack,
)
from nightcure.loop import box_open
from nightcure.loop.loop import NOT_RESUMED
from nightcure.measure import air_doubt, screening
from nightcure.settings import HOTTEST_C, OUTRUN_K, Limits, Role, Timing
from nightcure.simulate.faults import FAULTS
from nightcure.tick import INTERLOCK_WORDS, Fault
from tests.faults.test_rehearsed import EXPECTED, IN_THE_CAMPAIGN
from tests.guard.test_interlocks import FIRES
from tests.nights import SETTINGS

FOLDER = Path(__file__).parents[2] / "hardware-notes"
NOTES = (FOLDER / "interlocks.md").read_text("utf-8")
#: The cold snap: found by, and the longest night (test_rehearsed's own bound for it).
SNAP = ({"cannot-hold", "heater-on-too-long"}, (SETTINGS.limits.longest_night_h * 3600.0,) * 3)


def rows(heading: str) -> dict[str, list[str]]:
    """A table's rows by the name in their first cell."""
    table = NOTES.split(f"| {heading} |", 1)[1].split("\n\n", 1)[0]
    cells = [re.split(r"\s*\|\s*", line.strip("| ")) for line in table.splitlines()[2:]]
    return {c[0].strip("`").partition("`")[0]: c[1:] for c in cells}


#: What the row of a rule must say, from the rule itself.
SAID: dict[type[Interlock], list[str]] = {
    OverTemperature: [f"{OverTemperature.BACK_K:g} K below"],
    Exotherm: [
        f"for {Exotherm.FOR_S:g} s",
        f"by {Exotherm.RISE_K:g} K past what it was, and above the air by as much",
        f"for {Exotherm.OFF_S / 60:g} min",
    ],
    ControlSensorLost: [
        f"for {ControlSensorLost.AFTER_S:g} s",
        f"{ControlSensorLost.STOOD_S / 60:g} min",
    ],
    SensorLost: [f"for {SensorLost.AFTER_S:g} s"],
    CannotHold: [f"for {CannotHold.FOR_S:g} s", f"{CannotHold.FULL_S / 60:g} min at full power"],
    TickLate: [f"more than {TickLate.TRIP_S:g} s", f"`dead_man_s` ({Timing().dead_man_s:g} s)"],
    LedgerLost: [f"for {LedgerLost.AFTER_S:g} s"],
    TimeWentBack: ["the monotonic clock went back"],
}


def test_every_interlock_is_told_by_what_the_page_calls_it() -> None:
    for name, words in INTERLOCK_WORDS.items():
        assert f"| `{name}`: {words} |" in NOTES or f"`{name}`** ({words})" in NOTES
    assert set(INTERLOCK_WORDS) == {*(rule.name for rule in RULES), NOT_RESUMED}


def test_every_interlock_is_described_in_order_with_its_kind_and_times() -> None:
    told = rows("interlock")
    assert list(told) == [rule.name for rule in RULES]
    for rule in RULES:
        kind, acts_when, what_to_do, reset = told[rule.name]
        assert kind == ("trip" if rule.latching else "warning")
        assert what_to_do
        assert reset
        for words in SAID.get(rule, []):
            assert words in f"{acts_when} {reset}", f"{rule.name}: {words}"
    limits = Limits()
    assert f"`longest_heater_on_h` ({limits.longest_heater_on_h:g} h)" in NOTES
    assert f"`longest_night_h` ({limits.longest_night_h:g} h)" in NOTES


def test_the_heat_check_is_described_with_its_numbers() -> None:
    told = rows("interlock")
    assert f"{heat_check.MOST_PULSES} pulses" in told["heater-without-effect"][1]
    doubt = f"{heat_check.LONGEST_DOUBT_S / 60:g} min"
    assert doubt in told["heater-without-effect"][1]
    assert f"{heat_check.FAR_BELOW_K:g} K below" in told["heater-without-effect"][1]
    assert f"until {heat_check.WATCH_AT_REST_S / 60:g} min" in told["heat-unexplained"][1]
    times = "a third time within"
    assert heat_check.MOST_CUTS == 3
    assert f"{times} {heat_check.CUTS_WITHIN_S / 60:g} min" in told["heater-stuck-on"][1]
    assert f"{heat_check.STILL_RISING_K:g} K" in told["heater-stuck-on"][1]
    e = energy_balance
    for name, air_k, lag in (
        ("heat-unanswered", e.UNANSWERED_AIR_K, e.UNANSWERED_LAG),
        ("heat-unexplained", e.UNEXPLAINED_AIR_K, e.UNEXPLAINED_LAG),
    ):
        bound = f"more than {air_k:g} K of the air's capacity and {100 * lag:g} % of what full"
        assert bound in told[name][1]
    r = heat_response
    asked = f"risen by {r.SHORT_K:g} K less than {100 * r.ASKED_SHARE:g} % of what the heat given"
    assert asked in told["heat-unanswered"][1]
    assert f"{heat_check.CALM_S / 60:g} min of heat are" in told["heat-unanswered"][3]
    assert f"warms the air by more than {OUTRUN_K:g} K" in NOTES
    fan = told["fan-failed"][1]
    assert (
        f"for {FanFailed.FOR_S / 60:g} min of steady heat that is {FanFailed.MOST:g} times" in fan
    )
    card = f"(where a resin card tells the heat to expect: by that and {Exotherm.UNEXPECTED_K:g} K"
    assert card in told["exotherm"][1]
    assert f"for {PartWarm.FOR_S / 60:g} min" in told["part-warm"][1]


def test_an_open_box_is_described_with_its_numbers() -> None:
    assert f"once the air has risen by {box_open.RISEN_K:g} K again" in NOTES
    assert "or after an hour; if the box is open then" in NOTES
    assert box_open.LOOK_S == 3600.0
    assert f"after {box_open.LAY_S / 3600:g} h without a word the night is ended" in NOTES


@pytest.mark.parametrize("rule", [r for r in RULES if r.latching], ids=lambda r: r.name)
def test_reset_at_once_is_said_of_the_rules_that_do_not_hold_it_back(
    rule: type[Interlock],
) -> None:
    """The tick after the trip, with the same readings: does the rule still forbid a reset?"""
    holds = []
    for made, view, *_ in FIRES:
        if made is not rule:
            continue
        one, t_s = rule(SETTINGS), 0.0
        while one.look(view(t_s)) is None:
            t_s += 2.0
        after = view(t_s + 2.0)._replace(
            night=False, heated=False, phase="tripped", heater_on=False, duty=0.0, setpoint_c=None
        )
        holds.append(one.look(after) is not None)
    told = rows("interlock")[rule.name][3]
    assert told.startswith("at once") == (False in holds), told
    assert (told == "at once" or told.startswith("at once, if")) == (True not in holds), told


def test_every_fault_has_the_time_it_is_held_to() -> None:
    told = rows("fault")
    expected = {**EXPECTED, "ambient-drop": SNAP}
    assert told.keys() == expected.keys() == FAULTS.keys() - IN_THE_CAMPAIGN - {"clock-step"}
    for name, (found_by, bounds_s) in expected.items():
        assert set(told[name][0].split(", ")) == found_by
        assert told[name][1] == " / ".join(f"{b:g}" for b in bounds_s)
        measured_s = [float(s) for s in told[name][2].split(" / ")]
        assert all(m <= b for m, b in zip(measured_s, bounds_s, strict=True)), name


def test_every_reason_against_a_reading_is_explained_with_its_numbers() -> None:
    told = rows("reason")
    assert told.keys() == {f.value for f in Fault}
    s = screening
    for name, words in {
        "power-on": f"{s.POWER_ON_C:g} °C",
        "rate": f"more than {s.JUMP_C:g} K, and more than {s.FASTEST_K_PER_S[Role.AIR]:g} K/s in "
        f"air or {s.FASTEST_K_PER_S[Role.PART]:g} K/s in a part; {s.SETTLED_READINGS} readings",
        "too-hot": f"past the {HOTTEST_C:g} °C that it can measure",
        "frozen": f"for {s.FROZEN_S:g} s in which the heater was on for more than "
        f"{s.FROZEN_ON_S:g} s",
        "stale": f"older than {s.STALE_S:g} s; with more than {s.STALE_S / s.ONE_BY_ONE_S:g} "
        f"thermometers {s.ONE_BY_ONE_S:g} s for each",
    }.items():
        assert words in told[name][0]


def test_the_doubt_of_the_air_is_told_with_its_numbers() -> None:
    s, told = air_doubt, rows("interlock")["air-doubted"][1]
    for words in (
        f"{s.DISAGREES_C:g} K apart ({s.PAUSED_DISAGREES_C:g} K once they have agreed again)",
        f"warmed by {100 * s.WARMED_SHARE:g} %",
        f"{s.DISAGREES_C:g} K below every part ({s.PAUSED_DISAGREES_C:g} K where heat is or just "
        f"was held off; while the oven is let cool: and {s.AMISS_C:g} K below the setpoint), for "
        f"{s.DISAGREES_S:g} s",
        f"{100 * heat_pulse.DOUBTED_SHARE:g} % of what is due",
        f"risen by {s.RISEN_C:g} K",
    ):
        assert words in told


def test_the_refused_resume_is_told_with_its_settings() -> None:
    timing = Timing()
    assert f"**`{NOT_RESUMED}`**" in NOTES
    assert f"`resume_within_min` ({timing.resume_within_min:g} min; by the oven's fall" in NOTES
    assert f"`resume_lost_c` ({timing.resume_lost_c:g} K)" in NOTES


def test_links_lead_somewhere_and_every_note_is_listed() -> None:
    notes = sorted(FOLDER.glob("*.md"))
    assert len(notes) >= 9
    listed = (FOLDER / "README.md").read_text("utf-8")
    for note in notes:
        assert note.name == "README.md" or f"({note.name})" in listed
        for link in re.findall(r"\]\(([^)#]+)\)", note.read_text("utf-8")):
            assert (FOLDER / link).exists(), f"{note.name}: {link}"
