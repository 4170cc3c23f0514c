"""Each fault, at three times of the night: no heat within what its rule states, latched, with a
reason.

The bounds are those of the table in hardware-notes/interlocks.md: from the fault to the first tick
on which heat is not allowed (for a welded relay: the contactor open). What follows until the trip
are short pulses that test the doubt; their heat is bounded here, too.
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path

import pytest

from nightcure.oven.thermal import Mould
from nightcure.settings import Settings
from nightcure.simulate.faults import FAULTS
from nightcure.simulate.scenario import BOX
from nightcure.tick import Decision, Phase, TickInputs
from nightcure.units import parse_duration
from tests.nights import COARSE, SETTINGS, changed, night

NOTES = Path(__file__).parents[2] / "hardware-notes" / "interlocks.md"
TIMES = ("30min", "3h", "6h30")

#: fault -> (the interlocks that may trip, longest fault to no heat in s at each of TIMES).
EXPECTED: dict[str, tuple[set[str], tuple[float, float, float]]] = {
    "sensor-missing": ({"control-sensor-lost"}, (2, 2, 2)),
    "sensor-crc": ({"control-sensor-lost"}, (2, 2, 2)),
    "sensor-power-on-85": ({"control-sensor-lost"}, (2, 2, 2)),
    "sensor-frozen": ({"control-sensor-lost"}, (910, 910, 910)),
    "sensor-out-of-box": ({"heater-without-effect"}, (240, 60, 60)),
    "relay-welded": ({"heater-stuck-on"}, (900, 900, 900)),
    "relay-stuck-open": ({"heater-without-effect"}, (1200, 1200, 1200)),
    "heater-weak": ({"heater-without-effect", "heater-on-too-long"}, (1500, 1500, 1500)),
    "door-open": ({"heater-without-effect"}, (300, 60, 60)),
    "exotherm": ({"exotherm"}, (900, 900, 900)),
    "ledger-full": ({"ledger-lost"}, (64, 64, 64)),
}
#: What the pulses that test a doubt may give in all, s of full power.
PULSES_S = 5 * 240.0


def stopped_s(ticks: list[tuple[TickInputs, Decision]], fault: str, at_s: float) -> float:
    """From the fault to the first tick without heat, or (a relay that welds) without contactor."""
    for inputs, d in ticks:
        off = not d.contactor_on if fault == "relay-welded" else d.why_off is not None
        if inputs.mono_s >= at_s and off:
            return inputs.mono_s - at_s
    raise AssertionError("never")


def measured_s(fault: str) -> list[float]:
    """What the notes say was measured, at each of TIMES."""
    (row,) = re.findall(rf"^\| `{fault}` \|.*\| ([\d /]+) \|$", NOTES.read_text("utf-8"), re.M)
    return [float(s) for s in row.split(" / ")]


#: Faults whose answer hangs on the oven and on their size: `tests.campaign` judges them.
IN_THE_CAMPAIGN = {
    "sensor-jump", "sensor-drift", "sensor-noisy", "sensors-swapped", "contactor-welded",
}  # fmt: skip


def test_every_fault_has_its_expectation() -> None:
    assert EXPECTED.keys() | IN_THE_CAMPAIGN | {"ambient-drop", "clock-step"} == FAULTS.keys()


@pytest.mark.parametrize("fault", EXPECTED)
@pytest.mark.parametrize("time", TIMES)
def test_off_latched_and_said(fault: str, time: str) -> None:
    names, bounds = EXPECTED[fault]
    settings = SETTINGS if time == TIMES[0] else COARSE
    tick_s = settings.timing.tick_s
    result, ticks = night(settings=settings, faults=[f"{fault}@{time}"])
    f = result.figures
    if (fault, time) == ("heater-weak", "6h30"):
        # Full power for less than the longest it may be: the last soak is counted as it is.
        names = {a["name"] for a in f.alarms}
        assert (f.outcome, names) == ("done", {"heat-unanswered", "cannot-hold"})
        assert any(name == "not-reached" for _, name, _ in result.events)
        return
    assert f.outcome == "tripped"
    assert f.trip in names
    at_s = parse_duration(time)
    stopped = stopped_s(ticks, fault, at_s)
    assert stopped <= bounds[TIMES.index(time)] + tick_s - SETTINGS.timing.tick_s
    assert stopped == pytest.approx(measured_s(fault)[TIMES.index(time)], rel=0.1, abs=20.0)
    later = [d for i, d in ticks if i.mono_s >= at_s + stopped]
    if fault not in ("heater-weak", "door-open"):  # these answer: heated as far as can be
        assert tick_s * sum(d.heater_on for d in later) <= PULSES_S
    assert not f.heater_still_on
    last = ticks[-1][1]
    assert (last.heater_on, last.contactor_on, last.phase) == (False, False, Phase.TRIPPED)
    assert last.trip == f.trip
    said = [message for _, name, message in result.events if name == f.trip]
    assert said
    assert said[0].endswith(".")
    assert max(d.believed[0] or 0.0 for _, d in ticks) < SETTINGS.limits.air_c
    assert (f.part_max_c or 0.0) < SETTINGS.limits.part_c


@pytest.mark.parametrize("time", TIMES)
def test_a_clock_that_is_set_is_an_event(time: str) -> None:
    """People read the wall clock; nothing is timed by it, and no night ends with it."""
    result, _ = night(settings=COARSE, faults=[f"clock-step@{time}"])
    assert (result.figures.outcome, result.figures.alarms) == ("done", [])
    assert result.figures.night_s == night(settings=COARSE)[0].figures.night_s
    said = [message for _, name, message in result.events if name == "clock"]
    assert said == ["The wall clock moved by +3600.0 s."]


@pytest.mark.parametrize("time", TIMES)
def test_a_cold_snap_is_a_warning_with_what_can_be_held(time: str) -> None:
    """Falling ambient warns; what ends such a night is the longest time at full power (5 h), or its
    last soak, counted as warm as it is once the oven comes no nearer."""
    result, ticks = night(settings=COARSE, faults=[f"ambient-drop@{time}"])
    first = next(a for a in result.figures.alarms if a["name"] == "cannot-hold")
    assert first["time_s"] >= parse_duration(time)
    said = next(m for _, name, m in result.events if name == "cannot-hold")
    assert "this heater holds about" in said or "at full power" in said
    if result.figures.outcome == "done":
        assert time == "6h30"
        assert any(name == "not-reached" for _, name, _ in result.events)
        return
    assert result.figures.trip == "heater-on-too-long"
    assert [a["name"] for a in result.figures.alarms] == ["cannot-hold", "heater-on-too-long"]
    assert result.figures.fault_to_off_s is not None
    assert result.figures.fault_to_off_s <= SETTINGS.limits.longest_night_h * 3600
    assert not ticks[-1][1].heater_on


def test_a_welded_relay_without_a_contactor_is_said_to_be_still_on() -> None:
    data = SETTINGS.model_copy(update={"contactor": None})
    result, _ = night(settings=changed(data), faults=["relay-welded@3h"])
    assert result.figures.trip == "heater-stuck-on"
    assert result.figures.heater_still_on
    assert result.figures.fault_to_off_s is None
    assert any("Pull the heater's plug" in message for _, _, message in result.events)


@pytest.mark.parametrize(
    "passing", ["sensor-crc@3h+30s", "sensor-power-on-85@3h+20s", "sensor-missing@3h+40s",
                "door-open@3h+60s", "ledger-full@3h+50s"]
)  # fmt: skip
def test_what_passes_quickly_does_not_end_the_night(passing: str) -> None:
    result, _ = night(settings=COARSE, faults=[passing])
    assert result.figures.outcome == "done"
    # A box that is opened cools at once: heat pauses, and that is said.
    said = {"heat-unanswered"} if passing.startswith("door") else set()
    assert {a["name"] for a in result.figures.alarms} == said


@pytest.mark.parametrize("open_for", ["3min", "8min", "14min"])
def test_a_box_opened_over_warm_parts_delays_the_night_and_no_more(open_for: str) -> None:
    """Somebody looks at the laminate. Heat pauses within a minute, but for a pulse now and then."""
    result, ticks = night(settings=COARSE, faults=[f"door-open@3h+{open_for}"])
    f = result.figures
    assert f.outcome == "done"
    names = {a["name"] for a in f.alarms}
    assert "heat-unanswered" in names
    assert names <= {"heat-unanswered", "air-doubted"}
    whole = night(settings=COARSE)[0].figures.night_s
    assert whole < f.night_s < whole + 2.0 * 3600.0
    began_s = f.alarms[0]["time_s"]
    assert began_s - 3 * 3600.0 < 60.0
    shut_s = 3 * 3600.0 + parse_duration(open_for)
    meanwhile = [d for i, d in ticks if began_s <= i.mono_s < shut_s]
    assert meanwhile
    assert COARSE.timing.tick_s * sum(d.heater_on for d in meanwhile) <= PULSES_S
    assert len({d.setpoint_c for d in meanwhile}) == 1, "the profile stands still"
    assert max(d.believed[0] or 0.0 for _, d in ticks) < 38.0 + 1.5


def test_a_shed_far_colder_than_typed_is_no_open_box() -> None:
    """Nobody measures it, and 20 °C were typed in summer: the box, no colder than its shed, began
    at -8 °C. Fails before this: heat went unanswered, and paused."""
    data = COARSE.model_dump(mode="json")
    data["thermometers"] = [t for t in data["thermometers"] if t["role"] != "ambient"]
    data["model"]["assumed_ambient_c"] = 20.0
    result, _ = night(settings=Settings.model_validate(data), ambient=lambda _t: -8.0)
    assert result.figures.outcome == "done"
    assert not result.figures.alarms


def test_a_box_shut_over_parts_that_cannot_warm_its_air_goes_on() -> None:
    """Light parts in a box that was open for 25 minutes lie 12 K above its air, and
    the air comes no nearer until it is heated. Fails before this: the night ended after 90 min."""
    light = replace(BOX, moulds=(Mould("lid", 2000.0, 0.75), Mould("rim", 2000.0, 0.75)))
    result, _ = night(settings=COARSE, network=light, faults=["door-open@3h+25min"])
    assert "air-doubted" in {a["name"] for a in result.figures.alarms}
    assert result.figures.outcome == "done"


def test_a_box_left_open_ends_the_night_after_an_hour_and_a_half() -> None:
    result, _ = night(settings=COARSE, faults=["door-open@3h"])
    names = [a["name"] for a in result.figures.alarms]
    assert names[:2] == ["heat-unanswered", "air-doubted"]
    assert result.figures.trip == names[-1] == "heater-without-effect"
    assert result.figures.night_s == pytest.approx(3 * 3600.0 + 5444.0, abs=60.0)


@pytest.mark.parametrize("time", ["45min", "1h20", "3h"])
def test_a_sensor_that_hangs_outside_is_never_heated_for_again(time: str) -> None:
    """The parts cool down towards it, which must not make it believable."""
    result, ticks = night(settings=COARSE, faults=[f"sensor-out-of-box@{time}"])
    doubt_s = next(a["time_s"] for a in result.figures.alarms if a["name"] == "heat-unanswered")
    assert doubt_s - parse_duration(time) < 60.0
    on_s = COARSE.timing.tick_s * sum(d.heater_on for i, d in ticks if i.mono_s >= doubt_s)
    assert on_s <= PULSES_S, "a pulse now and then, none of them answered"
    assert result.figures.trip == "heater-without-effect"


def test_a_sensor_that_falls_out_in_the_cool_down_is_not_heated_for() -> None:
    """Two minutes of heat until it is doubted; then the night cools to its end by itself."""
    result, ticks = night(settings=COARSE, faults=["sensor-out-of-box@9h30"])
    assert result.figures.outcome == "done"
    assert [a["name"] for a in result.figures.alarms] == ["air-doubted"]
    after = [d for i, d in ticks if i.mono_s >= 9.5 * 3600.0]
    assert after[0].phase is Phase.COOL
    assert COARSE.timing.tick_s * sum(d.heater_on for d in after) <= 130.0
    assert not any(d.heater_on or d.contactor_on for d in after[40:])
