"""What a plan says: its answer, its weak point, its warnings. A sentence each."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from scipy.stats import rankdata

from ..cure.box_air import gives_off, vapour_refusal, vapour_sentence
from ..cure.cure_clock import CureClock
from ..oven.arrays import Array
from ..profile import Profile, Ramp, Soak, knows
from ..units import show_duration, show_temperature
from . import makers
from .night_results import MILD_C, Nights
from .propose import room_of
from .sampling import SampledParameters
from .tonight import DAY_S, Tonight
from .trips import NAMES, OVER_TEMPERATURE

#: A trip or a mishap in more than this share of the nights is worth a warning.
WORTH = 0.01
#: Air so far short of the setpoint at full power is not held.
SHORT_K = 1.0
#: A heater that gives all it has for longer than this is spoken of, s.
FULL_S = 1800.0

GOALS = {
    "gelled": "the gel",
    "laminate-opens": "laminate-ready",
    "laminate-closes": "the end of its window",
    "demould": "demould",
    "full": "full cure",
    "post-cured": "the end of the post-cure",
}


def clock_time(tonight: Tonight, after_s: float) -> str:
    """A time of the night on the wall's clock, such as 07:10."""
    minutes = round(((tonight.start_of_day_s + after_s) % DAY_S) / 60.0) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def brief(profile: Profile) -> str:
    """A profile in words: its hottest soak, and the regulator where it asks for one."""
    soaks = [s for s in profile.segments if isinstance(s, Soak)]
    soak = max(soaks, key=lambda s: s.at_c)
    until = f" (or until {GOALS[soak.until]})" if soak.until else ""
    by = f", regulated by {profile.regulator}," if profile.regulator else ""
    return f"{soak.at_c:g} °C for {show_duration(3600.0 * soak.hours)}{until}{by}"


def course_of(profile: Profile) -> str:
    """A whole profile in words: 'up at 15 °C/h to 32 °C, held 7 h 00 min'; how it cools goes
    without saying."""
    said = []
    for s in profile.segments:
        if isinstance(s, Ramp):
            after = f"once {s.wait_for} " if s.wait_for else ""
            said.append(f"{after}up at {s.rate_c_per_h:g} °C/h to {s.to_c:g} °C")
        elif isinstance(s, Soak):
            until = f" or until {GOALS[s.until]}" if s.until else ""
            said.append(f"held {show_duration(3600.0 * s.hours)}{until}")
    return ", ".join(said)


def answer(
    tonight: Tonight,
    profile: Profile,
    nights: Nights,
    goal_s: float | None,
    energy_kwh: float,
    weak: str,
    slow: float | None,
) -> str:
    """The answer in one sentence, and the weak point.

    A generic card never yields a bare yes: nobody knows yet whose resin it is.
    """
    probability = float(np.mean(nights.met(tonight.deadline_s)))
    if probability >= 0.9:
        first = "Yes" if slow is None else "Very probably" if slow >= 0.9 else "Probably"
    elif probability >= 0.5:
        first = "Probably"
    elif probability >= 0.1:
        first = "Hardly"
    else:
        first = "No"
    goal, by = GOALS[tonight.goal], clock_time(tonight, tonight.deadline_s)
    hot = float(np.mean(nights.tripped == OVER_TEMPERATURE)) > WORTH
    within = ", and stays below its limits," if hot else ""
    count = round(100.0 * probability)
    if goal_s is not None and goal_s <= tonight.deadline_s:
        usual = f", usually at {clock_time(tonight, goal_s)}"
    elif goal_s is not None:
        usual = f", usually not before {clock_time(tonight, goal_s)}"
    else:
        usual = ""
    resin = "" if slow is None else f" {makers.if_slow(slow)}"
    return (
        f"{first}: {brief(profile)} reaches {goal} by {by}{within} in {count} of 100 "
        f"nights{resin}{usual}; {energy_kwh:.1f} kWh. {weak}"
    )


