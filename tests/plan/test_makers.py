"""The odds with a slow maker's resin: what a generic card leaves open."""

from __future__ import annotations

import math
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from nightcure.cure.factors import MAKERS_SD
from nightcure.plan.makers import MAKER_NIGHTS, MakerOdds, of_maker
from nightcure.plan.nights import run_nights
from nightcure.plan.plan import Plan, plan_night
from nightcure.plan.sampling import SLOW_TIMES, Spreads, draw
from nightcure.plan.tonight import Tonight, falling_to, tonight
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.simulate.scenario import PARTS_FILE
from tests.nights import SETTINGS
from tests.plan_campaign import by_makers
from tests.plan_campaign import drawn as drawn_night

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
        return plan_night(night, profile, nights=MAKER_NIGHTS, improvements=False, executor=one)


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


@pytest.fixture(scope="module")
def generic() -> Plan:
    """Tonight on generic cards."""
    return planned(TONIGHT, PROFILE)


def test_a_slow_makers_odds_are_those_of_a_card_that_is_so_much_slower(generic: Plan) -> None:
    """Checked by the long way: every time of the cards multiplied, the same nights drawn."""
    slow = with_figures(
        gel_min=lambda rows: tuple((c, SLOW_TIMES * t) for c, t in rows),
        opens_min=slower, closes_min=slower, demould_min=slower, full_min=slower,
    )  # fmt: skip
    plan = generic
    other = planned(replace(TONIGHT, parts=sown(slow)), slow)
    assert plan.makers is not None
    assert other.makers is not None
    assert plan.makers.slow == pytest.approx(other.makers.like, abs=1e-9)
    assert plan.makers.like == pytest.approx(other.makers.quick, abs=1e-9)
    assert 0.0 < plan.makers.slow < plan.makers.like - 0.1, "it must matter to show anything"


def test_the_stated_odds_have_every_maker_in_them(generic: Plan) -> None:
    """Between the odds for one maker's; by hand: the shares of a few makers, weighed together.

    Fails before this: they were those of a resin like its kind.
    """
    plan = generic
    assert plan.makers is not None
    assert plan.makers.slow < plan.probability < plan.makers.like
    # Gauss and Hermite's three points: the mean of a normal's function to the fifth degree.
    times = math.exp(Spreads().maker * 3.0**0.5)
    shares = []
    for factor in (1.0 / times, 1.0, times):
        sampled = of_maker(TONIGHT, plan.sampled, factor)
        nights = run_nights(TONIGHT, sampled, [plan.profile], TONIGHT.deadline_s + 60.0)
        shares.append(float(np.mean(nights.met(TONIGHT.deadline_s))))
    assert plan.probability == pytest.approx(np.dot(shares, (1 / 6, 2 / 3, 1 / 6)), abs=0.06)


def test_makers_differ_threefold() -> None:
    """Common practice, no source: threefold, 95 of a hundred; the same on the night's own page."""
    assert Spreads().maker == MAKERS_SD
    drawn = draw(TONIGHT, Spreads(), 4000, 3).maker_times
    low, high = np.quantile(drawn[:, 0], (0.025, 0.975))
    assert high / low == pytest.approx(3.0, rel=0.05)
    assert np.array_equal(drawn[:, 0], drawn[:, 1]), "one card, one tin"


@pytest.mark.parametrize("index", [3, 7])
def test_the_odds_are_true_of_any_makers_resin_and_told_wide_off_the_centre(index: int) -> None:
    """A sample of python -m tests.plan_campaign makers: 300 hidden nights by another program."""
    judged = by_makers(drawn_night(index), hidden=300, nights=250)
    assert abs(judged.off) <= 0.08
    assert judged.told_wide
    assert judged.within[0] == pytest.approx(0.8, abs=0.1)


def sown(profile: Profile) -> Any:
    return tonight(SETTINGS, profile.parts, SHED, "demould", TONIGHT.deadline_s).parts


def test_it_is_said_in_the_answer_and_in_the_figures(generic: Plan) -> None:
    plan = generic
    assert plan.makers is not None
    like, slow = round(100.0 * plan.makers.like), round(100.0 * plan.makers.slow)
    told = plan.answer()
    assert (
        f"in {round(100.0 * plan.probability)} of 100 nights: {like} if your resin is like its "
        f"kind, {slow} if it is slow; a gel cup settles it." in told
    )
    assert not told.startswith("Yes"), "a card from memory"
    data = plan.as_json()
    assert data["probability_if_slow_maker"] == round(plan.makers.slow, 4)
    assert data["probability_if_like_its_kind"] == round(plan.makers.like, 4)
    assert any("is generic" in w for w in plan.warnings)


def test_a_quick_resin_is_spoken_of_where_it_spoils_the_night() -> None:
    """Past the time to laminate upon it before the deadline, or too hot."""
    assert MakerOdds(0.97, 0.48, 0.99).sentence() == (
        "97 if your resin is like its kind, 48 if it is slow"
    )
    assert MakerOdds(0.97, 0.98, 0.2).sentence().endswith("98 if it is slow, 20 if it is quick")


def test_a_card_of_one_s_own_leaves_nothing_open() -> None:
    own = with_figures(generic=lambda _: False)
    plan = planned(replace(TONIGHT, parts=sown(own)), own)
    assert plan.makers is None
    assert plan.as_json()["probability_if_slow_maker"] is None
    assert "its kind" not in plan.answer()
    assert not any("generic" in w for w in plan.warnings)
    assert np.ptp(plan.sampled.maker_times) == 0.0


def test_only_the_generic_part_is_slowed() -> None:
    first, second = PROFILE.parts
    assert first.figures is not None
    own = first.model_copy(update={"figures": first.figures.model_copy(update={"generic": False})})
    night = tonight(SETTINGS, (own, second), SHED, "demould", TONIGHT.deadline_s)
    sampled = draw(night, Spreads(), 10)
    assert np.all(sampled.maker_times[:, 0] == 1.0)
    assert np.ptp(sampled.maker_times[:, 1]) > 0.0
    slow = of_maker(night, sampled, SLOW_TIMES)
    assert np.all(slow.maker_times[:, 0] == 1.0)
    assert np.all(slow.maker_times[:, 1] == SLOW_TIMES)
    assert slow.gel_times is sampled.gel_times
