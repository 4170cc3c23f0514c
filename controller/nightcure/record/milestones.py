"""A part's milestones as people are told them: its card's dates, with what is believed of it.

The page asks here while the night runs, the record afterwards: what one calls hard the other does.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Sequence
from typing import Any

from ..cure.clock_figures import Milestone
from ..cure.cure_clock import When
from ..tick import PartBelief


def told_milestones(
    card: Iterable[When], believed: PartBelief | None, unsure: Container[str], now_s: float
) -> list[When]:
    """Milestones at `now_s`, all in s of the night; one is reached whose `at_s` is not after it.

    What is still to come has the wider of two ranges, the card's and that of whoever's resin it may
    be, unless something was seen of the resin. What came by the card and is not sure yet has the
    date from which it is, as the loop waits for it, and no `high_s`.

    Args:
        card: its dates by the card, reached or foreseen.
        unsure: those that have come by the card and that the loop has not told yet. What came
            before the night it tells of nothing: there the belief decides.
    """
    told: dict[Milestone, When] = {w.name: w for w in card}
    dates = {} if believed is None else {"gelled": believed.gelled_s, "demould": believed.demould_s}
    for name, w in told.items():
        span = dates.get(name)
        if believed is None or span is None or w.at_s is None:
            continue
        if w.at_s > now_s:
            told[name] = w if believed.seen else _wider(w, span)
        elif (name in unsure or w.at_s <= 0.0) and (span[2] is None or span[2] > now_s):
            told[name] = w._replace(at_s=span[2], low_s=w.at_s, high_s=None)
    if believed is not None:
        for later, first in AFTER.items():
            if later in told and first in told:
                told[later] = _not_before(told[later], told[first].at_s)
    return list(told.values())


#: Nothing may be laminated on before it has gelled, or be cured through before it is hard.
AFTER: dict[Milestone, Milestone] = {
    "laminate-opens": "gelled",
    "full": "demould",
    "post-cured": "demould",
}


def _not_before(w: When, first_s: float | None) -> When:
    if w.at_s is None:
        return w
    return w._replace(at_s=None if first_s is None else max(w.at_s, first_s))


def _wider(w: When, span: Sequence[float | None]) -> When:
    early_s, _, late_s = span
    low_s = min((t for t in (w.low_s, early_s) if t is not None), default=None)
    high_s = None if w.high_s is None or late_s is None else max(w.high_s, late_s)
    return w._replace(low_s=low_s, high_s=high_s)


def perhaps(w: When, now_s: float) -> bool:
    """Whether a milestone may have come already, and is not sure."""
    reached = w.at_s is not None and w.at_s <= now_s
    return not reached and w.low_s is not None and w.low_s <= now_s


def recorded_milestones(
    report: Sequence[Sequence[Any]],
    belief: Sequence[Any] | None,
    told: Container[str],
    now_s: float,
) -> list[When]:
    """A part's milestones, reckoned from a night's record.

    Args:
        report: a part's milestones as its last report has them (`tick.PartCure`).
        belief: the last of the part (`tick.PartBelief`); None where there is none.
        told: the milestones that an event has told.
    """
    card = [When(*row) for row in report]
    unsure = [w.name for w in card if w.at_s is not None and 0.0 < w.at_s <= now_s]
    believed = None if belief is None else PartBelief(*belief)
    return told_milestones(card, believed, [n for n in unsure if n not in told], now_s)
