"""Verify: a night's recorded inputs through a fresh loop give its recorded decisions, to the bit.

Another version may decide otherwise, and may be right to; then the differences are counted by what
they mean, so that a person sees which of them matter.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from .. import __version__
from ..errors import BadInput
from ..ledger.checksum import intact
from ..ledger.reader import LedgerReader
from ..ledger.rows import NightRow, TickRow
from ..loop.loop import Loop
from ..record.codec import decision_fields, decode_inputs, off_fields
from ..record.recorded_settings import settings_of
from ..settings import Settings
from .earlier_words import in_todays_words

#: What a difference is about -> the fields it may show in.
MEANINGS: dict[str, tuple[str, ...]] = {
    "inputs": ("inputs",),
    "heater": ("heater", "contactor", "fan"),
    "trips": ("trip",),
    "reasons": ("off",),
    "phase": ("phase", "segment", "wait"),
    "setpoint": ("setpoint_c",),
    "duty": ("duty",),
    "readings": ("control_c", "believed", "faults"),
    "events": ("events",),
    "commands": ("outcomes",),
    "cure": ("cure", "beliefs", "evidence"),
}
MEANING_OF = {name: meaning for meaning, names in MEANINGS.items() for name in names}
#: What of a decision is told in sentences.
SENTENCES = "events", "outcomes"
#: Before a record has said why the heater was off: an earlier version's never does.
NOT_TOLD = object()
#: So many differences are kept one by one; all are counted.
KEEP = 1000


class Difference(NamedTuple):
    """One field of one tick."""

    seq: int
    wall_s: float
    field: str
    recorded: Any
    now: Any

    @property
    def meaning(self) -> str:
        """What the field that differs is about, in words."""
        return MEANING_OF.get(self.field, self.field)


@dataclass
class Verified:
    """What came of it."""

    night_id: int
    version: str
    """Of nightcure that ran the night."""
    ticks: int = 0
    length_s: float = 0.0
    """Control time that was gone through, s."""
    differences: list[Difference] = field(default_factory=list)
    """The first of them, in order."""
    ticks_apart: int = 0
    """Ticks with any difference."""
    by_meaning: dict[str, int] = field(default_factory=dict)
    """Ticks that differ, by meaning."""
    first_by_meaning: dict[str, Difference] = field(default_factory=dict)
    heater_s: tuple[float, float] = (0.0, 0.0)
    """Time the heater was on, recorded and now, s."""
    remarks: list[str] = field(default_factory=list)
    """What keeps the record from being whole, sentences."""

    @property
    def same(self) -> bool:
        """Whether every decision is the same, to the bit."""
        return not self.ticks_apart

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints."""
        first = self.differences[0] if self.differences else None
        return {
            "night": self.night_id,
            "same": self.same,
            "ticks": self.ticks,
            "length_s": round(self.length_s, 3),
            "version_recorded": self.version,
            "version_now": __version__,
            "first_difference": None if first is None else first._asdict(),
            "ticks_apart": self.ticks_apart,
            "ticks_apart_by_meaning": self.by_meaning,
            "heater_on_recorded_s": round(self.heater_s[0], 1),
            "heater_on_now_s": round(self.heater_s[1], 1),
            "remarks": self.remarks,
        }


def night_of(reader: LedgerReader, night_id: int) -> NightRow:
    """A night that is there. Raises BadInput."""
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{reader.path} holds no night {night_id}; 'nightcure nights' lists them.")
    return night


def verify(
    reader: LedgerReader,
    night_id: int,
    on_progress: Callable[[int], None] | None = None,
) -> Verified:
    """Put a recorded night through a fresh loop and compare, tick by tick.

    Args:
        on_progress: told the tick's number now and then.

    Raises:
        BadInput: no such night, a thinned one, or one whose settings or start this version
            cannot read.
    """
    night = night_of(reader, night_id)
    if reader.thinned(night_id) is not None:
        raise BadInput(
            f"Night {night_id} was thinned: most of its ticks are gone, so it cannot be verified "
            f"to the bit any more. Its events and peaks are kept."
        )
    found = Verified(night_id, night.version)
    settings = settings_of(night)
    loop = Loop(settings)
    try:
        loop.restore(json.loads(night.opening))
    except (KeyError, ValueError, TypeError, AttributeError):
        loop = Loop(settings)
        found.remarks.append(
            f"How the oven stood before the start was written by version {night.version} and "
            f"cannot be taken over; the loop began afresh."
        )
    return _compare(reader, found, settings, loop, on_progress)


