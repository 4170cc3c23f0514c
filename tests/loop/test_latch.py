"""The loop and the trip latch on the disk: no mark, no heat; what a start finds, it stays in."""

from __future__ import annotations

import pytest

from nightcure.loop.loop import Loop
from nightcure.record.codec import decode_inputs, encode_inputs
from nightcure.tick import Held, Mark, OffCode, Phase, TickInputs, WhyOff
from tests.nights import SETTINGS, SHORT, start, still, through_text, word

HELD = Held("over-temperature", "The air is at 62.0 °C. That was before this start.")


def test_without_the_mark_nothing_is_on_and_the_night_trips_after_a_minute() -> None:
    """Fails before this: nothing asked for a mark."""
    loop, t_s = Loop(SETTINGS), 0.0
    d = loop.tick(still(t_s, start(SHORT))._replace(armed=False))
    assert d.mark is Mark.ARMED, "it is asked for with the first decision"
    while d.trip is None:
        assert d.why_off == WhyOff(OffCode.NOT_ARMED)
        assert not d.heater_on
        assert not d.contactor_on
        t_s += 2.0
        assert t_s < 80.0
        d = loop.tick(still(t_s)._replace(armed=False))
    assert t_s >= 60.0
    assert d.trip == "ledger-lost"
    assert d.mark is Mark.TRIPPED
    assert "trip latch could not be written" in next(e.message for e in d.events)


def test_a_mark_that_comes_late_is_no_trip_and_one_that_goes_ends_the_heat() -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT))._replace(armed=False))
    for i in range(1, 20):
        assert not loop.tick(still(2.0 * i)._replace(armed=False)).heater_on
    assert loop.tick(still(40.0)).why_off == WhyOff(OffCode.CONTACTOR_OPEN)
    assert loop.tick(still(42.0)).heater_on
    d = loop.tick(still(44.0)._replace(armed=False))
    assert (d.heater_on, d.contactor_on) == (False, False)
    for i in range(30):
        d = loop.tick(still(46.0 + 2.0 * i, values=(9.0 + 0.01 * i, 9.0, 9.0, 9.0)))
    assert d.trip is None
    assert d.why_off is None


def test_how_long_the_mark_is_missing_outlasts_a_restart() -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(SHORT))._replace(armed=False))
    for i in range(1, 25):
        loop.tick(still(2.0 * i)._replace(armed=False))
    second = Loop(SETTINGS)
    second.restore(through_text(loop))
    for i in range(25, 40):
        inputs = still(2.0 * i)._replace(armed=False)
        assert second.tick(inputs) == loop.tick(inputs)
    assert loop.phase is Phase.TRIPPED


def test_at_rest_no_mark_is_asked_for() -> None:
    loop = Loop(SETTINGS)
    for i in range(60):
        d = loop.tick(still(2.0 * i)._replace(armed=False))
        assert (d.mark, d.trip) == (Mark.CLEAR, None)


@pytest.mark.parametrize("night", [True, False])
def test_a_ledger_that_is_gone_trips_a_night_at_once(night: bool) -> None:
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, *([start(SHORT)] if night else [])))
    loop.tick(still(2.0))
    d = loop.tick(still(4.0)._replace(ledger_gone=True))
    assert d.trip == ("ledger-lost" if night else None)
    assert not d.heater_on


@pytest.mark.parametrize("found", ["over-temperature", "a-rule-of-another-version", None])
def test_what_a_start_finds_holds_until_a_reset(found: str | None) -> None:
    loop = Loop(SETTINGS)
    name = found or "resume-refused"
    d = loop.tick(still(0.0, start(SHORT))._replace(held=HELD._replace(trip=found)))
    assert (d.phase, d.trip, d.mark) == (Phase.TRIPPED, name, Mark.TRIPPED)
    assert d.outcomes[0].outcome == "refused"
    assert (d.events[0].kind, d.events[0].name) == ("trip", name)
    assert HELD.message in d.events[0].message
    for i in range(1, 200):
        d = loop.tick(still(2.0 * i, *([word("acknowledge", i)] if i == 9 else [])))
        assert (d.trip, d.heater_on, d.contactor_on) == (name, False, False)
    again = Loop(SETTINGS)
    again.resume(through_text(loop))
    d = again.tick(still(410.0, word("reset", 400)))
    assert (d.trip, d.phase, d.mark) == (None, Phase.IDLE, Mark.CLEAR)


def test_a_cause_that_still_stands_forbids_the_reset() -> None:
    hot = (66.0, 66.0, 66.0, 66.0)
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, values=hot)._replace(held=HELD))
    for i in range(1, 30):
        d = loop.tick(still(2.0 * i, *([word("reset", i)] if i == 25 else []), values=hot))
        if i == 25:
            assert d.outcomes[0].outcome == "refused"
    assert loop.phase is Phase.TRIPPED


def test_it_is_in_the_record() -> None:
    plain = still(2.0)
    for inputs in (
        plain,
        plain._replace(armed=False),
        plain._replace(ledger_gone=True),
        plain._replace(held=HELD),
        TickInputs(2.0, 3.0, plain.readings, (word("stop"),), 4.0, 5.0, True, False, True, HELD),
    ):
        text = encode_inputs(inputs)
        assert decode_inputs(inputs.mono_s, inputs.wall_s, text) == (inputs, None)
    assert '"a"' not in encode_inputs(plain), "a plain tick takes no more room than before"
