"""What may be done next with each part, and what was found when it was touched."""

from __future__ import annotations

from typing import Any, NamedTuple

from ..cure.clock_figures import ClockFigures
from ..cure.rate import faster
from ..record.batches import ACETONE, BARCOL, TOUCH
from ..units import TemperatureUnit, show_duration, show_temperature
from .document import clock
from .facts import Facts, PartSummary

#: A part that is left in its mould stands in a room as warm as this, °C.
ROOM_C = 20.0


class NextStep(NamedTuple):
    """One part in the morning."""

    part: str
    sentence: str
    """What may be done with it next."""
    foretold: str
    """How far it came, and by what that is known."""
    found: str
    """What it felt like; empty until somebody said so."""


def next_steps(facts: Facts) -> list[NextStep]:
    """For every part on a resin card, in the order of the profile."""
    told = zip(facts.parts, facts.profile.get("parts", ()), strict=True)
    return [
        NextStep(part.name, _next(facts, part, data), _foretold(part), found_of(facts, number))
        for number, (part, data) in enumerate(told, 1)
    ]


RUBBED_WORDS = {"clean": "clean under acetone", "softens": "softened by acetone"}


def found_of(facts: Facts, number: int) -> str:
    """What the part in this place felt like, with its Barcol number and what acetone did to it;
    empty where nobody said."""
    felt = facts.notes.get(TOUCH.format(number), "")
    barcol = facts.notes.get(BARCOL.format(number), "")
    rubbed = RUBBED_WORDS.get(facts.notes.get(ACETONE.format(number), ""), "")
    return ", ".join(x for x in (felt, barcol and f"Barcol {barcol}", rubbed) if x)


def _reached(part: PartSummary) -> dict[str, float]:
    return {m.name: m.reached_wall_s for m in part.milestones if m.reached_wall_s is not None}


SIGHTS = {"cup": "the gel cup", "heat": "its own heat"}


def _foretold(part: PartSummary) -> str:
    by = " and ".join(["its card", *[SIGHTS[s] for s in part.seen if s in SIGHTS]])
    return f"{part.state}, by {by}"


def _next(facts: Facts, part: PartSummary, data: dict[str, Any]) -> str:
    reached = _reached(part)
    figures = ClockFigures.model_validate(data["figures"]) if data.get("figures") else None
    closes_s = next(
        (m.expected_s for m in part.milestones
         if m.name == "laminate-closes" and m.reached_wall_s is None and m.expected_s), None,
    )  # fmt: skip
    lay = ""
    if "laminate-opens" in reached and "laminate-closes" not in reached:
        closes = "" if closes_s is None else clock(facts.night.started_s + closes_s)
        until = closes and f" until about {closes}"
        lay = f"It may be laminated on{until}. "
    if "post-cured" in reached:
        return "Post-cured: it may be used."
    if "demould" in reached or "full" in reached:
        after = _post_cure(figures, facts.units)
        return f"Touch it, then take it out of its mould. {lay}{after}".strip()
    more = _at_room(figures, part)
    left = (
        f" It wants about {more} more at {show_temperature(ROOM_C, facts.units)}." if more else ""
    )
    unsure = {m.name for m in part.milestones if m.perhaps}
    if "demould" in unsure:
        return (
            f"Perhaps hard already, and not surely: touch it before you pull, and leave it in its "
            f"mould if it gives. {lay}{left.strip()}"
        ).strip()
    if "gelled" not in reached and "gelled" not in unsure:
        return (
            "Not gelled, by its card: keep it warm, leave it alone, and see whether it was "
            "catalysed."
        )
    return f"{lay}Leave it in its mould.{left}"


def _at_room(figures: ClockFigures | None, part: PartSummary) -> str:
    """How long it still takes in a room until it is hard; empty where the card does not tell."""
    if figures is None or figures.demould_min is None or part.equivalent_min is None:
        return ""
    at = min(figures.gel_min, key=lambda row: abs(row[0] - figures.reference_c))
    gel_min = at[1] * faster(figures.cure_kj_per_mol, at[0], figures.reference_c)
    left_min = gel_min + figures.demould_min[1] - part.equivalent_min
    if left_min <= 0.0 or figures.lowest_c > ROOM_C:
        return ""
    minutes = left_min / faster(figures.cure_kj_per_mol, ROOM_C, figures.reference_c)
    return show_duration(900.0 * max(round(minutes / 15.0), 1))


def _post_cure(figures: ClockFigures | None, units: TemperatureUnit) -> str:
    if figures is None or not figures.post_cure_h:
        return ""
    at_c, hours = figures.post_cure_h[0]
    return (
        f"Post-cure it before it stands in the sun: its card gives {hours:g} h at "
        f"{show_temperature(at_c, units, 0)}."
    )
