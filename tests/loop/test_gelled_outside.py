"""Parts that gelled in a warm corner before the box was shut, in a shed colder than their card."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

from nightcure.loop.loop import Loop
from nightcure.plan.plan import plan_night
from nightcure.plan.tonight import falling_to, tonight
from nightcure.profile import Profile, load_profile
from nightcure.simulate.scenario import PROFILES
from tests.nights import SETTINGS, start, still

OUTSIDE = load_profile(PROFILES / "gelled-outside.toml")
SHED = falling_to(2.0, 36_000.0, 9.0)


def cold() -> Profile:
    """The same, left to gel in the shed at 9 °C, a degree under the card's coldest row."""
    parts = tuple(p.model_copy(update={"before_c": None}) for p in OUTSIDE.parts)
    return OUTSIDE.model_copy(update={"parts": parts})


def gelled(profile: Profile) -> bool:
    loop = Loop(SETTINGS)
    decision = loop.tick(still(0.0, start(profile)))
    assert decision.outcomes[0].outcome == "done"
    assert loop.cure.clocks is not None
    return loop.cure.clocks.reached("gelled")


def test_a_part_gels_where_it_stood_and_not_in_the_cold_box() -> None:
    """Fails before this: it was taken to have been as cold as the oven, and never gelled."""
    assert gelled(OUTSIDE)
    assert not gelled(cold())


def test_the_plan_reckons_so_too() -> None:
    """Loop and plan date the gel alike: before the start, within what cards and weighing leave."""
    parts = OUTSIDE.parts
    with ThreadPoolExecutor(1) as one:
        plan = plan_night(
            tonight(SETTINGS, parts, SHED, "demould", 12 * 3600.0), OUTSIDE,
            nights=60, improvements=False, executor=one,
        )  # fmt: skip
    gel = [m for m in plan.as_json()["milestones"] if m["name"] == "gelled"]
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start(OUTSIDE)))
    assert loop.cure.clocks is not None
    for told, clock in zip(gel, loop.cure.clocks._parts, strict=True):
        at_s = clock.clock.reached_s["gelled"][1]
        assert at_s is not None
        assert at_s < 0.0
        assert told["p10_s"] <= at_s <= told["p90_s"]
