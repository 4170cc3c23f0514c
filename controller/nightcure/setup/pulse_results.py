"""What a pulse taught: who answered, how far and how late, and whether the heat has ended."""

from __future__ import annotations

from ..settings import Role, Settings
from ..units import show_difference
from .finding import Finding, Rating
from .pulse import Pulse

#: A heater that is off gives its stored heat ever more slowly. Air that at the end still climbs at
#: this share of its fastest is heated (common practice, no source; the virtual oven with a welded
#: relay shows 0.95, with a good one 0 or less).
STILL_HEATED = 0.8
SLOPE_S = 60.0
#: Ambient that moves so far hangs too near the oven, or in it.
AMBIENT_K = 1.0


def pulse_findings(settings: Settings, pulse: Pulse) -> list[Finding]:
    """A line for the pulse, one for each thermometer, one for the heater's being off."""
    figures = {"heated_s": round(pulse.heated_s, 1), "seen_off": pulse.seen_off}
    if pulse.doubt is not None:
        told = "No heat was given" if pulse.heated_s == 0 else "Cut short, the heater is off"
        sentence = f"{told}: {pulse.doubt}"
        return [Finding("pulse", Rating.WRONG, sentence, {**figures, "doubt": pulse.doubt})]
    watched_s = pulse.samples[-1].t_s - pulse.heated_s
    sentence = f"{pulse.heated_s:.0f} s of heat, {watched_s:.0f} s watched."
    found = [Finding("pulse", Rating.OK, sentence, {**figures, "watched_s": round(watched_s, 1)})]
    found += [_answer(settings, pulse, i) for i in range(len(settings.thermometers))]
    found.append(_off_again(settings, pulse))
    return found


def _answer(settings: Settings, pulse: Pulse, index: int) -> Finding:
    t = settings.thermometers[index]
    name = f"{t.name} answers"
    most_k, dead_s = pulse.rise_k(index), pulse.answered_s(index)
    if most_k is None:
        return Finding(name, Rating.WRONG, "Nothing believable was read.")
    figures = {"rise_k": round(most_k, 2), "dead_time_s": dead_s and round(dead_s, 1)}
    shown = show_difference(most_k, settings.units, "+")
    if t.role is Role.AMBIENT:
        if most_k > AMBIENT_K:
            sentence = f"{shown}: it should hang in the shed, away from the oven."
            return Finding(name, Rating.LOOK, sentence, figures)
        return Finding(name, Rating.OK, f"{shown}, as it should outside the oven.", figures)
    if dead_s is not None:
        sentence = f"{shown}, first seen after {dead_s:.0f} s."
        return Finding(name, Rating.OK, sentence, figures)
    if t.role in (Role.PART, Role.MOULD):
        sentence = (
            f"{shown}, too little to tell: a heavy part needs a longer pulse (--seconds, --watch); "
            f"or is it not in the oven?"
        )
        return Finding(name, Rating.LOOK, sentence, figures)
    sentence = (
        f"{shown}, no answer: is it in the oven? Has the heater power, is the cut-out in, "
        f"is it the right pin?"
    )
    return Finding(name, Rating.WRONG, sentence, figures)


def _off_again(settings: Settings, pulse: Pulse) -> Finding:
    """Off on the pin, and by what the air does afterwards."""
    name = "heater off"
    if not pulse.seen_off:
        sentence = "The pin was not seen off: pull the plug, find out why."
        return Finding(name, Rating.WRONG, sentence)
    airs = settings.indices(Role.AIR)
    if any(pulse.turned(i) for i in airs):
        return Finding(name, Rating.OK, "The pin is off and the air has begun to fall.")
    if all(pulse.answered_s(i) is None for i in airs):
        sentence = "The pin is off; the air never rose, so it tells nothing of the relay."
        return Finding(name, Rating.LOOK, sentence)
    if any(_still_heated(pulse, i) for i in airs):
        return Finding(
            name,
            Rating.WRONG,
            "The pin is off and the air rises as fast as ever: PULL THE PLUG. The relay has "
            "welded, or closes on the other level (active_high).",
        )
    sentence = (
        "The pin is off; the air lives on the heater's stored heat and has not begun to fall. "
        "Watch longer (--watch) to see it fall."
    )
    return Finding(name, Rating.LOOK, sentence)


def _still_heated(pulse: Pulse, index: int) -> bool:
    """Whether the air's last minute is nearly as steep as its steepest one."""
    rises_k = pulse.rises_k(index)
    slopes = []
    behind = 0
    for t_s, k in rises_k:
        while t_s - rises_k[behind][0] > SLOPE_S:
            behind += 1
        if t_s - rises_k[behind][0] > 0.9 * SLOPE_S:
            slopes.append(k - rises_k[behind][1])
    end_s = pulse.heated_s + 2 * SLOPE_S
    if not slopes or rises_k[-1][0] < end_s:
        return False
    return slopes[-1] >= STILL_HEATED * max(slopes)
