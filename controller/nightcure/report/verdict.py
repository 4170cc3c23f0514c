"""The verdict of a night: one sentence and a tone."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from ..units import show_difference, show_duration, show_temperature
from .facts import Facts, PartSummary
from .segments import SegmentSummary

Tone = Literal["good", "fair", "bad"]


def verdict(facts: Facts) -> tuple[str, Tone]:
    """What a person wants to know first; `fair`: done, and yet something is amiss."""
    g, name = facts.tick_summary, facts.profile["name"]
    length = show_duration(60.0 * round(g.length_s / 60.0))
    if facts.outcome == "done":
        words, amiss = _done(facts)
        return f"Done: '{name}' ran {length}{words}.", "fair" if amiss else "good"
    where = _where(facts)
    if facts.outcome == "tripped":
        trip = next((a for a in facts.alarms if a.trip), None)
        why = trip.message if trip else facts.night.reason or "No reason was recorded."
        return f"Tripped after {length}{where}. {why} The cure was not completed.", "bad"
    if facts.outcome == "stopped":
        reason = facts.night.reason or "Stopped."
        return f"Stopped after {length}{where}, before its end. {reason}", "bad"
    if facts.outcome == "lost":
        return f"Lost after {length}{where}: {facts.night.reason or 'no reason recorded.'}", "bad"
    return (
        f"Not over: recorded for {length} so far{where}; it runs, or it broke off and was not "
        f"taken up again.",
        "bad",
    )


def _where(facts: Facts) -> str:
    if not facts.tick_summary.segments:
        return ""
    last, count = facts.tick_summary.segments[-1], len(facts.profile["segments"])
    return f", in segment {last.number + 1} of {count} ({last.kind})"


def _done(facts: Facts) -> tuple[str, bool]:
    """What the soaks held, how far the parts came, and what was amiss."""
    words, amiss = "", False
    soaks = [s for s in facts.tick_summary.segments if s.kind == "soak" and s.air.count]
    if soaks:
        longest = max(soaks, key=lambda s: s.counted_s)
        words += f"; {_held(facts, longest)}"
    short = [p.name for p in facts.parts if _left_out(facts, p.name)]
    if short:
        amiss = True
        words += f"; {' and '.join(short)} did not come as far as the soak was for"
    elif facts.parts:
        words += f"; {_furthest(facts.parts)}"
    trouble = len([a for a in facts.alarms if not a.trip])
    if trouble:
        amiss = True
        words += f"; {trouble} alarm{'s' * (trouble != 1)} on the way"
    return words, amiss


def _held(facts: Facts, soak: SegmentSummary) -> str:
    at_c = float(facts.profile["segments"][soak.number]["at_c"])
    units = facts.units
    furthest_k = max(abs(soak.air.low - at_c), abs(soak.air.high - at_c))
    return (
        f"{show_temperature(at_c, units)} was held for "
        f"{show_duration(60.0 * round(soak.counted_s / 60.0))}, the air meanwhile at most "
        f"{show_difference(furthest_k, units)} from it"
    )


def _left_out(facts: Facts, part: str) -> bool:
    return any(
        e.kind == "cure" and e.name == "not-reached" and f" {part} " in f" {e.message}"
        for e in facts.events
    )


def _furthest(parts: Sequence[PartSummary]) -> str:
    """How far they came, those that came equally far together."""
    states: dict[str, list[str]] = {}
    for part in parts:
        states.setdefault(part.state, []).append(part.name)
    return "; ".join(
        f"{' and '.join(names)}: {_of_many(state) if len(names) > 1 else state}"
        for state, names in states.items()
    )


def _of_many(state: str) -> str:
    return state.replace("its mould", "their moulds").replace("as it gets", "as they get")
