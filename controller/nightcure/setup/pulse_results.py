"""What a pulse of heat taught: who answered, how far and how late, and whether the heat has ended.

Read from the record of a night that was a test of the switches; its last pulse is the one with
everything closed.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from statistics import fmean
from typing import Any, NamedTuple

from ..settings import Role, Settings
from ..units import show_difference
from .finding import Finding, Rating

#: What counts as an answer: three of the sensor's steps (0.0625 K, manufacturer's data sheet),
#: over the mean of so many samples.
ANSWER_K, ANSWER_SAMPLES = 0.1875, 5
#: The air has turned when it is a step below its highest, both over the mean of so many samples.
TURNED_K, TURNED_SAMPLES = 0.0625, 20
#: The level before the pulse is the mean of so long, s.
BEFORE_S = 60.0
#: A heater that is off gives its stored heat ever more slowly. Air that at the end still climbs at
#: this share of its fastest is heated (common practice, no source; the virtual oven with a welded
#: relay shows 0.95, with a good one 0 or less).
STILL_HEATED = 0.8
SLOPE_S = 60.0
#: Ambient that moves so far hangs too near the oven, or in it.
AMBIENT_K = 1.0


class Sample(NamedTuple):
    """One tick: seconds since the heater was switched on, and °C of each thermometer."""

    t_s: float
    believed_c: Sequence[float | None]


class Pulse:
    """The last pulse of heat of a night, from its columns `mono_s`, `heater`, `contactor` and
    `believed` (`LedgerReader.columns`).

    `given` is False where there was none.
    """

    def __init__(self, settings: Settings, columns: dict[str, list[Any]]) -> None:
        alone = settings.contactor is not None
        heated = [
            bool(h and (c or not alone))
            for h, c in zip(columns["heater"], columns["contactor"], strict=True)
        ]
        times_s, believed = columns["mono_s"], columns["believed"]
        ends = [i for i, (on, after) in enumerate(pairwise(heated)) if on > after]
        self.given = bool(ends)
        self.samples: list[Sample] = []
        self.before_c: list[float | None] = []
        self.heated_s = 0.0
        if not self.given:
            return
        end = ends[-1] + 1
        begin = end - 1
        while begin > 0 and heated[begin - 1]:
            begin -= 1
        began_s = times_s[begin]
        self.heated_s = times_s[end] - began_s
        before = [b for t_s, b in zip(times_s, believed, strict=True)
                  if began_s - BEFORE_S <= t_s <= began_s]  # fmt: skip
        for i in range(len(settings.thermometers)):
            known = [c for b in before if (c := b[i]) is not None]
            self.before_c.append(fmean(known) if known else None)
        self.samples = [
            Sample(t_s - began_s, b)
            for t_s, b in zip(times_s[begin:], believed[begin:], strict=True)
        ]

    def rises_k(self, index: int) -> list[tuple[float, float]]:
        """(s since the heater went on, K above the level before) of one thermometer."""
        before_c = self.before_c[index]
        if before_c is None:
            return []
        return [
            (s.t_s, c - before_c) for s in self.samples if (c := s.believed_c[index]) is not None
        ]

    def _means(self, index: int, count: int) -> list[tuple[float, float]]:
        """Running means of `count` samples, each with the time of its middle."""
        rises_k = self.rises_k(index)
        return [
            (rises_k[i + count // 2][0], fmean(k for _, k in rises_k[i : i + count]))
            for i in range(len(rises_k) - count + 1)
        ]

    def rise_k(self, index: int) -> float | None:
        """How far a thermometer rose at most; None if it was hardly read."""
        return max((k for _, k in self._means(index, ANSWER_SAMPLES)), default=None)

    def answered_s(self, index: int) -> float | None:
        """When a thermometer had plainly begun to rise, or None: the dead time."""
        means = self._means(index, ANSWER_SAMPLES)
        return next((t_s for t_s, k in means if k >= ANSWER_K), None)

    def turned(self, index: int) -> bool:
        """Whether a thermometer that had risen is on its way down."""
        means_k = [k for _, k in self._means(index, TURNED_SAMPLES)]
        if not means_k or max(means_k) < ANSWER_K:
            return False
        return max(means_k) - means_k[-1] >= TURNED_K


def pulse_findings(settings: Settings, pulse: Pulse) -> list[Finding]:
    """A line for the pulse, one for each thermometer, one for the heater's being off."""
    watched_s = pulse.samples[-1].t_s - pulse.heated_s
    sentence = f"{pulse.heated_s:.0f} s of heat, {watched_s:.0f} s watched."
    figures = {"heated_s": round(pulse.heated_s, 1), "watched_s": round(watched_s, 1)}
    found = [Finding("pulse", Rating.OK, sentence, figures)]
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
            f"{shown}, too little to tell: a heavy part needs longer than this pulse; or is it not "
            f"in the oven?"
        )
        return Finding(name, Rating.LOOK, sentence, figures)
    sentence = (
        f"{shown}, no answer: is it in the oven? Has the heater power, is the cut-out in, "
        f"is it the right pin?"
    )
    return Finding(name, Rating.WRONG, sentence, figures)


def _off_again(settings: Settings, pulse: Pulse) -> Finding:
    """By what the air does once the switches were told to open."""
    name = "heater off"
    airs = settings.indices(Role.AIR)
    if any(pulse.turned(i) for i in airs):
        return Finding(name, Rating.OK, "The air has begun to fall.")
    if all(pulse.answered_s(i) is None for i in airs):
        sentence = "The air never rose, so it tells nothing of the relay."
        return Finding(name, Rating.LOOK, sentence)
    if any(_still_heated(pulse, i) for i in airs):
        return Finding(
            name,
            Rating.WRONG,
            "The switches were opened and the air rises as fast as ever: PULL THE PLUG. They have "
            "welded, or close on the other level (active_high).",
        )
    sentence = (
        "The air lives on the heater's stored heat and has not begun to fall: look at it once "
        "more in ten minutes."
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
