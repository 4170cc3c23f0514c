"""A gel cup told to the loop: kept through restarts, dated parts, a sentence for what cannot be."""

from __future__ import annotations

import json
import math
from typing import Any

import pytest

from nightcure.cure.card import load_card
from nightcure.cure.factors import card_prior
from nightcure.loop.loop import Loop
from nightcure.profile import Profile
from nightcure.record.codec import decision_fields, decode_inputs, encode_inputs
from nightcure.tick import Command, Decision, TickInputs
from tests.nights import SETTINGS, readings, start, word

from .demould_night import edited

FIGURES = load_card("polyester-laminating").figures(2.0).model_dump(mode="json")
CUP = {"batch": "PL 2231", "figures": FIGURES, "grams": 50.0, "stands_c": 20.0, "catalyst_pct": 2.0}


def told(what: str, number: int = 5, **more: Any) -> Command:
    return word("cup", number, what=what, **more)


def tick(loop: Loop, t_s: float, *commands: Command, air_c: float = 20.0) -> Decision:
    values = [air_c] * len(SETTINGS.thermometers)
    return loop.tick(TickInputs(t_s, 1.7e9 + t_s, readings(t_s, *values), commands))


def said(decision: Decision) -> str:
    assert decision.outcomes[0].outcome == "done", decision.outcomes[0].message
    return decision.outcomes[0].message


def waited(loop: Loop, from_s: float, minutes: float, air_c: float = 20.0) -> float:
    for _ in range(round(30 * minutes)):
        from_s += 2.0
        tick(loop, from_s, air_c=air_c)
    return from_s


def night(batch: str | None = "PL 2231") -> Profile:
    profile = edited(lid={"batch": batch}, rim={"batch": "other", "start_h": 0.0})
    parts = tuple(
        p.model_copy(update={"prior": card_prior(p.figures)}) for p in profile.parts if p.figures
    )
    return profile.model_copy(update={"parts": parts})


def test_a_cup_from_its_mixing_to_the_gel() -> None:
    loop = Loop(SETTINGS)
    assert "by its card it gels about 15 min after mixing" in said(
        tick(loop, 0.0, told("mixed", cup=CUP))
    )
    now_s = waited(loop, 0.0, 24)
    d = tick(loop, now_s + 2.0, told("gelled"))
    assert "24 min after mixing" in said(d)
    assert "It dates the gel; of the demould it says little." in said(d)
    (evidence,) = d.evidence
    assert (evidence.batch, evidence.kind, evidence.found["gelled"]) == ("PL 2231", "cup", True)
    low, likely, high = evidence.found["gel_factor"]
    assert low < likely < high
    assert 1.3 < likely < 1.6
    assert tick(loop, now_s + 4.0).evidence == ()


@pytest.mark.parametrize(
    ("cup", "sentence"),
    [
        ({**CUP, "grams": 0.5}, "grams"),
        ({**CUP, "stands_c": 2.0}, "no gel times below"),
        ({**CUP, "sensor": "Attic"}, "there is no thermometer 'Attic'"),
        ({**CUP, "sensor": "Lid"}, "not both"),
        ({**CUP, "stands_c": None}, "not both"),
        ({**CUP, "held": "probe"}, "name that thermometer"),
        ({**CUP, "figures": load_card("epoxy-fast").figures(None).model_dump(mode="json")}, "film"),
        ([], "cup"),
        (None, "cup"),
    ],
)
def test_a_cup_that_cannot_be_is_refused_with_what_would_be_right(cup: Any, sentence: str) -> None:
    loop = Loop(SETTINGS)
    outcome = tick(loop, 0.0, told("mixed", cup=cup)).outcomes[0]
    assert outcome.outcome == "refused"
    assert sentence in outcome.message
    assert loop.cure.cups.cups == {}


@pytest.mark.parametrize("args", [{"what": "gelled"}, {"what": 7, "batch": "x"}, {}])
def test_what_is_told_of_no_cup_is_refused(args: dict[str, Any]) -> None:
    outcome = tick(Loop(SETTINGS), 0.0, word("cup", 1, **args)).outcomes[0]
    assert outcome.outcome == "refused"
    assert "There is no gel cup" in outcome.message


