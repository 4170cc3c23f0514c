"""A profile as the loop would run it in an oven whose air and parts are always at the setpoint."""

from __future__ import annotations

from typing import NamedTuple

from ..cure.cure_clock import LATE, CureClock
from ..cure.part import Part
from ..loop.below_glass import glasses_of
from ..loop.profile_run import Oven, ProfileRun
from ..profile import Profile, Ramp

STEP_S = 60.0


class Course(NamedTuple):
    """What becomes of a part in a profile, by its card's late figures."""

    began_tg_c: float
    held_s: float
    """How long the ramp was slower than asked, to stay below the glass transition."""
    soaks_s: float | None
    """When its soak's temperature is reached; None: it is not."""
    ends_s: float
    tg_c: float
    degree: float
    least_k: float
    """The least that the glass transition was above the part."""


def course(part: Part, profile: Profile, from_c: float) -> Course:
    """A ramp and a soak (its first two segments) as the loop would run them."""
    assert part.figures is not None
    ramp = profile.segments[0]
    assert isinstance(ramp, Ramp)
    clock, lain_s = CureClock(part.figures), -3600.0 * part.start_h
    steps = max(round(lain_s / STEP_S), 1)
    stood_c = from_c if part.before_c is None else part.before_c
    for i in range(steps):
        clock.advance((i + 1) * lain_s / steps, lain_s / steps, stood_c)
    began_c = clock.tg_c(LATE) or 0.0
    run, t_s, held_s = ProfileRun(profile, from_c, ramp.rate_c_per_h), 0.0, 0.0
    least_k, soaks_s = began_c - from_c, None
    while run.index < 2:
        c, ramps = run.setpoint_c, run.index == 0
        run.advance(STEP_S, Oven(c, c, c, from_c, glass=glasses_of([(clock, c)], c)))
        t_s += STEP_S
        clock.advance(lain_s + t_s, STEP_S, run.setpoint_c)
        least_k = min(least_k, (clock.tg_c(LATE) or 0.0) - run.setpoint_c)
        full_k = min(ramp.rate_c_per_h * STEP_S / 3600.0, ramp.to_c - c)
        if ramps and full_k > 0.0:
            held_s += STEP_S * (1.0 - (run.setpoint_c - c) / full_k)
        if soaks_s is None and run.setpoint_c == ramp.to_c:
            soaks_s = t_s
    tg_c, degree = clock.tg_c(LATE) or 0.0, clock.degree(LATE) or 0.0
    return Course(began_c, held_s, soaks_s, t_s, tg_c, degree, least_k)
