"""What is true now, for the page: one JSON object a tick."""

from __future__ import annotations

from typing import Any

from ..loop.loop import Loop
from ..loop.waiting import oven_parts, soak_ends_when, state_of, waits_for
from ..profile import Cool, Ramp, Segment, Soak
from ..record.milestones import told_milestones
from ..record.off_sentences import off_sentence
from ..settings import Settings
from ..tick import Decision, PartBelief, Phase, TickInputs, interlock_words
from ..units import show_duration, show_temperature
from .night_end import left


def live_state(
    settings: Settings, loop: Loop, inputs: TickInputs, d: Decision, speed: float
) -> dict[str, Any]:
    """The live state; night and tick number are added where the ledger knows them."""
    run = loop.run
    ends = left(settings, loop, d)
    left_s = None if ends is None else ends.likely_s
    alarms = [
        {
            "name": a.name,
            "words": interlock_words(a.name),
            "state": a.state.value,
            "latching": a.latching,
            "message": a.message,
            "since_s": a.since_s,
        }
        for a in loop.alarms()
    ]
    trip = next((a for a in alarms if a["name"] == d.trip), None)
    return {
        "wall_s": inputs.wall_s,
        "mono_s": inputs.mono_s,
        "oven": settings.name,
        "units": settings.units,
        "speed": speed,
        "tick_s": settings.timing.tick_s,
        "phase": d.phase.value,
        "profile": None if run is None else run.profile.model_dump(mode="json"),
        "segment": d.segment,
        "segments": 0 if run is None else len(run.profile.segments),
        "setpoint_c": d.setpoint_c,
        "control_c": d.control_c,
        "duty": d.duty,
        "heater": d.heater_on,
        "contactor": d.contactor_on,
        "fan": d.fan_on,
        "why_off": _why_off(d),
        "left_s": left_s,
        "ends_s": None if left_s is None or not inputs.wall_known else inputs.wall_s + left_s,
        "most_s": None if ends is None else ends.most_s,
        "night_s": loop.night_s,
        "clock_set": inputs.wall_known,
        "box_open": loop.box.open,
        "wet_resin": loop.box.laying,
        "waiting": d.waiting,
        "next": next_sentence(settings, loop, d),
        "cure": _cure(loop, inputs.wall_s),
        "cups": loop.cure.cups.shown(),
        "trip": trip,
        "thermometers": [
            {
                "name": t.name,
                "role": t.role.value,
                "id": t.id,
                "value_c": value_c,
                "fault": None if fault is None else fault.value,
                "age_s": round(max(inputs.mono_s - r.taken_s, 0.0), 1),
            }
            for t, value_c, fault, r in zip(
                settings.thermometers, d.believed, d.faults, inputs.readings, strict=True
            )
        ],
        "alarms": alarms,
        "siren": d.signals.siren if settings.annunciator.siren else None,
        "switchings": loop.switchings,
        "limits": {
            "air_c": settings.limits.air_c,
            "part_c": settings.limits.part_c,
            "hottest_soak_c": settings.limits.hottest_soak_c,
            "ramp_c_per_h": settings.limits.ramp_c_per_h,
            "longest_night_h": settings.limits.longest_night_h,
        },
        "regulator": (run and run.profile.regulator) or settings.regulator.kind,
        "power_w": settings.heater.power_w,
        "stop_pressed": inputs.stop_pressed,
    }


def _why_off(d: Decision) -> dict[str, Any] | None:
    """Why the heater may not be on, with its sentence; None where it may."""
    if d.why_off is None:
        return None
    code, fields = d.why_off
    return {"code": code.value, "fields": fields, "sentence": off_sentence(code, fields)}


def _cure(loop: Loop, wall_s: float) -> list[dict[str, Any]]:
    """Every part on a resin card; its milestones in wall time, reached or foreseen."""
    clocks = loop.cure.clocks
    if clocks is None:
        return []
    began_s = wall_s - clocks.now_s
    parts = []
    told = clocks.beliefs.told(loop.cure.cups)
    for c in clocks.parts():
        belief = told.get(c.name)
        whens = told_milestones(c.milestones, belief, clocks.beliefs.unsure(c.name), clocks.now_s)
        milestones = [
            {"name": w.name}
            | {k: None if t is None else began_s + t for k, t in w._asdict().items() if k != "name"}
            for w in whens
        ]
        believed = None if belief is None else _believed(belief, began_s)
        parts.append({**c._asdict(), "milestones": milestones, "believed": believed})
    return parts


def _believed(b: PartBelief, began_s: float) -> dict[str, Any]:
    """What is believed of a part by all that was seen, in wall time; early, likely, late."""

    def wall(times_s: tuple[float | None, ...] | None) -> list[float | None] | None:
        return None if times_s is None else [t and began_s + t for t in times_s]

    return {
        "gelled_s": wall(b.gelled_s),
        "demould_s": wall(b.demould_s),
        "gel_factor": list(b.gel_factor),
        "cure_factor": list(b.cure_factor),
        "seen": list(b.seen),
    }


def next_sentence(settings: Settings, loop: Loop, d: Decision) -> str:
    """What comes next, in one sentence."""
    run = loop.run
    if d.trip is not None:
        return "The oven has tripped; it stays off until a person resets it."
    if run is None:
        if d.phase is Phase.DONE:
            return "The heater is off."
        if d.control_c is None:
            return (
                "The air's temperature is not known; a night starts once its thermometer answers."
            )
        return "Ready for a night."
    if loop.box.why_off is not None:
        return off_sentence(*loop.box.why_off)
    segment = run.segment
    if d.waiting:
        if (
            isinstance(segment, Ramp)
            and segment.wait_for
            and not loop.cure.reached(segment.wait_for)
        ):
            most = show_duration(3600.0 * segment.wait_at_most_h)
            what = state_of(segment.wait_for)
            return f"The ramp waits until every part is {what}, at most {most}."
        if d.control_c is not None:
            return waits_for(settings, run, oven_parts(settings, d.believed, d.control_c))
        return "It waits for a believable air temperature."
    following = run.profile.segments[run.index + 1 :]
    after = _then(settings, following[0]) if following else "the end"
    if isinstance(segment, Soak):
        more = show_duration(60.0 * round((segment.hours * 3600.0 - run.counted_s) / 60.0))
        if segment.until or segment.ends_on_tg:
            what = soak_ends_when(settings, segment)
            at = show_temperature(segment.at_c, settings.units)
            return f"Held at {at} until every part is {what}, at most {more}; then {after}."
        return f"{more} of soak left, then {after}."
    if isinstance(segment, Ramp):
        return f"Rising to {show_temperature(segment.to_c, settings.units)}, then {after}."
    below = show_temperature(segment.below_c, settings.units)
    return f"Cooling until everything is below {below}, then the end."


def _then(settings: Settings, segment: Segment) -> str:
    if isinstance(segment, Soak):
        hours = show_duration(segment.hours * 3600.0)
        at = show_temperature(segment.at_c, settings.units)
        if segment.until or segment.ends_on_tg:
            what = soak_ends_when(settings, segment)
            return f"a soak at {at} until every part is {what}, at most {hours}"
        return f"a soak of {hours} at {at}"
    if isinstance(segment, Cool):
        return f"cool-down to {show_temperature(segment.below_c, settings.units)}"
    return f"a ramp to {show_temperature(segment.to_c, settings.units)}"
