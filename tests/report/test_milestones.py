"""What the page calls hard the record calls hard, and what is unsure here is unsure there."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.cure.cure_clock import When
from nightcure.cure.factors import card_prior
from nightcure.cure.part import with_figures
from nightcure.daemon.status import live_state
from nightcure.profile import Profile, parse_profile
from nightcure.record.milestones import perhaps, recorded_milestones, told_milestones
from nightcure.report.next_steps import next_steps
from nightcure.report.sheet import Extras, sheet
from nightcure.tick import PartBelief, Phase
from tests.nights import SHORT
from tests.recording import RecordedOven

from .reading import facts_of, words

#: Mixed so long before the start, in a corner at 20 °C.
BEFORE_H = (0.0, 2.0, 4.0, 6.0, 8.0, 10.0, 14.0)


def night() -> Profile:
    """Parts of one card, of any maker, mixed at different hours before the box was shut."""
    part = {"card": "polyester-laminating", "catalyst_pct": 2.0, "resin_kg": 0.1, "sensor": "Lid"}
    parts = [{**part, "name": f"P{h:g}", "start_h": -h, "before_c": 20.0} for h in BEFORE_H]
    box = {"volume_m3": 0.43, "evaporated_pct": 0.5}
    made = parse_profile(
        with_figures({**SHORT.model_dump(mode="json"), "parts": parts, "box": box})
    )
    known = []
    for p in made.parts:
        assert p.figures is not None
        known.append(p.model_copy(update={"prior": card_prior(p.figures)}))
    return made.model_copy(update={"parts": tuple(known)})


def state(part: dict[str, Any], wall_s: float) -> str:
    """A part's *hard* as the page's first screen has it."""
    hard = next(m for m in part["milestones"] if m["name"] == "demould")
    if hard["at_s"] is not None and hard["at_s"] <= wall_s:
        return "hard"
    return "perhaps" if hard["low_s"] is not None and hard["low_s"] <= wall_s else "not yet"


@pytest.mark.parametrize("faults", [[], ["sensor-missing@40min"]], ids=["cools", "tripped"])
def test_the_morning_says_what_the_first_screen_says(faults: list[str], tmp_path: Path) -> None:
    """Fails before this: what came by its card before the night was *hard, by its card* here and
    *perhaps already* there.
    """
    path = tmp_path / "n.ledger"
    with RecordedOven(path, faults=faults) as oven:
        oven.run(3600.0, {}, night())
        while not faults and oven.loop.phase is not Phase.COOL:
            oven.run(oven.t_s + 60.0)
        decision = oven.tick()
        while not decision.cure:
            decision = oven.tick()
        inputs_s = oven.t_s - 2.0
        assert decision.phase is (Phase.TRIPPED if faults else Phase.COOL)
        live = live_state(oven.settings, oven.loop, _at(oven, inputs_s), decision, 1.0)
    now = {p["name"]: state(p, live["wall_s"]) for p in live["cure"]}
    facts = facts_of(path)
    morning = {}
    for p in facts.parts:
        hard = next(m for m in p.milestones if m.name == "demould")
        reached = hard.reached_wall_s is not None
        morning[p.name] = "hard" if reached else "perhaps" if hard.perhaps else "not yet"
    assert morning == now
    assert set(now.values()) == {"hard", "perhaps", "not yet"}, "to show anything"
    steps = {s.part: s for s in next_steps(facts)}
    for name, how in now.items():
        assert ("perhaps hard" in steps[name].foretold) == (how == "perhaps")
        assert ("touch it before you pull" in steps[name].sentence) == (how == "perhaps")
        assert ("take it out of its mould" in steps[name].sentence) == (how == "hard")
    assert "ready to leave its mould: perhaps, not surely" in words(sheet(facts, Extras()))


def _at(oven: RecordedOven, t_s: float) -> Any:
    from tests.nights import still

    return still(t_s)._replace(wall_s=1.7e9 + t_s)


SURE = PartBelief("Lid", (1,) * 3, (1,) * 3, (10.0, 20.0, 30.0), (90.0, 110.0, 140.0), ())
CARD = [
    When("gelled", 20.0, 18.0, 22.0),
    When("laminate-opens", 24.0, 20.0, 28.0),
    When("demould", 100.0, 95.0, 120.0),
    When("full", 110.0, 100.0, 130.0),
]


def test_what_is_to_come_has_the_wider_range_and_what_is_unsure_its_sure_date() -> None:
    at = {w.name: w for w in told_milestones(CARD, SURE, (), 15.0)}
    assert at["gelled"] == When("gelled", 20.0, 10.0, 30.0)
    at = {w.name: w for w in told_milestones(CARD, SURE, ("demould",), 112.0)}
    assert at["demould"] == When("demould", 140.0, 100.0, None)
    assert perhaps(at["demould"], 112.0)
    assert at["full"].at_s == 140.0, "not cured through before it is hard"
    late = SURE._replace(gelled_s=(10.0, 20.0, None))
    at = {w.name: w for w in told_milestones(CARD, late, ("gelled",), 25.0)}
    assert (at["gelled"].at_s, at["laminate-opens"].at_s) == (None, None), "it may be wet"


def test_what_the_loop_has_told_stays_told() -> None:
    """The belief may waver afterwards; the soak was ended on it."""
    at = {w.name: w for w in told_milestones(CARD, SURE, (), 112.0)}
    assert at["demould"].at_s == 100.0
    rows = [list(w) for w in CARD]
    for told, at_s in ((("demould",), 100.0), ((), 140.0)):
        found = recorded_milestones(rows, list(SURE), told, 112.0)
        assert next(w.at_s for w in found if w.name == "demould") == at_s


def test_without_a_belief_the_card_stands() -> None:
    assert told_milestones(CARD, None, (), 112.0) == CARD
