"""The record as one JSON object, units in the keys."""

from __future__ import annotations

from typing import Any

from .facts import Facts
from .sheet import Extras, priced
from .verdict import verdict


def summary(facts: Facts, extras: Extras) -> dict[str, Any]:
    """What `nightcure record --json` prints."""
    g, night = facts.tick_summary, facts.night
    said, tone = verdict(facts)
    price, currency = priced(facts, extras)
    cost = None if price is None else facts.energy_kwh * price
    return {
        "night": night.id,
        "label": night.label,
        "oven": night.oven,
        "profile": facts.profile["name"],
        "verdict": said,
        "tone": tone,
        "outcome": night.outcome,
        "reason": night.reason,
        "started_wall_s": night.started_s,
        "ended_wall_s": night.ended_s,
        "length_s": round(g.length_s, 1),
        "energy_kwh": round(facts.energy_kwh, 4),
        "cost": None if cost is None else round(cost, 4),
        "currency": currency or None,
        "over_setpoint_k": g.over_setpoint_k,
        "switchings": facts.switchings,
        "segments": [
            {
                "number": s.number + 1,
                "kind": s.kind,
                "start_wall_s": s.start_wall_s,
                "length_s": round(s.end_s - s.start_s, 1),
                "counted_s": round(s.counted_s, 1),
                "waited_s": round(s.waited_s, 1),
                "air_low_c": s.air.low if s.air.count else None,
                "air_high_c": s.air.high if s.air.count else None,
                "over": s.over,
            }
            for s in g.segments
        ],
        "parts": [
            {
                "name": p.name,
                "card": p.card,
                "resin_kg": p.resin_kg,
                "catalyst_pct": p.catalyst_pct,
                "degree": p.degree,
                "equivalent_min": p.equivalent_min,
                "milestones": {m.name: m.reached_wall_s for m in p.milestones},
            }
            for p in facts.parts
        ],
        "alarms": [vars(a) for a in facts.alarms],
        "heat_withheld": [vars(w) for w in g.withheld] if g.tells_off else None,
        "thermometers": [
            {
                "name": s.name,
                "role": s.role,
                "id": s.id,
                "offset_k": s.offset_c,
                "last_check": None if s.check is None else s.check._asdict(),
                "low_c": s.low_c,
                "high_c": s.high_c,
                "not_believed_ticks": s.faults,
            }
            for s in facts.sensors
        ],
        "notes": facts.notes,
        "standing": [s._asdict() for s in g.standing],
        "oven_since": extras.drift,
        "thinned": facts.thinned,
        "version": night.version,
        "sha256": facts.night_hash,
    }
