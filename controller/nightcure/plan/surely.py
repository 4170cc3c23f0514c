"""When the controller is sure: nine times in ten by all that is believed of a resin.

A night that is started on what is believed of its resins ends a soak until demould, and goes on
from the gel, only when that has surely come (`loop.part_belief`). By how much later that is than
the card has it is reckoned once for a part and a warmth, by the same belief; what a gel cup or the
part's own heat may show in the night is not foretold.
"""

from __future__ import annotations

import math
from functools import lru_cache
from typing import NamedTuple

import numpy as np

from ..cure.belief import AHEAD_MIN, Belief
from ..cure.cure_clock import LIKELY, CureClock
from ..cure.factors import card_prior
from ..cure.part import Part
from ..profile import Profile, Ramp, Soak, planned_air
from .tonight import Tonight, mould_sensors

#: What is not sure by then comes at the card's time so many times over.
LATEST_TIMES = 4.0
#: A course is gone through for so long after its end at the most, h.
LONGER_H = 48.0
SURE = ("gelled", "demould")


class Later(NamedTuple):
    """How many times the card's likely times take: to the gel, and from there to the demould."""

    gel: float = 1.0
    after: float = 1.0


def later(tonight: Tonight, part: Part, profile: Profile, start_c: float) -> Later:
    """For a part in a profile; as its card has it where nothing waits for it."""
    waited = {s.wait_for if isinstance(s, Ramp) else s.until
              for s in profile.segments if isinstance(s, Ramp | Soak)}  # fmt: skip
    if part.figures is None or not waited & set(SURE):
        return Later()
    moulds = max(len(mould_sensors(tonight.settings)), 1)
    capacity = part.mould_j_per_k or max(
        tonight.settings.model.mould_capacity_j_per_k / moulds, 500.0
    )
    warmth = tuple((round(t_s, -2), round(c)) for t_s, c in planned_air(profile, start_c))
    prior = part.prior or card_prior(part.figures)
    bare = part.model_copy(update={"prior": prior, "law": None, "name": "-", "sensor": None})
    lag_s = max(tonight.facts.mould_lag_s, 60.0)
    return _along(bare.model_dump_json(), round(capacity), round(lag_s), warmth)


@lru_cache(maxsize=200)
def _along(
    told: str, mould_j_per_k: float, lag_s: float, warmth: tuple[tuple[float, float], ...]
) -> Later:
    part = Part.model_validate_json(told)
    figures = part.figures
    assert figures is not None
    assert part.prior is not None
    belief = Belief(figures, part.prior, part.resin_kg, mould_j_per_k, 0.0, part.thickness_mm)
    courses: list[float] = []
    """°C every `AHEAD_MIN` from its mixing on."""
    if part.start_h < 0.0:
        stood_c = warmth[0][1] if part.before_c is None else part.before_c
        belief.unmeasured(-60.0 * part.start_h, stood_c)
        courses = [stood_c] * round(-60.0 * part.start_h / AHEAD_MIN)
    mixed = len(courses)
    times_s, temps_c = np.array(warmth).T
    step_s, part_c = 60.0 * AHEAD_MIN, float(temps_c[0])
    keep, hottest_c = math.exp(-step_s / lag_s), float(temps_c.max())
    for i in range(round((times_s[-1] + 3600.0 * LONGER_H) / step_s)):
        t_s = (i + 1) * step_s
        # Past its end the warmest soak goes on: only the ratio counts.
        air_c = float(np.interp(t_s, times_s, temps_c)) if t_s < times_s[-1] else hottest_c
        part_c = air_c + keep * (part_c - air_c)
        if t_s > 3600.0 * part.start_h:
            courses.append(part_c)
    sure = belief.answer(None, courses[mixed:])
    rates = np.array([CureClock(figures).rates(c)[:2] for c in courses])
    gone_min = AHEAD_MIN * np.arange(len(courses) + 1)
    share, cured_min = np.vstack([np.zeros(2), np.cumsum(rates * step_s, axis=0)]).T
    gelled, hard = sure.gel_min[2], sure.demould_min[2]
    if not math.isfinite(gelled):
        return Later(LATEST_TIMES, LATEST_TIMES)
    gel = float(np.interp(gelled, gone_min, share))
    if figures.demould_min is None:
        return Later(gel)
    if not math.isfinite(hard):
        return Later(gel, LATEST_TIMES)
    after_min = np.interp(hard, gone_min, cured_min) - np.interp(gelled, gone_min, cured_min)
    return Later(gel, max(float(after_min) / figures.demould_min[LIKELY], 0.1))
