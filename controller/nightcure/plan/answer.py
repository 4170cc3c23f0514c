"""What a plan says: its answer, and that a deadline comes too soon for any. A sentence each."""

from __future__ import annotations

import numpy as np

from ..cure.cure_clock import CureClock
from ..profile import Profile, Ramp, Soak, knows
from ..units import show_duration
from .makers import MakerOdds
from .night_results import WORTH, Nights
from .shapes import room_of
from .tonight import DAY_S, Tonight

#: So sure a night on a card of its own is a yes; so sure and less, very probable; one in two.
YES, VERY, EVEN, HARDLY = 0.97, 0.9, 0.5, 0.1

GOALS = {
    "gelled": "the gel",
    "laminate-opens": "laminate-ready",
    "laminate-closes": "the end of its window",
    "demould": "demould",
    "full": "full cure",
    "post-cured": "the end of the post-cure",
}
#: The same where every part is so far.
REACHED = {
    "gelled": "every part has gelled",
    "laminate-opens": "every part is ready to laminate on",
    "laminate-closes": "every part is past laminating on",
    "demould": "every part is hard",
    "full": "every part is as cured as it gets",
    "post-cured": "every part is post-cured",
}


def clock_time(tonight: Tonight, after_s: float) -> str:
    """A time of the night on the wall's clock, such as 07:10."""
    minutes = round(((tonight.start_of_day_s + after_s) % DAY_S) / 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def brief(profile: Profile) -> str:
    """A profile in words: its hottest soak, and the regulator where it asks for one."""
    soaks = [s for s in profile.segments if isinstance(s, Soak)]
    soak = max(soaks, key=lambda s: s.at_c)
    until = " at most" if _ends(soak) else ""
    by = f", regulated by {profile.regulator}," if profile.regulator else ""
    return f"{soak.at_c:g} °C for {show_duration(3600.0 * soak.hours)}{until}{by}"


def _ends(soak: Soak) -> str:
    """What ends a soak sooner, in words; empty if nothing."""
    said = [GOALS[soak.until]] if soak.until else []
    said += [] if soak.until_tg_c is None else [f"a Tg of {soak.until_tg_c:g} °C"]
    said += [] if soak.until_degree is None else [f"{100.0 * soak.until_degree:g} % cured"]
    return " and ".join(said)


def course_of(profile: Profile) -> str:
    """A whole profile in words: 'up at 15 °C/h to 32 °C, held 7 h 00 min'; how it cools goes
    without saying."""
    said = []
    for s in profile.segments:
        if isinstance(s, Ramp):
            after = f"once {s.wait_for} " if s.wait_for else ""
            below = "" if s.tg_margin_k is None else f", {s.tg_margin_k:g} K below the parts' Tg"
            said.append(f"{after}up at {s.rate_c_per_h:g} °C/h to {s.to_c:g} °C{below}")
        elif isinstance(s, Soak):
            until = f" or until {ends}" if (ends := _ends(s)) else ""
            said.append(f"held {show_duration(3600.0 * s.hours)}{until}")
    return ", ".join(said)


def answer(
    tonight: Tonight,
    profile: Profile,
    nights: Nights,
    goal_s: float | None,
    energy: str,
    weak: str,
    makers: MakerOdds | None,
) -> str:
    """The answer in one sentence, and the weak point.

    A generic card never yields a bare yes: nobody knows yet whose resin it is.

    Args:
        goal_s: when the goal is usually reached, s after the start; None: not within the nights.
        energy: in words, with its cost where a price is known.
        weak: the weak point, a sentence.
        makers: the odds by whose resin it is, where a card is generic.
    """
    probability = float(np.mean(nights.met(tonight.deadline_s)))
    if probability >= YES and makers is None:
        first = "Yes"
    elif probability >= VERY:
        first = "Very probably"
    elif probability >= EVEN:
        first = "Probably"
    elif probability >= HARDLY:
        first = "Hardly"
    else:
        first = "No"
    goal, by = REACHED[tonight.goal], clock_time(tonight, tonight.deadline_s)
    hot = float(np.mean(nights.overheated)) > WORTH
    within = ", and stays below its limits," if hot else ""
    resin = ""
    if makers is not None:
        sure = min(makers.like, makers.slow, makers.quick) >= YES
        resin = (
            ", a slow maker's resin among them" if sure else f": {makers.sentence()}; a gel cup "
        )
        resin += "" if sure else "settles it"
    if goal_s is None:
        usual = "U"
    elif goal_s <= tonight.deadline_s:
        usual = f"Usually at {clock_time(tonight, goal_s)}; u"
    else:
        usual = f"Usually not before {clock_time(tonight, goal_s)}; u"
    return (
        f"{first}: with {brief(profile)} {goal} by {by}{within} in {round(100.0 * probability)} of "
        f"100 nights{resin}. {usual}ses {energy}. {weak}"
    )


def too_soon(tonight: Tonight) -> str | None:
    """Why no warmth can meet the deadline, or None: at the early end of every figure, all along
    at the warmest that oven and card allow."""
    room = room_of(tonight)
    for p in tonight.parts:
        f = p.part.figures
        if f is None or not knows(p.part, tonight.goal):
            continue
        early = {
            name: (band[0], band[0], band[0])
            for name in ("gel_band", "opens_min", "closes_min", "demould_min", "full_min")
            if (band := getattr(f, name)) is not None
        }
        clock = CureClock(f.model_copy(update=early))
        gel_min = clock.gel_min_at(room.warmest_c)
        needs_s = clock.needs_s(tonight.goal, room.warmest_c)
        if gel_min is None or needs_s is None:
            return (
                f"{p.part.name} cannot reach {GOALS[tonight.goal]}: at the {room.warmest_c:g} °C "
                f"that oven and cards allow, its card knows no way there."
            )
        # `needs_s` takes the gel at its card's likely time; at its early one it is so much sooner.
        needs_s -= 60.0 * gel_min * (1.0 - f.gel_band[0])
        left_s = tonight.deadline_s - 3600.0 * p.part.start_h
        if needs_s > left_s:
            return (
                f"The deadline is impossible: even at {room.warmest_c:g} °C from the first minute "
                f"{p.part.name} needs {show_duration(60.0 * np.ceil(needs_s / 60.0))} to "
                f"{GOALS[tonight.goal]}, and there are {show_duration(left_s)}; move the deadline, "
                f"or start earlier."
            )
    return None
