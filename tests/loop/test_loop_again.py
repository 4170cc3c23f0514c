"""The loop again: the same ticks give the same decisions, from the start or from a snapshot."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.loop.loop import Loop
from nightcure.record.codec import decision_fields, decode_inputs, encode_inputs
from nightcure.tick import Decision, Reading, TickInputs
from tests.nights import SETTINGS, SHORT, night, run, start, still, through_text
from tests.ticks import one_tick


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


@given(st.lists(one_tick, min_size=2, max_size=40), st.data())
@hypo(max_examples=60, deadline=None)
def test_whatever_came_in_a_snapshot_restores_to_the_bit(steps: list[Any], data: Any) -> None:
    """The fuzz again, cut at any tick: faults, jumps, backward clocks, odd commands."""
    at = data.draw(st.integers(1, len(steps) - 1))
    ticks, t_s = [still(0.0, start())], 0.0
    for dt_s, wall_s, read, command, silent_s, pressed in steps:
        t_s += dt_s
        reads = tuple(Reading(v, t_s + age, f) for v, age, f in read)
        given_words = () if command is None else (command,)
        ticks.append(
            TickInputs(t_s, 1000.0 + t_s + wall_s, reads, given_words, silent_s, 0.0, pressed)
        )
    one = Loop(SETTINGS)
    run(one, ticks[:at])
    two = Loop(one.settings)  # with the offsets that were asked for on the way
    two.restore(through_text(one))
    assert run(two, ticks[at:]) == run(one, ticks[at:])
    assert two.snapshot() == one.snapshot()
    assert two.settings == one.settings