def test_a_restart_keeps_what_was_seen_and_gives_up_what_was_not() -> None:
    loop = Loop(SETTINGS)
    tick(loop, 0.0, told("mixed", cup=CUP), told("mixed", 6, cup={**CUP, "batch": "second"}))
    now_s = waited(loop, 0.0, 20)
    said(tick(loop, now_s, told("gelled", batch="PL 2231")))
    state = json.loads(json.dumps(loop.snapshot()))
    again = Loop(SETTINGS)
    again.resume(state)
    d = tick(again, 5.0)
    assert list(again.cure.cups.cups) == ["PL 2231"]
    assert ["second" in e.message for e in d.events if e.name == "cup-given-up"] == [True]


def gel_s(loop: Loop, name: str) -> tuple[float | None, ...]:
    assert loop.cure.clocks is not None
    return loop.cure.clocks.beliefs.told(loop.cure.cups)[name].gelled_s


def test_a_slow_cup_dates_the_parts_of_its_batch_and_no_other() -> None:
    loop = Loop(SETTINGS)
    tick(loop, 0.0, told("mixed", cup={**CUP, "minutes_ago": 10.0}), start(night(), 6))
    now_s = waited(loop, 0.0, 5)
    before = gel_s(loop, "Lid"), gel_s(loop, "Rim")
    now_s = waited(loop, now_s, 13)
    d = tick(loop, now_s + 2.0, told("gelled"))
    said(d)
    assert [b.name for b in d.beliefs] == ["Lid"]
    assert d.beliefs[0].seen == ("cup",)
    after = gel_s(loop, "Lid"), gel_s(loop, "Rim")
    assert after[0][1] > 1.15 * before[0][1]  # type: ignore[operator]
    assert after[1] == pytest.approx(before[1], rel=0.05)
    widths = [math.log(dates[0][2] / dates[0][0]) for dates in (before, after)]  # type: ignore[operator]
    assert widths[1] < 0.65 * widths[0]
    assert any("Lid's gel cup: it gels" in e.message for e in d.events)


def test_a_night_with_a_cup_replays_to_the_bit_and_restores_in_the_middle() -> None:
    def commands(i: int) -> tuple[Command, ...]:
        if i == 0:
            return (told("mixed", 1, cup=CUP), start(night(), 2))
        return {500: (told("liquid", 3),), 800: (told("gelled", 4),)}.get(i, ())

    whole, ticks, state = Loop(SETTINGS), [], {}
    for i in range(1300):
        air_c = 20.0 + min(i, 600) / 60.0
        values = readings(2.0 * i, air_c, air_c - 0.5, air_c - 0.7, 9.0)
        inputs = TickInputs(
            2.0 * i, 1.7e9 + 2.0 * i, values[: len(SETTINGS.thermometers)], commands(i)
        )
        ticks.append((inputs, whole.tick(inputs)))
        if i == 620:
            state = json.loads(json.dumps(whole.snapshot(), allow_nan=False))
    assert sum(len(d.beliefs) for _, d in ticks) >= 6
    fresh, later = Loop(SETTINGS), Loop(SETTINGS)
    later.restore(state)
    for i, (inputs, decision) in enumerate(ticks):
        kept, _ = decode_inputs(inputs.mono_s, inputs.wall_s, encode_inputs(inputs))
        assert decision_fields(fresh.tick(kept)) == decision_fields(decision), i
        if i > 620:
            assert decision_fields(later.tick(kept)) == decision_fields(decision), i
    assert later.snapshot() == fresh.snapshot() == whole.snapshot()


def test_what_is_believed_makes_no_guard_less_careful() -> None:
    """The heat a part may give off, by which the exotherm trips, is the card's, cup or not."""
    seen: list[list[dict[int, float]]] = []
    for with_cup in (False, True):
        loop = Loop(SETTINGS)
        first = (told("mixed", 1, cup={**CUP, "minutes_ago": 15.0}),) if with_cup else ()
        tick(loop, 0.0, *first, start(night(), 2))
        second = (told("gelled", 3),) if with_cup else ()
        assert all(o.outcome == "done" for o in tick(loop, 2.0, *second).outcomes)
        seen.append([])
        for i in range(2, 2000):
            tick(loop, 2.0 * i, air_c=30.0)
            seen[-1].append(loop.cure.heat_k())
    assert seen[0] == seen[1]
    assert max(k for row in seen[0] for k in row.values()) > 1.0
