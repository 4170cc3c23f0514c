"""Why the heater may not be on: every reason, and no heat where there is one."""

from __future__ import annotations

import ast
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightcure.loop.loop import Loop
from nightcure.loop.why_off import why_off
from nightcure.measure.screening import Screened
from nightcure.record.off_sentences import FAULT_WORDS, off_sentence
from nightcure.settings import Settings
from nightcure.tick import Decision, Fault, OffCode, Phase, TickInputs, WhyOff, all_off
from tests.nights import SETTINGS, SHORT, night, start, still, word

BELIEVED = Screened((20.0,), (None,), 20.0)
LOST = Screened((None,), (Fault.CRC,), None, air_fault=Fault.CRC)
DOUBTED = BELIEVED._replace(doubted=True)
SILENT = LOST._replace(doubted=True)
ALLOWED: dict[str, Any] = {
    "phase": Phase.SOAK, "running": True, "trip": None, "stop_pressed": False, "resuming": False,
    "box_open": None, "heat_held_off": None, "armed": True, "contactor_closed": True,
}  # fmt: skip


@pytest.mark.parametrize(
    ("screened", "other", "code", "fields"),
    [
        (BELIEVED, {"stop_pressed": True}, OffCode.STOP_PRESSED, {}),
        (BELIEVED, {"trip": "exotherm"}, OffCode.TRIPPED, {"alarm": "exotherm"}),
        (BELIEVED, {"running": False, "phase": Phase.DONE}, OffCode.NO_NIGHT, {"phase": "done"}),
        (LOST, {"resuming": True}, OffCode.RESUMING, {}),
        (DOUBTED, {"box_open": WhyOff(OffCode.WET_RESIN)}, OffCode.WET_RESIN, {}),
        (BELIEVED, {"box_open": WhyOff(OffCode.BOX_OPEN)}, OffCode.BOX_OPEN, {}),
        (DOUBTED, {"armed": False}, OffCode.NOT_ARMED, {}),
        (DOUBTED, {}, OffCode.AIR_DOUBTED, {}),
        (DOUBTED, {"phase": Phase.COOL}, OffCode.AIR_DOUBTED, {}),
        (DOUBTED, {"heat_held_off": "unanswered"}, OffCode.AIR_DOUBTED, {}),
        (LOST, {}, OffCode.NO_AIR, {"fault": "crc"}),
        (BELIEVED, {"heat_held_off": "unanswered"}, OffCode.HEAT_CHECK, {"check": "unanswered"}),
        (BELIEVED, {"contactor_closed": False}, OffCode.CONTACTOR_OPEN, {}),
    ],
)
def test_each_reason_alone(
    screened: Screened, other: dict[str, Any], code: OffCode, fields: dict[str, str]
) -> None:
    assert why_off(BELIEVED, **ALLOWED) is None
    assert why_off(screened, **ALLOWED | other) == WhyOff(code, fields)


@given(
    screened=st.sampled_from([BELIEVED, LOST, DOUBTED, SILENT]),
    phase=st.sampled_from(Phase),
    trip=st.sampled_from([None, "exotherm"]),
    held=st.sampled_from([None, "unexplained"]),
    box=st.sampled_from([None, WhyOff(OffCode.WET_RESIN)]),
    flags=st.tuples(*[st.booleans()] * 5),
)
def test_heat_is_allowed_only_where_everything_says_so(
    screened: Screened,
    phase: Phase,
    trip: str | None,
    held: str | None,
    box: WhyOff | None,
    flags: tuple[bool, ...],
) -> None:
    running, pressed, resuming, armed, closed = flags
    off = why_off(
        screened, phase=phase, running=running, trip=trip, stop_pressed=pressed,
        resuming=resuming, box_open=box, heat_held_off=held, armed=armed, contactor_closed=closed,
    )  # fmt: skip
    sure = screened.control_c is not None and not screened.doubted
    may = sure and running and closed and trip is None and not pressed and not resuming and armed
    may = may and held is None and box is None
    assert (off is None) == may


# ---- in the loop ---------------------------------------------------------------------------------

RELAY_ALONE = Settings.model_validate({**SETTINGS.model_dump(mode="json"), "contactor": None})


def decisions(settings: Settings, *faults: str) -> Iterator[Decision]:
    _, ticks = night(SHORT, settings, faults=faults)
    for _, decision in ticks:
        yield decision


