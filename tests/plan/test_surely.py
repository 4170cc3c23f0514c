"""A soak until demould ends in the plan when the loop ends it: when the demould has surely come."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nightcure.cure.factors import card_prior
from nightcure.plan.nights import run_nights
from nightcure.plan.sampling import Spreads, draw
from nightcure.plan.surely import later
from nightcure.plan.tonight import Tonight, tonight
from nightcure.profile import Profile
from nightcure.simulate.scenario import ambient_c
from tests.loop.demould_night import edited
from tests.nights import SETTINGS

from .agreement import looped


def night_of(at_c: float, hours: float) -> tuple[Tonight, Profile]:
    """The shipped night until demould, at another warmth and on what is believed of its resins."""
    profile = edited(soak={"at_c": at_c, "hours": hours}, lid={"thickness_mm": 3.0},
                     rim={"thickness_mm": 3.0})  # fmt: skip
    ramp = profile.segments[1].model_copy(update={"to_c": at_c})
    segments = (profile.segments[0], ramp, *profile.segments[2:])
    parts = tuple(
        p.model_copy(update={"prior": card_prior(p.figures)}) for p in profile.parts if p.figures
    )
    profile = profile.model_copy(update={"segments": segments, "parts": parts})
    return tonight(SETTINGS, parts, ambient_c, "demould", 12 * 3600.0), profile


def heated_s(t: Tonight, profile: Profile) -> float:
    """Until when the plan's night, exactly as believed, is heated: the air's setpoint falls."""
    nights = run_nights(t, draw(t, Spreads.none(), 1), [profile], 14 * 3600.0, keep=True)
    assert nights.series is not None
    air_c = nights.series.air_c[:, 0]
    soak_c = float(np.max(air_c))
    return float(nights.series.time_s[np.flatnonzero(air_c > soak_c - 1.0)[-1]])


@pytest.mark.parametrize("at_c", [32.0, 38.0])
def test_a_soak_until_demould_ends_as_late_in_the_plan_as_in_the_loop(at_c: float) -> None:
    """Fails before this: the plan ended it at the card's likely time, half an hour early."""
    t, profile = night_of(at_c, 8.5)
    loop = looped(t, profile, 1)
    air_c = loop.temps_c["Air"]
    until_s = float(loop.time_s[np.flatnonzero(air_c > np.nanmax(air_c) - 1.0)[-1]])
    surely, by_card = heated_s(replace(t, surely=True), profile), heated_s(t, profile)
    assert surely == pytest.approx(until_s, rel=0.06)
    assert by_card < until_s - 1200.0


def test_nothing_is_later_where_nothing_waits_and_surer_resins_are_less_late() -> None:
    t, profile = night_of(38.0, 9.0)
    part = profile.parts[0]
    assert part.prior is not None
    vague = later(t, part, profile, 9.0)
    assert vague.gel > 1.2
    assert vague.after > 1.2
    known = part.prior.model_copy(update={"gel_sd": 0.1, "cure_sd": 0.12})
    sure = later(t, part.model_copy(update={"prior": known}), profile, 9.0)
    assert sure.after < 0.9 * vague.after
    plain = profile.model_copy(update={"segments": (profile.segments[0],)})
    assert later(t, part, plain, 9.0) == (1.0, 1.0)
