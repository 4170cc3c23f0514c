"""The odds with a slow maker's resin: what a generic card leaves open."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import pytest

from nightcure.plan.makers import SLOW_TIMES, with_slow_makers
from nightcure.plan.plan import IMPROVEMENT_NIGHTS, Plan, plan_night
from nightcure.plan.sampling import Spreads, draw
from nightcure.plan.tonight import Tonight, falling_to, tonight
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.simulate.scenario import PARTS_FILE
from tests.nights import SETTINGS

SHORT = {
    "name": "Short",
    "segments": [
        {"kind": "ramp", "to_c": 26.0, "rate_c_per_h": 15.0},
        {"kind": "soak", "at_c": 26.0, "hours": 2.0},
    ],
    "parts": [p.model_dump(mode="json") for p in load_profile(PARTS_FILE).parts],
}
PROFILE = parse_profile(SHORT)
SHED = falling_to(2.0, 36_000.0, 9.0)
TONIGHT = tonight(SETTINGS, PROFILE.parts, SHED, "demould", 5.5 * 3600.0)


def planned(night: Tonight, profile: Profile) -> Plan:
    with ThreadPoolExecutor(1) as one:
        return plan_night(
            night, profile, nights=IMPROVEMENT_NIGHTS, improvements=False, executor=one
        )


def with_figures(**changes: Any) -> Profile:
    """The profile with each part's figures changed by functions of them."""
    parts = []
    for p in PROFILE.parts:
        assert p.figures is not None
        update = {name: change(getattr(p.figures, name)) for name, change in changes.items()}
        parts.append(p.model_copy(update={"figures": p.figures.model_copy(update=update)}))
    return PROFILE.model_copy(update={"parts": tuple(parts)})


def slower(band: tuple[float, ...] | None) -> tuple[float, ...] | None:
    return None if band is None else tuple(SLOW_TIMES * t for t in band)


def test_the_odds_are_those_of_a_card_that_is_so_much_slower() -> None:
    """Checked by the long way: every time of the cards multiplied, the same nights drawn."""
    slow = with_figures(
        generic=lambda _: False,
        gel_min=lambda rows: tuple((c, SLOW_TIMES * t) for c, t in rows),
        opens_min=slower, closes_min=slower, demould_min=slower, full_min=slower,
    )  # fmt: skip
    plan = planned(TONIGHT, PROFILE)
    other = planned(replace(TONIGHT, parts=sown(slow)), slow)
    assert plan.slow_probability == pytest.approx(other.probability, abs=1e-9)
    assert plan.slow_probability is not None
    assert 0.0 < plan.slow_probability < plan.probability - 0.1, "it must matter to show anything"


def sown(profile: Profile) -> Any:
    return tonight(SETTINGS, profile.parts, SHED, "demould", TONIGHT.deadline_s).parts


def test_it_is_said_in_the_answer_and_in_the_figures() -> None:
    plan = planned(TONIGHT, PROFILE)
    assert plan.slow_probability is not None
    count = round(100.0 * plan.slow_probability)
    like, told = round(100.0 * plan.probability), plan.answer()
    assert f"in {like} of 100 nights if your resin is like its kind, in {count} if it is" in told
    assert not told.startswith("Yes"), "a card from memory"
    assert plan.as_json()["probability_if_slow_maker"] == round(plan.slow_probability, 4)
    assert any("is generic" in w for w in plan.warnings)


def test_a_card_of_one_s_own_leaves_nothing_open() -> None:
    own = with_figures(generic=lambda _: False)
    plan = planned(replace(TONIGHT, parts=sown(own)), own)
    assert plan.slow_probability is None
    assert plan.as_json()["probability_if_slow_maker"] is None
    assert "its kind" not in plan.answer()
    assert not any("generic" in w for w in plan.warnings)


def test_only_the_generic_part_is_slowed() -> None:
    first, second = PROFILE.parts
    assert first.figures is not None
    own = first.model_copy(update={"figures": first.figures.model_copy(update={"generic": False})})
    night = tonight(SETTINGS, (own, second), SHED, "demould", TONIGHT.deadline_s)
    sampled = draw(night, Spreads(), 10)
    slow = with_slow_makers(night, sampled)
    for name in ("gel_times", "weighing_times"):
        was, now = getattr(sampled, name), getattr(slow, name)
        assert now[:, 0] == pytest.approx(was[:, 0])
        assert now[:, 1] == pytest.approx(SLOW_TIMES * was[:, 1])
    assert slow.cure_z is sampled.cure_z
