"""What a night asks for and what befalls it, by chance."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from functools import cache

from nightcure.cure.card import load_card
from nightcure.cure.clock_figures import ClockFigures
from nightcure.cure.part import Part
from nightcure.profile import Profile, parse_profile
from nightcure.settings import Role
from nightcure.simulate.faults import FaultAt
from tests.ambients import nights
from tests.campaign.night import Asked, Cut, Plan, Silence, Stall
from tests.campaign.ovens import LAMINATE_J_PER_KG_K, Draw, DrawnOven, drawn_oven

#: Kinds of fault, as the table names them.
KINDS = (
    "relay-welded", "contactor-welded", "heater-weak", "heater-dead", "door-minutes",
    "door-all-night", "exotherm-twice", "mains-cut", "clock-step", "stalled", "ledger-full",
    "ledger-removed",
    "sensor-open", "sensor-85", "sensor-crc", "sensor-frozen", "sensor-jump", "sensor-drift",
    "sensor-noisy", "sensor-out", "sensor-out-from-start", "sensors-swapped", "other-sensor",
)  # fmt: skip
#: Drawn three times as often as the others: what times are promised for.
PROMISED = ("relay-welded", "sensor-out", "sensor-out-from-start", "door-all-night")
SENSOR_FAULTS = {
    "sensor-open": "sensor-missing", "sensor-85": "sensor-power-on-85", "sensor-crc": "sensor-crc",
    "sensor-frozen": "sensor-frozen", "sensor-jump": "sensor-jump", "sensor-drift": "sensor-drift",
    "sensor-noisy": "sensor-noisy", "sensor-out": "sensor-out-of-box",
    "sensors-swapped": "sensors-swapped",
}  # fmt: skip
#: Nobody asks for more in a night of 16 h that may have to wait.
LONGEST_H = 12.0
CARDS = ("epoxy-fast", "epoxy-slow")


@cache
def figures(card: str) -> ClockFigures:
    """A shipped card's numbers, epoxies only: they give off nothing that a box must be told for.

    As a card of somebody's who may warm it at once and as he likes.
    """
    free = {"heat_before_gel": True, "ramp_c_per_h": None, "highest_c": None}
    return load_card(card).figures(None).model_copy(update=free)


def falling(d: Draw) -> Callable[[float], float]:
    """A shed that begins somewhere and falls towards the morning."""
    first_c, fall_k, hours = d.between(-10.0, 25.0), d.between(0.0, 12.0), d.between(6.0, 11.0)
    fall_k = min(fall_k, first_c + 15.0)

    def ambient_c(t_s: float) -> float:
        share = min(t_s / 3600.0 / hours, 1.0)
        return first_c - fall_k * (1.0 - math.cos(math.pi * share)) / 2.0

    return ambient_c


def reachable(oven: DrawnOven, coldest_c: float, share: float = 0.85) -> float:
    """The highest temperature it holds in such a shed, with a reserve."""
    return coldest_c + share * oven.truth.power_w / oven.truth.loss_w_per_k


def falls(oven: DrawnOven, at_c: float, shed_c: float) -> float:
    """How fast it cools by itself, K/h."""
    truth = oven.truth
    whole = truth.whole_j_per_k + LAMINATE_J_PER_KG_K * sum(oven.laminates_kg)
    return 3600.0 * truth.loss_w_per_k * (at_c - shed_c) / whole


def drawn_profile(
    d: Draw, oven: DrawnOven, coldest_c: float, start_c: float, hours: float, warmest_c: float
) -> Profile | None:
    """A profile that the oven can do, of about so many hours; None where it can do none."""
    truth = oven.truth
    most_c = min(52.0, reachable(oven, coldest_c))
    if most_c < max(24.0, start_c + 2.0):
        return None
    top_c = d.between(max(24.0, start_c + 2.0, most_c - 22.0), most_c)
    spare_w = truth.power_w - truth.loss_w_per_k * (top_c - coldest_c)
    fastest = (
        3600.0 * spare_w / (truth.whole_j_per_k + LAMINATE_J_PER_KG_K * sum(oven.laminates_kg))
    )
    rate = min(d.between(6.0, 30.0), 0.8 * fastest)
    if rate < 1.0:
        return None
    segments: list[dict[str, object]] = []
    at_c = start_c
    for step in range(d.one((1, 1, 2, 3))):
        to_c = top_c if step == 0 else d.between(max(20.0, top_c - 15.0), top_c)
        if abs(to_c - at_c) > 0.5:
            slow = rate if to_c > at_c else min(rate, 0.5 * falls(oven, to_c, warmest_c))
            if slow < 1.0:
                continue
            ramp = {"kind": "ramp", "to_c": round(to_c, 1), "rate_c_per_h": round(slow, 2)}
            segments.append(ramp)
        at_c = to_c
        soak_h = max(hours - (top_c - start_c) / rate, 0.5) * d.between(0.3, 1.0)
        segments.append({"kind": "soak", "at_c": round(to_c, 1), "hours": round(soak_h, 2)})
    below_c = max(coldest_c + 6.0, at_c - d.between(3.0, 15.0))
    cool = {"kind": "cool", "rate_c_per_h": round(d.between(5.0, 30.0), 1)}
    segments.append({**cool, "below_c": round(min(below_c, 79.0), 1)})
    lag_c, band_c = d.between(3.0, 8.0), d.between(1.5, 4.0)
    profile = parse_profile(
        {"name": "Drawn", "lag_c": round(lag_c, 1), "band_c": round(band_c, 1),
         "segments": segments}
    )  # fmt: skip
    limits = oven.settings.limits
    long = profile.planned_s(start_c, limits.ramp_c_per_h) > LONGEST_H * 3600.0
    return None if long or profile.refusals(limits) else profile


def with_resin(d: Draw, plan: Plan, declared: bool) -> Plan:
    """The laminates are wet: mixed at about the start, on the card or without a word."""
    resin, parts = [], []
    sensors = [t.name for t in plan.oven.settings.thermometers if t.role in (Role.PART, Role.MOULD)]
    for i, kg in enumerate(plan.oven.laminates_kg):
        if kg <= 0.0:
            continue
        card = d.one(CARDS)
        part = Part(name=f"Part {i + 1}", card=card, resin_kg=round(0.5 * kg, 3),
                    start_h=round(d.between(-1.0, 0.3), 2), sensor=f"mould {i + 1}",
                    figures=figures(card))  # fmt: skip
        resin.append(part)
        on = sensors[i] if i < len(sensors) else None
        parts.append(part.model_copy(update={"sensor": on}))
    if not resin:
        return plan
    profile = plan.profile.model_copy(update={"parts": tuple(parts)}) if declared else plan.profile
    return replace(plan, resin=tuple(resin), profile=profile)


def clean_base(d: Draw, hours: float, ambient: Callable[[float], float] | None = None) -> Plan:
    """An oven and what it is asked for."""
    while True:
        oven = drawn_oven(d)
        shed = ambient or falling(d)
        start_c = shed(0.0) + d.between(0.0, 6.0)
        course_c = [shed(h * 3600.0) for h in range(17)]
        profile = drawn_profile(d, oven, min(course_c), start_c, hours, max(course_c))
        if profile is not None:
            seed = int(d.rng.integers(2**31))
            return Plan(oven, profile, shed, start_c, seed, most_s=hours * 3600.0)


def faulted(seed: int, index: int) -> tuple[Plan, list[tuple[str, float]]]:
    """A night with one fault or two at random times, and what and when they are."""
    d = Draw(seed, index)
    hours = d.between(2.0, 6.0)
    kinds = [d.one((*KINDS, *PROMISED, *PROMISED))]
    if d.chance(0.3):
        kinds.append(d.one([k for k in KINDS if k != kinds[0]]))
    plan = clean_base(d, hours)
    while "exotherm-twice" in kinds and not any(plan.oven.laminates_kg):
        plan = clean_base(d, hours)
    if "exotherm-twice" in kinds or d.chance(0.3):
        plan = with_resin(d, plan, d.chance(0.5))
    befell = []
    for kind in kinds:
        at_s = 2.0 * round(d.between(0.0, 0.75 * plan.most_s) / 2.0)
        if kind == "sensor-out-from-start":
            at_s = 0.0
        plan = with_fault(d, plan, kind, at_s)
        befell.append((kind, 0.0 if kind == "exotherm-twice" else at_s))
    if d.chance(0.3):
        plan = replace(plan, asked=asked(d, plan))
    return plan, befell


def with_fault(d: Draw, plan: Plan, kind: str, at_s: float) -> Plan:
    """The night with one more fault in it."""
    oven, left_s = plan.oven, plan.most_s - at_s
    if kind == "mains-cut":
        clock = d.one(("right", "late", "wrong"))
        right_s = {"right": 0.0, "late": d.between(20.0, 1200.0), "wrong": math.inf}[clock]
        for_s = 2.0 * round(d.ratio(4.0, min(10800.0, left_s)) / 2.0)
        return replace(
            plan, cuts=(*plan.cuts, Cut(at_s, for_s, clock, d.between(0, 3600), right_s))
        )
    if kind == "clock-step":
        by_s = d.one((-1.0, 1.0)) * d.ratio(1.0, 1e5)
        return replace(plan, clock_steps=(*plan.clock_steps, (at_s, by_s)))
    if kind == "stalled":
        return replace(plan, stalls=(*plan.stalls, Stall(at_s, d.ratio(4.0, 600.0))))
    if kind in ("ledger-full", "ledger-removed"):
        for_s = d.ratio(20.0, left_s) if d.chance(0.5) else math.inf
        silence = Silence(at_s, for_s, kind == "ledger-removed")
        return replace(plan, silences=(*plan.silences, silence))
    if kind == "exotherm-twice":
        return replace(plan, heat_times=2.0)
    fault = _oven_fault(d, oven, kind, at_s, left_s)
    return replace(plan, faults=(*plan.faults, fault))


def _oven_fault(d: Draw, oven: DrawnOven, kind: str, at_s: float, left_s: float) -> FaultAt:
    door_w_per_k = oven.truth.loss_w_per_k * d.between(8.0, 20.0)
    if kind == "door-minutes":
        return FaultAt("door-open", at_s, d.ratio(60.0, 2700.0), door_w_per_k)
    if kind == "door-all-night":
        return FaultAt("door-open", at_s, math.inf, door_w_per_k)
    if kind == "heater-weak":
        return FaultAt("heater-weak", at_s, math.inf, d.one((0.3, d.between(0.1, 0.6))))
    if kind == "heater-dead":
        return FaultAt("relay-stuck-open", at_s)
    if kind in ("relay-welded", "contactor-welded"):
        return FaultAt(kind, at_s)
    sensor = None
    if kind == "other-sensor":
        kind = d.one([k for k in SENSOR_FAULTS if k != "sensors-swapped"])
        count = len(oven.settings.thermometers)
        sensor = int(d.rng.integers(1, count)) if count > 1 else None
    size = {
        "sensor-jump": d.one((-1.0, 1.0)) * d.ratio(2.0, 40.0),
        "sensor-drift": d.one((-1.0, 1.0)) * d.ratio(1.0, 15.0),
        "sensor-noisy": d.ratio(0.2, 5.0),
    }.get(kind)
    passing = kind in ("sensor-open", "sensor-crc", "sensor-85") and d.chance(0.3)
    for_s = d.ratio(2.0, left_s) if passing else math.inf
    name = SENSOR_FAULTS.get(kind, "sensor-out-of-box")
    return FaultAt(name, at_s, for_s, size, sensor)


def asked(d: Draw, plan: Plan) -> tuple[Asked, ...]:
    """What somebody does at the page in between."""
    found = []
    for _ in range(d.one((1, 2, 4))):
        at_s = d.between(60.0, 0.9 * plan.most_s)
        word = d.one(("setpoint", "setpoint", "skip", "extend", "stop-start", "reset-start",
                      "acknowledge", "open"))  # fmt: skip
        start = Asked(at_s + d.between(10.0, 900.0), "start", start_arguments(plan.profile))
        if word == "setpoint":
            lift_c = plan.profile.highest_c + d.between(-12.0, 2.0)
            found.append(Asked(at_s, word, {"celsius": round(min(lift_c, 54.0), 1)}))
        elif word == "extend":
            found.append(Asked(at_s, word, {"minutes": round(d.between(-60.0, 60.0))}))
        elif word == "open":
            found.append(Asked(at_s, word, {"laying": d.chance(0.5)}))
            found.append(Asked(at_s + d.ratio(60.0, 3600.0), "shut", {"aired": d.chance(0.7)}))
        elif word == "stop-start":
            found += [Asked(at_s, "stop", {}), start]
        elif word == "reset-start":
            found += [Asked(at_s, "reset", {}), start]
        else:
            found.append(Asked(at_s, word, {}))
    return tuple(found)


def start_arguments(profile: Profile) -> dict[str, object]:
    """As the page sends it."""
    from nightcure.loop.commands import ALL_CONFIRMED

    return {"profile": profile.model_dump(mode="json"), **ALL_CONFIRMED}


def clean(seed: int, index: int) -> tuple[Plan, list[tuple[str, float]]]:
    """A night without a fault, in a real shed; in some the box is opened to laminate, in some the
    mains fail."""
    d = Draw(seed, 1_000_000 + index)
    ambient = d.one(nights(120))
    hours = d.between(5.0, 11.0)
    plan = clean_base(d, hours, ambient)
    plan = replace(plan, most_s=3600.0 * (hours + 8.0))
    befell: list[tuple[str, float]] = []
    if d.chance(0.35):
        plan = with_resin(d, plan, d.chance(0.6))
    if d.chance(0.3):
        at_s, for_s = d.between(600.0, 3600.0 * hours * 0.8), d.between(600.0, 2700.0)
        door = FaultAt(
            "door-open", at_s, for_s, plan.oven.truth.loss_w_per_k * d.between(8.0, 20.0)
        )
        plan = replace(plan, faults=(door,))
        said = d.chance(0.5)
        if said:
            shut = Asked(at_s + for_s, "shut", {"aired": True})
            plan = replace(plan, asked=(Asked(at_s, "open", {"laying": True}), shut))
        befell.append(("door-said" if said else "door-unsaid", at_s))
    if d.chance(0.25):
        at_s = 2.0 * round(d.between(600.0, 3600.0 * hours * 0.8) / 2.0)
        clock = d.one(("right", "late", "wrong"))
        right_s = {"right": 0.0, "late": d.between(20.0, 1200.0), "wrong": math.inf}[clock]
        cut = Cut(at_s, 2.0 * round(d.ratio(2.0, 600.0)), clock, d.between(0.0, 3600.0), right_s)
        plan = replace(plan, cuts=(cut,))
        befell.append((f"cut-clock-{clock}", at_s))
    if d.chance(0.3):
        at_s = d.between(600.0, 3600.0 * hours * 0.8)
        lower_c = plan.profile.highest_c - d.between(0.0, 15.0)
        lower = Asked(at_s, "setpoint", {"celsius": round(lower_c, 1)})
        plan = replace(plan, asked=(*plan.asked, lower))
        befell.append(("setpoint", at_s))
    return plan, befell
