"""What a verification found, in words."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from .. import __version__
from ..units import show_duration
from .verify import MEANINGS, Difference, Verified

#: Fields as people call them.
NAMES = {
    "inputs": "the recorded inputs",
    "heater": "the heater",
    "contactor": "the contactor",
    "fan": "the fan",
    "trip": "the trip",
    "off": "why the heater was off",
    "phase": "the phase",
    "segment": "the segment",
    "wait": "waiting",
    "setpoint_c": "the setpoint, °C",
    "duty": "the duty",
    "control_c": "the air regulated on, °C",
    "believed": "the readings believed, °C",
    "faults": "the readings' faults",
    "events": "the events",
    "outcomes": "the commands' outcomes",
    "cure": "the parts' cure",
}
SWITCHES = ("heater", "contactor", "fan", "wait")


def value(field: str, recorded: Any) -> str:
    """A field's value as people read it."""
    if field in SWITCHES:
        return "on" if recorded else "off"
    if recorded is None:
        return "none"
    if field == "events":
        return "; ".join(str(e[2]) for e in recorded) or "none"
    text = repr(recorded) if isinstance(recorded, float) else str(recorded)
    return text if len(text) <= 120 else f"{text[:117]}..."


def told(d: Difference, clock: Callable[[float], str]) -> str:
    """One difference: tick, time, field, recorded against now. `clock`: a wall time as text."""
    name = NAMES.get(d.field, d.field)
    if d.field == "inputs":
        return f"tick {d.seq}, {clock(d.wall_s)}: {name}: {d.recorded} ({d.now})."
    return (
        f"tick {d.seq}, {clock(d.wall_s)}: {name}: recorded {value(d.field, d.recorded)}, "
        f"now {value(d.field, d.now)}."
    )


def conclusion(found: Verified) -> str:
    """One sentence."""
    hours = show_duration(found.length_s)
    if not found.ticks:
        return f"Night {found.night_id} has no ticks; there is nothing to verify."
    if found.same:
        return (
            f"Night {found.night_id} is the same to the bit: {found.ticks} ticks, {hours}, every "
            f"decision as recorded."
        )
    other = (
        f"It was run by version {found.version}, this is {__version__}, which may decide otherwise."
        if found.version != __version__
        else "The version is the same, so the record was changed or the loop does not hold its "
        "word."
    )
    apart = f"{found.ticks_apart} of {found.ticks} ticks differ."
    return f"Night {found.night_id} is not the same: {apart} {other}"


def meanings(found: Verified) -> list[tuple[str, int, Difference]]:
    """Meaning, ticks that differ in it, the first of them; in order of weight."""
    known = [*MEANINGS, *[m for m in found.by_meaning if m not in MEANINGS]]
    return [(m, found.by_meaning[m], found.first_by_meaning[m]) for m in known
            if m in found.by_meaning]  # fmt: skip
