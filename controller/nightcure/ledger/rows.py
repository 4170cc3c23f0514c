"""The ledger's rows as plain records."""

from __future__ import annotations

import json
from collections.abc import Sequence
from itertools import accumulate
from typing import Any, NamedTuple

#: Key in `meta` of a night that was thinned: this and its number.
THINNED = "thinned/"
#: Key in `meta` of what was seen of a batch of resin: this, its time, kind and batch.
EVIDENCE = "evidence/"
#: Key in `meta` of the trip latch, in a backup.
LATCH = "latch"
#: Key in `meta` of what people noted for a night that has not started yet.
NEXT_NOTES = "notes/next"
#: What keys in `meta` of resin cards that people made begin with; the card's name follows.
CARD = "card/"


class TickRow(NamedTuple):
    """A row of `ticks`; JSON texts as the caller made them."""

    night_id: int
    seq: int
    mono_s: float
    wall_s: float
    inputs: str
    heater: int
    contactor: int
    phase: str
    segment: int | None
    setpoint_c: float | None
    control_c: float | None
    duty: float
    believed: str
    decision: str


class EventRow(NamedTuple):
    """A row of `events`."""

    night_id: int | None
    seq: int | None
    mono_s: float
    wall_s: float
    kind: str
    name: str
    state: str | None
    message: str


class NightRow(NamedTuple):
    """A row of `nights`."""

    id: int
    label: str
    oven: str
    profile: str
    settings: str
    version: str
    opening: str
    started_s: float
    ended_s: float | None
    outcome: str | None
    reason: str | None


class CheckRow(NamedTuple):
    """A row of `checks`: a thermometer was corrected."""

    sensor_id: str
    method: str
    shown_c: float | None
    reference_c: float | None
    offset_c: float
    who: str
    wall_s: float


class EvidenceRow(NamedTuple):
    """What was seen of a batch of resin, as `meta` keeps it under `EVIDENCE` and its time.

    `kind`: `cup`, `heat`, `end` (how far a part came), or `new`: a batch was said to be new; of no
    batch, and with an empty one: `mould` and `oven`.
    """

    batch: str
    kind: str
    found: dict[str, Any]
    night_id: int | None
    wall_s: float

    def as_meta(self) -> tuple[str, str]:
        """Key and value."""
        part = self.found.get("part", "")
        text = json.dumps(self._asdict(), separators=(",", ":"), allow_nan=False)
        return f"{EVIDENCE}{self.wall_s:.3f}/{self.kind}/{self.batch}/{part}", text


class SnapshotRow(NamedTuple):
    """The row of `snapshot`."""

    night_id: int | None
    seq: int
    mono_s: float
    wall_s: float
    state: str


def passed_s(before: TickRow, row: TickRow, tick_s: float) -> float:
    """Time between two ticks, s: by the monotonic clock; by the wall's where that began anew.

    Where the wall clock was not set, the tick on which the night went on tells what is missing.
    """
    mono_s, wall_s = row.mono_s - before.mono_s, row.wall_s - before.wall_s
    return _step_s(mono_s, wall_s, row.inputs, row.decision, tick_s)


def _step_s(mono_s: float, wall_s: float, inputs: str, decision: str, tick_s: float) -> float:
    step_s = mono_s
    if step_s < 0.0 or "resumed_from" in inputs:
        step_s = max(wall_s, tick_s)
    if '"longer":' in decision:
        step_s = max(step_s + float(json.loads(decision)["longer"]), tick_s)
    return step_s


def time_of_night(
    mono_s: Sequence[float], wall_s: Sequence[float], inputs: Sequence[str],
    decisions: Sequence[str], tick_s: float,
) -> list[float]:  # fmt: skip
    """s since the first of the ticks whose columns these are, each step as `passed_s` has it."""
    steps = (
        _step_s(mono_s[i] - mono_s[i - 1], wall_s[i] - wall_s[i - 1], inputs[i], decisions[i],
                tick_s)
        for i in range(1, len(mono_s))
    )  # fmt: skip
    return list(accumulate(steps, initial=0.0)) if mono_s else []