@pytest.mark.parametrize("settings", [SETTINGS, RELAY_ALONE], ids=["contactor", "relay alone"])
@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (None, set()),
        ("sensor-missing@20min+30s", {OffCode.NO_AIR}),
        ("sensor-missing@20min", {OffCode.NO_AIR, OffCode.TRIPPED}),
        ("sensor-crc@30min", {OffCode.NO_AIR, OffCode.TRIPPED}),
        ("sensor-out-of-box@40min", {OffCode.AIR_DOUBTED, OffCode.NO_AIR, OffCode.TRIPPED}),
        ("relay-welded@40min", {OffCode.HEAT_CHECK, OffCode.TRIPPED}),
        ("exotherm@30min", {OffCode.TRIPPED}),
    ],
)
def test_the_heater_is_never_on_where_there_is_a_reason(
    settings: Settings, fault: str | None, expected: set[OffCode]
) -> None:
    seen: set[OffCode] = set()
    rested = heated = 0
    for d in decisions(settings, *([fault] if fault else [])):
        assert not (d.heater_on and d.why_off is not None)
        if d.trip is not None:
            assert d.why_off == WhyOff(OffCode.TRIPPED, {"alarm": d.trip})
        if d.why_off is not None:
            seen.add(d.why_off.code)
        heated += d.heater_on
        rested += d.why_off is None and not d.heater_on and d.duty > 0.0
    expected = expected | ({OffCode.CONTACTOR_OPEN} if settings.contactor else set())
    doubts = {OffCode.AIR_DOUBTED, OffCode.HEAT_CHECK}
    assert seen - {OffCode.NO_NIGHT} <= expected | (doubts if fault else set())
    assert not expected - seen - {OffCode.AIR_DOUBTED, OffCode.NO_AIR}
    assert heated, "the night was heated"
    assert rested, "the off part of a window is no reason"


def test_what_a_person_does_has_its_reason_at_the_same_tick() -> None:
    loop = Loop(SETTINGS)
    assert loop.tick(still(0.0)).why_off == WhyOff(OffCode.NO_NIGHT, {"phase": "idle"})
    assert loop.tick(still(2.0, start(SHORT))).why_off == WhyOff(OffCode.CONTACTOR_OPEN)
    assert loop.tick(still(3.0)).why_off is None
    assert loop.tick(still(4.0, word("stop"))).why_off == WhyOff(
        OffCode.NO_NIGHT, {"phase": "idle"}
    )
    loop.tick(still(6.0, start(SHORT)))
    pressed = still(8.0)._replace(stop_pressed=True)
    assert loop.tick(pressed).why_off == WhyOff(OffCode.STOP_PRESSED)


def test_a_night_that_was_broken_off_waits_for_its_judgement() -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT)))
    loop.tick(still(2.0))
    again = Loop(SETTINGS)
    again.resume(json.loads(json.dumps(loop.snapshot())))
    blind = still(60.0, values=(None, 9.0, 9.0, 9.0))
    assert again.tick(blind).why_off == WhyOff(OffCode.RESUMING)
    assert again.tick(still(62.0)).why_off == WhyOff(OffCode.CONTACTOR_OPEN)
    assert again.tick(still(64.0)).why_off is None


def test_before_the_first_tick_nothing_is_on() -> None:
    assert all_off(3).why_off == WhyOff(OffCode.STARTING)
    assert not all_off(3).heater_on


numbers = st.one_of(st.none(), st.floats(-80.0, 150.0))


@given(
    st.lists(
        st.tuples(st.tuples(*[numbers] * 4), st.sampled_from(["", "", "", "start", "stop",
                  "skip", "reset"]), st.booleans(), st.sampled_from([2.0, 2.0, 2.0, 40.0, 700.0])),
        max_size=60,
    )
)  # fmt: skip
def test_whatever_comes_in_heat_has_no_reason_against_it(
    steps: list[tuple[tuple[float | None, ...], str, bool, float]],
) -> None:
    loop, t_s = Loop(SETTINGS), 0.0
    for values, asked, pressed, passes_s in [((9.0,) * 4, "start", False, 2.0), *steps]:
        t_s += passes_s
        commands = (start(SHORT) if asked == "start" else word(asked),) if asked else ()
        inputs: TickInputs = still(t_s, *commands, values=values)
        d = loop.tick(inputs._replace(stop_pressed=pressed))
        assert not d.heater_on or (d.why_off is None and d.contactor_on and d.fan_on)
        assert (d.trip is None) or d.why_off is not None


def test_one_line_allows_heat_and_it_asks() -> None:
    """`Heating.tick` is called once in the product, with what `why_off` said and nothing else."""
    package = Path(__file__).parents[2] / "controller" / "nightcure"
    callers = [
        (path.name, keyword)
        for path in package.rglob("*.py")
        for call in ast.walk(ast.parse(path.read_text(encoding="utf-8")))
        if isinstance(call, ast.Call)
        for keyword in [ast.unparse(k) for k in call.keywords if k.arg == "allowed"]
    ]
    assert callers == [("loop.py", "allowed=off is None")]


def test_every_reason_and_every_fault_has_its_words() -> None:
    sentences = {off_sentence(code, {}) for code in OffCode}
    assert len(sentences) == len(OffCode)
    assert all(s.endswith(".") and "(" not in s for s in sentences if "tripped" not in s)
    assert set(FAULT_WORDS) == set(Fault)
    assert off_sentence("no-air-temperature", {"fault": "crc"}).endswith("garbled readings.")
    assert off_sentence("no-night", {"phase": "done"}) == "The night is done."
    assert "of-a-later-version" in off_sentence("of-a-later-version", {})
