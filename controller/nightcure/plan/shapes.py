"""Profiles that could be tonight's: ramp, soak, cool; a mild wait for the gel if a card asks.

Three numbers make one: how warm, how steep, how long.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ..cure.box_air import Box
from ..errors import BadInput
from ..profile import Cool, Profile, Ramp, Soak
from ..units import show_duration
from .tonight import Tonight

#: No steeper than this unless asked (common practice for moulds, no source).
USUAL_RAMP_C_PER_H = 15.0
COOL_C_PER_H, COOL_BELOW_C = 20.0, 25.0
#: Warm enough to gel, mild enough for a fresh gel coat (common practice, no source).
MILD_C, WAIT_AT_MOST_H = 20.0, 4.0
COLDEST_SOAK_C = 20.0
#: Shorter is no soak.
SHORTEST_H = 0.5
#: Of the longest night allowed, what a profile leaves unused.
SPARE_S = 600.0


@dataclass(frozen=True)
class Shape:
    """A profile in three numbers."""

    soak_c: float
    ramp_c_per_h: float
    hours: float


@dataclass(frozen=True)
class Room:
    """What the oven and the cards leave to choose."""

    coldest_c: float
    warmest_c: float
    steepest_c_per_h: float
    waits: bool
    """A card forbids heat before the gel, so that a mild stage comes first."""


def room_of(tonight: Tonight) -> Room:
    """The range of soaks and ramps. Raises BadInput where there is none."""
    limits = tonight.settings.limits
    figures = [p.part.figures for p in tonight.parts if p.part.figures is not None]
    warmest_c = min([limits.hottest_soak_c, *(f.highest_c for f in figures if f.highest_c)])
    steepest = min([limits.ramp_c_per_h, *(f.ramp_c_per_h for f in figures if f.ramp_c_per_h)])
    waits = any(
        not f.heat_before_gel and p.part.start_h >= 0.0
        for p, f in zip(tonight.parts, figures, strict=True)
    )
    coldest_c = min(COLDEST_SOAK_C, warmest_c)
    if warmest_c < 10.0:
        raise BadInput(f"this oven and these cards allow {warmest_c:g} °C at the most.")
    return Room(coldest_c, math.floor(warmest_c), steepest, waits)


def longest_h(tonight: Tonight, room: Room, soak_c: float, ramp_c_per_h: float) -> float:
    """The longest soak that ends by the deadline and that the longest night allowed holds, h."""
    start_c = tonight.shed.values_c[0]
    up_h = max(soak_c - start_c, 0.0) / ramp_c_per_h
    cool_h = max(soak_c - COOL_BELOW_C, 0.0) / COOL_C_PER_H
    by_deadline = tonight.deadline_s / 3600.0 - up_h
    cold_up_h = max(soak_c - 5.0, 0.0) / ramp_c_per_h + (WAIT_AT_MOST_H if room.waits else 0.0)
    allowed = tonight.settings.limits.longest_night_h - SPARE_S / 3600.0 - cold_up_h - cool_h
    return max(min(by_deadline, allowed), SHORTEST_H)


def build(tonight: Tonight, room: Room, shape: Shape, box: Box | None = None) -> Profile:
    """The profile of a shape. The parts ride along, so that it can be started as it is."""
    rate = shape.ramp_c_per_h
    segments: list[Ramp | Soak | Cool] = []
    if room.waits and shape.soak_c > MILD_C:
        segments.append(Ramp(to_c=MILD_C, rate_c_per_h=rate))
        segments.append(
            Ramp(to_c=shape.soak_c, rate_c_per_h=rate, wait_for="gelled",
                 wait_at_most_h=WAIT_AT_MOST_H)
        )  # fmt: skip
    else:
        segments.append(Ramp(to_c=shape.soak_c, rate_c_per_h=rate))
    segments.append(Soak(at_c=shape.soak_c, hours=shape.hours))
    cool = min(COOL_C_PER_H, tonight.settings.limits.ramp_c_per_h)
    segments.append(Cool(rate_c_per_h=cool, below_c=COOL_BELOW_C))
    return Profile(
        name=f"At {rate:g} °C/h to {shape.soak_c:g} °C, {show_duration(3600.0 * shape.hours)}",
        segments=tuple(segments),
        parts=tuple(p.part for p in tonight.parts),
        box=box,
    )


def rounded(shape: Shape, up: bool = True) -> Shape:
    """To half degrees, half degrees an hour and five minutes; `up`: never shorter."""
    fives = 12.0 * shape.hours
    hours = (math.ceil(fives - 1e-6) if up else math.floor(fives + 1e-6)) / 12.0
    return Shape(
        round(2.0 * shape.soak_c) / 2.0,
        max(round(2.0 * shape.ramp_c_per_h) / 2.0, 0.5),
        max(hours, SHORTEST_H),
    )


def usual_ramp(room: Room) -> float:
    """A usual ramp within what oven and cards allow, °C per hour."""
    return min(USUAL_RAMP_C_PER_H, room.steepest_c_per_h)
