"""One rule: hottest soak + 5 K <= air_c <= cut_out_c - 5 K, by whichever door a soak comes in.

Settings, profile, start, a soak that is moved in the night, plan, survey, sizing and what the page
is told; for cut-outs of several settings and air limits within and beyond what they leave room for.
"""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from nightcure.daemon.status import live_state
from nightcure.errors import BadInput
from nightcure.loop.loop import Loop
from nightcure.oven.sizing import HOTTEST_HOLD_C
from nightcure.plan.advise import advise
from nightcure.plan.plan import plan_night
from nightcure.plan.propose import accept
from nightcure.plan.shapes import room_of
from nightcure.plan.tonight import Tonight, tonight
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.settings import MOST_CUT_OUT_C, Settings
from nightcure.simulate.scenario import PARTS_FILE
from nightcure.survey.heat_and_cool import profile_for
from tests.nights import SETTINGS, changed, start, still, word

#: Cut-out, air limit, part limit, all °C.
OVENS = [
    (65.0, 60.0, 60.0), (70.0, 60.0, 60.0), (60.0, 55.0, 60.0), (60.0, 50.0, 60.0),
    (55.0, 40.0, 60.0), (65.0, 60.0, 50.0),
]  # fmt: skip


def oven(cut_out_c: float, air_c: float, part_c: float) -> Settings:
    return changed(SETTINGS, limits={"cut_out_c": cut_out_c, "air_c": air_c, "part_c": part_c})


def soak(at_c: float) -> Profile:
    return parse_profile({"name": "x", "segments": [{"kind": "soak", "at_c": at_c, "hours": 1.0}]})


@pytest.mark.parametrize("limits", OVENS)
def test_the_hottest_soak_is_one_number_everywhere(limits: tuple[float, float, float]) -> None:
    cut_out_c, air_c, part_c = limits
    s = oven(*limits)
    hottest_c = min(air_c - 5.0, part_c - 1.0)
    assert hottest_c + 5.0 <= air_c <= cut_out_c - 5.0
    assert s.limits.no_heat() == ()
    assert s.limits.hottest_soak_c == hottest_c
    # the profile, and with it page, commands and rehearsal
    assert soak(hottest_c).refusals(s.limits) == ()
    (refused,) = soak(hottest_c + 0.1).refusals(s.limits)
    assert f"{hottest_c:g} °C" in refused
    # the start, and a soak that is moved in the night
    loop = Loop(s)
    d = loop.tick(still(0.0, start(soak(hottest_c + 0.1))))
    assert d.outcomes[0].outcome == "refused"
    assert loop.tick(still(2.0, start(soak(hottest_c), 2))).outcomes[0].outcome == "done"
    refusal = loop.tick(still(4.0, word("setpoint", celsius=hottest_c + 0.1))).outcomes[0]
    assert refusal.outcome == "refused"
    # what the page is told
    inputs = still(6.0)
    told = live_state(s, loop, inputs, loop.tick(inputs), 1.0)
    assert told["limits"]["hottest_soak_c"] == hottest_c
    # the plan
    accept(planned(s), soak(hottest_c))
    with pytest.raises(BadInput):
        accept(planned(s), soak(hottest_c + 0.1))
    night = tonight_in(s)
    assert room_of(night).warmest_c <= hottest_c
    # the survey's own night
    profile = parse_profile(profile_for(s.limits, 15.0))
    assert profile.highest_c <= hottest_c
    assert profile.refusals(s.limits) == ()


def tonight_in(settings: Settings) -> Tonight:
    """The scenario's parts in a cold shed, to be hard in twelve hours."""
    return tonight(settings, load_profile(PARTS_FILE).parts, lambda _: 5.0, "demould", 43_200.0)


def planned(settings: Settings) -> Any:
    """As much of a plan as its door asks for."""
    return type("Tonight", (), {"settings": settings})


@pytest.mark.parametrize(("cut_out_c", "air_c"), [(65.0, 60.5), (60.0, 60.0), (40.0, 36.0)])
def test_an_air_limit_too_near_the_cut_out_heats_nothing(cut_out_c: float, air_c: float) -> None:
    s = changed(
        SETTINGS,
        limits={"cut_out_c": cut_out_c, "air_c": air_c, "i_accept_limits_above_60_c": True},
    )
    (why,) = s.limits.no_heat()
    assert f"{cut_out_c - 5.0:g}" in why
    assert why in soak(20.0).refusals(s.limits)
    d = Loop(s).tick(still(0.0, start(soak(20.0))))
    assert (d.outcomes[0].outcome, d.heater_on) == ("refused", False)
    # Neither a plan nor an advice is made for it; the advice fails before this.
    for make in (plan_night, advise):
        with ThreadPoolExecutor(1) as one, pytest.raises(BadInput, match="air_c"):
            make(tonight_in(s), nights=20, executor=one)


@pytest.mark.parametrize("limits", [{"cut_out_c": MOST_CUT_OUT_C + 0.5}, {"cut_out_c": 75.0}])
def test_no_cut_out_is_set_higher(limits: dict[str, float]) -> None:
    with pytest.raises(ValueError, match="cut_out_c"):
        changed(SETTINGS, limits=limits)


def test_the_sizing_holds_no_more_than_any_cut_out_leaves_room_for() -> None:
    assert HOTTEST_HOLD_C == MOST_CUT_OUT_C - 10.0
    hottest = changed(
        SETTINGS,
        limits={
            "cut_out_c": MOST_CUT_OUT_C, "air_c": MOST_CUT_OUT_C - 5.0, "part_c": 70.0,
            "i_accept_limits_above_60_c": True,
        },
    )  # fmt: skip
    assert hottest.limits.hottest_soak_c == HOTTEST_HOLD_C