def weak_point(tonight: Tonight, nights: Nights, sampled: SampledParameters) -> str:
    """What the time of the goal hangs on most, by rank correlation over the nights."""
    goal = np.where(np.isnan(nights.goal_s[:, 0]), 1e9, nights.goal_s[:, 0])
    if goal.min() == goal.max():
        return "Nothing that varies from night to night changes it."
    drivers: dict[str, Array] = {
        "how cold the shed gets": sampled.ambient_k,
        "the oven's loss": sampled.loss_times,
        "the heater's power": sampled.power_times,
        "what the moulds take up": sampled.mould_capacity_times,
        "the air thermometer's offset": sampled.air_offset_k,
        "the catalyst as weighed": sampled.weighing_times.max(axis=1),
        "how well the card knows the gel": sampled.gel_times.max(axis=1),
        "how well the card knows the cure": sampled.cure_z.max(axis=1),
        "how the gel slows in the cold": sampled.gel_kj_per_mol.max(axis=1),
        "how the cure quickens with warmth": sampled.cure_kj_per_mol.max(axis=1),
    }
    late = rankdata(goal)
    strength = {
        name: abs(float(np.corrcoef(late, rankdata(values))[0, 1]))
        for name, values in drivers.items()
        if values.min() < values.max()
    }
    if not strength:
        return "Nothing that varies from night to night changes it."
    full = nights.full_s[:, 0]
    often = float(np.mean(nights.short_k[:, 0] > SHORT_K))
    if often > 0.2:
        coldest_c = min(tonight.shed.values_c[: int(tonight.deadline_s / 60.0)])
        return (
            f"The weak point is the heater below {show_temperature(coldest_c + 2.0, digits=0)}: in "
            f"{100.0 * often:.0f} of 100 nights it cannot hold the soak."
        )
    name = max(strength, key=lambda n: strength[n])
    more = ""
    if float(np.median(full)) > FULL_S:
        more = f"; the heater gives all it has for {show_duration(float(np.median(full)))}"
    return f"The weak point is {name}{more}."


def too_soon(tonight: Tonight) -> str | None:
    """Why no warmth can meet the deadline, or None: at the early end of every figure, all along
    at the warmest that oven and card allow."""
    room = room_of(tonight)
    for p in tonight.parts:
        f = p.part.figures
        if f is None or not knows(p.part, tonight.goal):
            continue
        early = {
            name: (band[0], band[0], band[0])
            for name in ("gel_band", "opens_min", "closes_min", "demould_min", "full_min")
            if (band := getattr(f, name)) is not None
        }
        clock = CureClock(f.model_copy(update=early))
        gel_min = clock.gel_min_at(room.warmest_c)
        needs_s = clock.needs_s(tonight.goal, room.warmest_c)
        if gel_min is None or needs_s is None:
            return (
                f"{p.part.name} cannot reach {GOALS[tonight.goal]}: at the {room.warmest_c:g} °C "
                f"that oven and cards allow, its card knows no way there."
            )
        # `needs_s` takes the gel at its card's likely time; at its early one it is so much sooner.
        needs_s -= 60.0 * gel_min * (1.0 - f.gel_band[0])
        left_s = tonight.deadline_s - 3600.0 * p.part.start_h
        if needs_s > left_s:
            return (
                f"The deadline is impossible: even at {room.warmest_c:g} °C from the first minute "
                f"{p.part.name} needs {show_duration(60.0 * np.ceil(needs_s / 60.0))} to "
                f"{GOALS[tonight.goal]}, and there are {show_duration(left_s)}; move the deadline, "
                f"or start earlier."
            )
    return None


def warnings_of(tonight: Tonight, profile: Profile, nights: Nights) -> tuple[str, ...]:
    """What has to be said besides, the gravest first."""
    return tuple(_warnings(tonight, profile, nights))


