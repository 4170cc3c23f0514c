"""Ticks as text and back, exactly: what the ledger keeps of the loop's two doors."""

from __future__ import annotations

import json
from typing import Any

from ..ledger.checksum import with_checksum
from ..loop.commands import ALL_CONFIRMED
from ..tick import Command, Decision, Fault, Held, PartCure, Reading, TickInputs, WhyOff

_compact = json.JSONEncoder(separators=(",", ":"), ensure_ascii=False, allow_nan=False)


def dumps(value: Any) -> str:
    """Compact JSON; floats keep every bit."""
    return _compact.encode(value)


def encode_inputs(inputs: TickInputs, resumed_from: dict[str, Any] | None = None) -> str:
    """A tick's inputs but its times, and the snapshot the loop was resumed from, if it was.

    The last key, `k`, is a checksum (CRC-32) of all before it and of the tick's times.
    """
    data: dict[str, Any] = {
        "r": [
            [r.value_c, r.taken_s] if r.fault is None else [r.value_c, r.taken_s, r.fault.value]
            for r in inputs.readings
        ]
    }
    if inputs.commands:
        data["c"] = [list(c) for c in inputs.commands]
        if any(c.word == "start" for c in inputs.commands):
            data["a"] = 1  # a start had to say every confirmation when this was recorded
    if inputs.ledger_silent_s:
        data["l"] = inputs.ledger_silent_s
    if inputs.inbox_silent_s:
        data["i"] = inputs.inbox_silent_s
    if inputs.stop_pressed:
        data["s"] = 1
    if not inputs.armed:
        data["a"] = 0
    if inputs.ledger_gone:
        data["g"] = 1
    if inputs.held is not None:
        data["h"] = list(inputs.held)
    if not inputs.wall_known:
        data["w"] = 0
    if inputs.boot:
        data["b"] = inputs.boot
    if inputs.silence_pressed:
        data["q"] = 1
    if resumed_from is not None:
        data["resumed_from"] = resumed_from
    return with_checksum(inputs.mono_s, inputs.wall_s, dumps(data))


def decode_inputs(
    mono_s: float, wall_s: float, text: str
) -> tuple[TickInputs, dict[str, Any] | None]:
    """What `encode_inputs` wrote: the inputs, and the snapshot of a resume or None.

    Before every confirmation was asked of a start, one that it did not say counted as given. Such
    a record has no `a` beside the command, and is read as it was judged.
    """
    data = json.loads(text)
    readings = tuple(Reading(r[0], r[1], Fault(r[2]) if len(r) > 2 else None) for r in data["r"])
    commands = tuple(Command(*c) for c in data.get("c", ()))
    if "a" not in data:
        commands = tuple(_as_confirmed(c) for c in commands)
    inputs = TickInputs(
        mono_s,
        wall_s,
        readings,
        commands,
        data.get("l", 0.0),
        data.get("i", 0.0),
        bool(data.get("s", 0)),
        bool(data.get("a", 1)),
        bool(data.get("g", 0)),
        Held(*data["h"]) if "h" in data else None,
        wall_known=bool(data.get("w", 1)),
        boot=data.get("b", ""),
        silence_pressed=bool(data.get("q", 0)),
    )
    return inputs, data.get("resumed_from")


def _as_confirmed(command: Command) -> Command:
    if command.word != "start":
        return command
    return command._replace(args={**ALL_CONFIRMED, **command.args})


def off_fields(off: WhyOff | None) -> list[Any] | None:
    """Why the heater may not be on, as a decision's key `off` has it."""
    return None if off is None else [off.code.value, off.fields]


def decision_fields(d: Decision, with_off: bool = True) -> dict[str, Any]:
    """A decision as the ledger's columns have it; equal decisions give equal fields.

    `with_off`: say why the heater may not be on. A night's first tick says it, and every tick on
    which it changes; earlier versions did not.
    """
    return {
        "heater": int(d.heater_on),
        "contactor": int(d.contactor_on),
        "phase": d.phase.value,
        "segment": d.segment,
        "setpoint_c": d.setpoint_c,
        "control_c": d.control_c,
        "duty": d.duty,
        "believed": dumps(list(d.believed)),
        "decision": _rest(d, with_off),
    }


def _rest(d: Decision, with_off: bool) -> str:
    """The part of a decision that has no column of its own."""
    data: dict[str, Any] = {}
    if with_off:
        data["off"] = off_fields(d.why_off)
    if d.fan_on:
        data["fan"] = 1
    if d.relay_alone:
        data["alone"] = 1
    if d.waiting:
        data["wait"] = 1
    if d.trip is not None:
        data["trip"] = d.trip
    if any(d.faults):
        data["faults"] = [None if f is None else f.value for f in d.faults]
    if d.events:
        data["events"] = [list(e) for e in d.events]
    if d.outcomes:
        data["outcomes"] = [list(o) for o in d.outcomes]
    if d.longer_s is not None:
        data["longer"] = d.longer_s
    if d.checks:
        data["checks"] = [list(c) for c in d.checks]
    if d.beliefs:
        data["beliefs"] = [list(b) for b in d.beliefs]
    if d.evidence:
        data["evidence"] = [list(e) for e in d.evidence]
    if d.cure:
        data["cure"] = [_cure(c) for c in d.cure]
    return dumps(data) if data else "{}"


def _cure(c: PartCure) -> list[Any]:
    """A part's report; its glass transition only where its card tells it, as earlier versions had
    none."""
    tail = [] if c.tg_c is None else [c.tg_c]
    return [*c[:6], [list(w) for w in c.milestones], *tail]
