"""Sentences on what is believed of a part: when a milestone is sure, and what was seen."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from ..cure.clock_figures import MILESTONE_WORDS, Milestone
from ..cure.cure_clock import When
from ..cure.factors import card_prior
from ..cure.hypotheses import Hypotheses
from ..tick import Event, Evidence, PartBelief
from ..units import show_duration
from .cups import Cups
from .part_clock import PartClock

SAID: dict[Milestone, str] = {
    "gelled": "has gelled",
    "laminate-opens": "is ready to be laminated upon",
    "laminate-closes": "is past the time to laminate upon it",
    "demould": "is ready to leave its mould",
    "full": "is as cured as it gets at this temperature",
    "post-cured": "is post-cured",
}
#: Another date is told from here on, min.
WORTH_TELLING_MIN = 15.0
#: Of a thicker laminate nothing is handed on: its heat runs away with any error of the kinetics.
HANDED_ON_MM = 5.0
#: What one night's heat says of a batch is never surer than this, in ln.
LEAST_SD = 0.15
_Z80 = 1.2815515655446004


def surely_reached(p: PartClock, fresh: Sequence[Milestone], now_s: float) -> list[Event]:
    """The milestones a part has reached at this tick, or earlier by its card and surely now."""
    belief = p.belief
    assert belief is not None
    belief.held.extend(fresh)
    events: list[Event] = []
    for name in list(belief.held):
        if now_s >= belief.sure_s(name):
            belief.held.remove(name)
            reached_s = (p.clock.reached_s.get(name) or [None, None, None])[1] or now_s
            after_s = max(reached_s, min(belief.sure_s(name), now_s)) - p.start_s
            since = show_duration(_minute(after_s))
            events.append(Event("cure", name, f"{p.part.name} {SAID[name]}, {since} after mixing."))
    return events


def not_sure(p: PartClock, name: Milestone, now_s: float) -> Event:
    """A soak is over at its longest, and a part is so far by its card alone."""
    assert p.belief is not None
    state, left_s = MILESTONE_WORDS[name], p.belief.sure_s(name) - now_s
    more = "at this temperature nothing makes it sure"
    if math.isfinite(left_s):
        more = (
            f"nine times in ten it is so in about {show_duration(_minute(left_s))} at this warmth"
        )
    return Event(
        "cure", "not-sure",
        f"The soak is over; {p.part.name} is {state} by its card and not surely: {more}. Touch it "
        f"before you pull.",
    )  # fmt: skip


def answered(
    p: PartClock, cups: Cups, ahead_c: Sequence[float], card: Sequence[When]
) -> tuple[list[Event], tuple[PartBelief, ...]]:
    """A part's answer anew, and its sentence where it is worth telling."""
    belief = p.belief
    assert belief is not None
    weighs = cups.weighs(p.part.batch_name)
    belief.answer(weighs, ahead_c)
    told = belief.told(weighs is not None)
    events: list[Event] = []
    hard_min = belief.hard_min
    moved = belief.told_min is None or abs(hard_min - belief.told_min) >= WORTH_TELLING_MIN
    if told.seen and moved and math.isfinite(hard_min):
        belief.told_min = hard_min
        events.append(Event("cure", "seen", _sentence(p, told, card)))
    return events, (told,)


def _sentence(p: PartClock, told: PartBelief, card: Sequence[When]) -> str:
    """What was seen, and what follows."""
    name = "gelled" if told.demould_s is None else "demould"
    early, likely, late = told.gelled_s if told.demould_s is None else told.demould_s
    assert likely is not None
    by_card_s = next((w.at_s for w in card if w.name == name), None)
    what = " and ".join({"cup": "gel cup", "heat": "own heat"}[s] for s in told.seen)
    pace = told.cure_factor[1] if "heat" in told.seen else told.gel_factor[1]
    does = "cures" if "heat" in told.seen else "gels"
    percent = round(100.0 * abs(pace - 1.0))
    way = (
        "as its card has it"
        if percent < 3
        else (f"{percent} % {'slower' if pace > 1.0 else 'faster'} than its card")
    )
    state = "gelled" if name == "gelled" else "hard"
    instead = "" if by_card_s is None else f" instead of {_after(p, by_card_s)}"
    latest = "later than this night" if late is None else _after(p, late)
    range_ = f" (8 of 10: {_after(p, early or likely)} to {latest})"
    return (
        f"{p.part.name}'s {what}: it {does} {way}; {state} {_after(p, likely)} after mixing"
        f"{instead}{range_}."
    )


def heat_evidence(p: PartClock) -> Evidence | None:
    """What a part's own heat says of its batch, beyond what was believed before the night."""
    belief = p.belief
    if belief is None or belief.said is None or not belief.said.heat_seen or p.sensor is None:
        return None
    if (p.part.thickness_mm or 0.0) > HANDED_ON_MM:
        return None
    alone = belief.by_heat_alone
    prior = p.part.prior or card_prior(p.clock.figures)
    found: dict[str, list[float]] = {}
    for name, triple, mean, sd in (
        ("gel", alone.gel_factor, prior.gel_mean, prior.gel_sd),
        ("cure", alone.cure_factor, prior.cure_mean, prior.cure_sd),
    ):
        low, middle, high = (math.log(f) for f in triple)
        after_sd = max((high - low) / (2.0 * _Z80), 0.02)
        gained = 1.0 / after_sd**2 - 1.0 / sd**2
        if gained > 1e-3:
            seen_sd = max(gained**-0.5, LEAST_SD)
            at = (middle / after_sd**2 - mean / sd**2) / gained
            found[name] = [round(at, 4), round(seen_sd, 4)]
    if not found:
        return None
    told = {"card": p.part.card, "part": p.part.name, **found}
    return Evidence(p.part.batch_name, "heat", told)


def end_evidence(p: PartClock, number: int) -> Evidence | None:
    """How far a part had come at its night's end, against which its touch will be held."""
    if p.belief is None or p.clock.figures.demould_min is None:
        return None
    told = {"card": p.part.card, "part": p.part.name, "number": number, **p.belief.progress()}
    return Evidence(p.part.batch_name, "end", told)


def mould_evidence(
    p: PartClock, weighs: Callable[[Hypotheses], list[float]] | None
) -> Evidence | None:
    """How a part's mould followed air and heater, for the next night in it; `weighs`: its cup."""
    law = None if p.belief is None else p.belief.mould_law(weighs)
    return None if law is None else Evidence("", "mould", law.model_dump(mode="json"))


def _after(p: PartClock, at_s: float) -> str:
    return show_duration(_minute(at_s - p.start_s))


def _minute(duration_s: float) -> float:
    return 60.0 * round(duration_s / 60.0)