def _compare(
    reader: LedgerReader,
    found: Verified,
    settings: Settings,
    loop: Loop,
    on_progress: Callable[[int], None] | None,
) -> Verified:
    tick_s = settings.timing.tick_s
    on_recorded = on_now = 0
    expected = 0
    standing: Any = NOT_TOLD
    for row in reader.ticks(found.night_id):
        if row.seq != expected:
            found.remarks.append(f"Ticks {expected} to {row.seq - 1} are missing from the ledger.")
        expected = row.seq + 1
        try:
            inputs, resumed_from = decode_inputs(row.mono_s, row.wall_s, row.inputs)
        except (ValueError, KeyError, TypeError, IndexError):
            _note(found, row, {"inputs": (row.inputs[:80], "not readable")})
            continue
        if len(inputs.readings) != len(settings.thermometers):
            wants = f"{len(settings.thermometers)} thermometers"
            _note(found, row, {"inputs": (f"{len(inputs.readings)} readings", wants)})
            found.ticks += 1
            continue
        differs: dict[str, tuple[Any, Any]] = {}
        if not intact(row.mono_s, row.wall_s, row.inputs):
            differs["inputs"] = ("changed since it was written", "its checksum is of other inputs")
        if resumed_from is not None:
            loop = _resumed(found, settings, loop, resumed_from, row)
            standing = NOT_TOLD
        decision = loop.tick(inputs)
        recorded = _object(row.decision)
        tells = isinstance(recorded, dict) and "off" in recorded
        differs |= _fields(row, decision_fields(decision, tells))
        if tells:
            standing = recorded["off"]
        elif standing is not NOT_TOLD and standing != off_fields(decision.why_off):
            differs["off"] = (standing, off_fields(decision.why_off))
        if differs:
            _note(found, row, differs)
        on_recorded += row.heater
        on_now += decision.heater_on
        found.ticks += 1
        if on_progress is not None and row.seq % 500 == 0:
            on_progress(row.seq)
    found.length_s = found.ticks * tick_s
    found.heater_s = on_recorded * tick_s, on_now * tick_s
    if any(e["name"] == "not-recorded" for e in reader.events(found.night_id, limit=10_000)):
        found.remarks.append(
            "Some ticks of this night could not be recorded when they happened (see its events)."
        )
    return found


def _resumed(
    found: Verified, settings: Settings, loop: Loop, state: dict[str, Any], row: TickRow
) -> Loop:
    fresh = Loop(settings)
    try:
        fresh.resume(state)
    except (KeyError, ValueError, TypeError, AttributeError):
        found.remarks.append(
            f"At tick {row.seq} the night was resumed from a state this version cannot take over; "
            f"the loop went on without it."
        )
        return loop
    return fresh


def _fields(row: TickRow, now: dict[str, Any]) -> dict[str, tuple[Any, Any]]:
    """Which fields differ, recorded and now; the decision's own keys one by one."""
    differs: dict[str, tuple[Any, Any]] = {}
    for name, value in now.items():
        recorded = getattr(row, name)
        if recorded == value:
            continue
        if name == "decision":
            differs |= _keys(_object(recorded), json.loads(value), recorded)
        elif name == "believed":
            differs[name] = (_object(recorded), json.loads(value))
        else:
            differs[name] = (recorded, value)
    return differs


def _keys(recorded: Any, now: dict[str, Any], text: str) -> dict[str, tuple[Any, Any]]:
    if not isinstance(recorded, dict):
        return {"decision": (text[:80], "readable")}
    told = {key: in_todays_words(recorded[key]) for key in SENTENCES if key in recorded}
    if {**recorded, **told} == now != recorded:
        return {}
    recorded = {**recorded, **told}
    return {
        key: (recorded.get(key), now.get(key))
        for key in {**recorded, **now}
        if recorded.get(key) != now.get(key)
    } or {"decision": ("written otherwise", "the same values")}


def _object(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return None


def _note(found: Verified, row: TickRow, differs: dict[str, tuple[Any, Any]]) -> None:
    found.ticks_apart += 1
    told: set[str] = set()
    for name, (recorded, now) in differs.items():
        difference = Difference(row.seq, row.wall_s, name, recorded, now)
        if len(found.differences) < KEEP:
            found.differences.append(difference)
        meaning = difference.meaning
        found.first_by_meaning.setdefault(meaning, difference)
        if meaning not in told:
            told.add(meaning)
            found.by_meaning[meaning] = found.by_meaning.get(meaning, 0) + 1
