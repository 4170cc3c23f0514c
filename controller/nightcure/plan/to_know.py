"""What has to be said besides a plan's answer: trips, heat that does not reach, cold, vapour."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..cure.box_air import gives_off, vapour_refusal, vapour_sentence
from ..profile import Profile, knows
from ..units import show_temperature
from . import makers
from .answer import GOALS
from .night_results import MILD_C, SHORT_K, WORTH, Nights
from .tonight import Tonight
from .trips import NAMES


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
            yield f"{said[name]} in {100.0 * share:.0f} of 100 nights."
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
        waits = any(getattr(s, "wait_for", None) == "gelled" for s in profile.segments)
        remedy = "let the ramp wait (wait_for = 'gelled')"
        if waits:
            remedy = "the ramp waits by the card, and a slower resin has not gelled by then; look"
        yield (
            f"A resin whose card does not allow heat before the gel is above {MILD_C:g} °C before "
            f"it gels in {100.0 * share:.0f} of 100 nights: {remedy}."
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