def _warnings(tonight: Tonight, profile: Profile, nights: Nights) -> Iterator[str]:
    limits = tonight.settings.limits
    said = {
        "over-temperature": "A part or the air passes its limit and the oven trips",
        "heater-on-too-long": (
            f"The heater is on for {limits.longest_heater_on_h:g} h without a pause and the oven "
            f"trips"
        ),
    }
    for number, name in enumerate(NAMES):
        share = float(np.mean(nights.tripped == number)) if number else 0.0
        if share > WORTH:
            yield f"{said[name]} ({name}) in {100.0 * share:.0f} of 100 nights."
    yield from _holding(tonight, profile, nights)
    above_k = float(np.percentile(nights.above_air_k, 90))
    if above_k > 0.5 * limits.exotherm_c:
        yield (
            f"Exotherm: in one night of ten a mould runs {above_k:.1f} K or more above the air; a "
            f"thick laminate's core more (nightcure cure laminate). Less resin at a time, a "
            f"slower mix or a cooler soak gives less."
        )
    share = float(np.mean(nights.heated_before_gel))
    if share > WORTH:
        yield (
            f"A resin whose card does not allow heat before the gel is above {MILD_C:g} °C before "
            f"it gels in {100.0 * share:.0f} of 100 nights; let the ramp wait "
            f"(wait_for = 'gelled')."
        )
    generic = makers.warning(tonight)
    if generic is not None:
        yield generic
    yield from _cold(tonight)
    yield from vapour_warnings(profile)
    for p in tonight.parts:
        if not knows(p.part, tonight.goal):
            yield (
                f"{p.part.name}: its card '{p.part.card}' does not tell {GOALS[tonight.goal]}; it "
                f"is left out of the answer."
            )
    if tonight.goal == "laminate-opens":
        for i, p in enumerate(tonight.parts):
            closes = nights.reached_s.get((i, "laminate-closes"))
            if closes is not None and np.nanmin(np.append(closes, np.inf)) < tonight.deadline_s:
                share = float(np.mean(closes < tonight.deadline_s))
                yield (
                    f"{p.part.name} is past the time to laminate upon it before the deadline in "
                    f"{100.0 * share:.0f} of 100 nights."
                )
    over_s = nights.over_s[:, 0]
    share = float(np.mean(~(over_s <= tonight.deadline_s)))
    if share > 0.5 and tonight.goal in ("demould", "full", "post-cured"):
        yield "At the deadline the profile is usually not over: the parts are still warm."


def _holding(tonight: Tonight, profile: Profile, nights: Nights) -> Iterator[str]:
    f = tonight.facts
    coldest_c = min(tonight.shed.values_c[: max(int(tonight.deadline_s / 60.0), 1)])
    most_c = coldest_c + f.power_w / f.loss_w_per_k
    share = float(np.mean(nights.short_k > SHORT_K))
    if most_c < profile.highest_c + 2.0:
        yield (
            f"The heater cannot hold {show_temperature(profile.highest_c)}: with the shed at "
            f"{show_temperature(coldest_c)} its {f.power_w:.0f} W hold about "
            f"{show_temperature(most_c)}."
        )
    elif share > WORTH:
        yield (
            f"In {100.0 * share:.0f} of 100 nights the heater does not hold "
            f"{show_temperature(profile.highest_c)} all along."
        )


def _cold(tonight: Tonight) -> Iterator[str]:
    start_c = tonight.shed.values_c[0]
    cold: dict[float, list[str]] = {}
    for p in tonight.parts:
        f = p.part.figures
        if f is not None and p.part.start_h >= 0.0 and start_c < f.gel_min[0][0]:
            cold.setdefault(f.gel_min[0][0], []).append(p.part.name)
    for least_c, names in cold.items():
        yield (
            f"{' and '.join(names)}: no gel is known below {show_temperature(least_c)}, so nothing "
            f"counts until the oven is warmer."
        )


def vapour_warnings(profile: Profile) -> Iterator[str]:
    """What the plan says of the vapour, a sentence each."""
    if not gives_off(profile.parts):
        return
    if profile.box is None:
        yield (
            "Vapour is not known, since the box's volume is not told; no night starts so: give the "
            "profile a [box]."
        )
        return
    asked = profile.box, profile.parts, profile.highest_c
    yield vapour_sentence(*asked)
    refusal = vapour_refusal(*asked)
    if refusal:
        yield f"Vapour: {refusal}"
