"""Checks of the thermometers: there, believable, of one mind in a cold oven, and quick enough."""

from __future__ import annotations

import os
from collections.abc import Sequence
from pathlib import Path
from statistics import median

from ..board.ds18b20 import Bus, sensors_on
from ..clock import Clock
from ..measure.screening import stale_after_s
from ..settings import Role, Settings
from ..tick import Fault, Reading
from ..units import show_difference, show_temperature
from .finding import Finding, Rating
from .sensor_quality import clones, quirks
from .which_thermometer import FAULT_WORDS, say_reading

#: Rounds of readings; the last ones are left out where sixteen are read one by one.
ROUNDS, FEWEST_ROUNDS, LONGEST_S = 8, 3, 20.0
#: Colder or warmer no shed or resting oven is; past it the sensor or its place is wrong.
COLDEST_C, WARMEST_C = -35.0, 80.0
#: Two DS18B20 of ±0.5 °C (manufacturer's data sheet) in one cold box may differ by 1 K; half of
#: that again is left for draughts (common practice, no source).
APART_K = 1.5
#: One of three and more that is so far from the middle of them has an offset (families of clones
#: that are 0.5 to 3 K off at 0 °C: Petrich; genuine ones are within 0.2 K there).
OFFSET_K = 0.75


def look_at_bus(
    settings: Settings, root: Path, clock: Clock, measure: bool = True
) -> list[Finding]:
    """Everything about the bus under `root`; takes a few conversions' time.

    Args:
        measure: time a conversion of each, which a controller that runs must not wait for.
    """
    if not root.is_dir():
        return [
            Finding(
                "1-Wire bus",
                Rating.WRONG,
                f"{root} is not there: put dtoverlay=w1-gpio,gpiopin=4 into config.txt and reboot.",
            )
        ]
    ids = tuple(t.id for t in settings.thermometers)
    on_bus = sensors_on(root)
    bus = Bus(ids, clock, root)
    rounds: list[tuple[Reading, ...]] = []
    times_s: list[float] = []
    for number in range(ROUNDS):
        if number >= FEWEST_ROUNDS and sum(times_s) + times_s[-1] > LONGEST_S:
            break
        began_s = clock.monotonic()
        rounds.append(bus.read_all())
        times_s.append(clock.monotonic() - began_s)
    found = [_strangers(ids, on_bus, root, clock, settings)]
    levels_c: list[float | None] = []
    for i, t in enumerate(settings.thermometers):
        readings = [r[i] for r in rounds]
        finding, level_c = _one(settings, i, t.name, readings)
        if finding.rating is Rating.OK:
            values_c = [r.value_c for r in readings if r.value_c is not None]
            odd = quirks(values_c, root / t.id, measure)
            if odd:
                sentence = f"{finding.sentence.removesuffix('.')}; {'; '.join(odd)}."
                finding = finding._replace(rating=Rating.LOOK, sentence=sentence)
        found.append(finding)
        levels_c.append(level_c)
    found.append(_agreement(settings, levels_c))
    found.extend(_makers(ids))
    found.append(_quick(settings, root, max(times_s)))
    return found


def _strangers(
    ids: Sequence[str], on_bus: Sequence[str], root: Path, clock: Clock, settings: Settings
) -> Finding:
    extra = tuple(i for i in on_bus if i not in ids)
    missing = [i for i in ids if i not in on_bus]
    figures = {"bus": str(root), "on_bus": list(on_bus), "missing": missing, "unknown": list(extra)}
    if extra:
        readings = Bus(extra, clock, root).read_all()
        shown = ", ".join(
            f"{i} ({say_reading(r, settings.units)})" for i, r in zip(extra, readings, strict=True)
        )
        more = "One" if len(extra) == 1 else f"{len(extra)}"
        return Finding(
            "1-Wire bus",
            Rating.LOOK,
            f"{more} on it and not in the file: {shown}. Add it as [[thermometers]], or unplug it.",
            figures,
        )
    if missing:
        sentence = f"{len(missing)} of {len(ids)} thermometers are not on it, see below."
        return Finding("1-Wire bus", Rating.WRONG, sentence, figures)
    return Finding("1-Wire bus", Rating.OK, f"{len(on_bus)} on it, all of them known.", figures)


def _one(
    settings: Settings, index: int, name: str, readings: list[Reading]
) -> tuple[Finding, float | None]:
    t = settings.thermometers[index]
    good = [r.value_c + t.offset_c for r in readings if r.value_c is not None and r.fault is None]
    faults = [r.fault or Fault.MISSING for r in readings if r.fault or r.value_c is None]
    level_c = median(good) if good else None
    figures = {
        "id": t.id,
        "role": t.role.value,
        "value_c": None if level_c is None else round(level_c, 2),
        "faults": [f.value for f in faults],
    }

    def told(rating: Rating, sentence: str) -> tuple[Finding, float | None]:
        return Finding(name, rating, sentence, figures), level_c

    if level_c is None:
        return told(Rating.WRONG, f"{t.id}: {FAULT_WORDS[faults[0]]}.")
    shown = show_temperature(level_c, settings.units)
    if faults:
        return told(
            Rating.LOOK,
            f"{shown}, but {len(faults)} of {len(readings)} readings: {FAULT_WORDS[faults[0]]}.",
        )
    limits = settings.limits
    limit_c = {Role.AIR: limits.air_c, Role.HEATER: limits.heater_c}.get(t.role, limits.part_c)
    if not COLDEST_C <= level_c <= max(limit_c, WARMEST_C):
        return told(Rating.WRONG, f"{shown} cannot be: another sensor, or its wires, are wrong.")
    if level_c > limit_c and t.role is not Role.AMBIENT:
        limit = show_temperature(limit_c, settings.units)
        return told(Rating.WRONG, f"{shown} is past its limit of {limit}: let it cool, find why.")
    return told(Rating.OK, f"{shown}, {t.role.value}.")


def _agreement(settings: Settings, levels_c: list[float | None]) -> Finding:
    inside = [
        (c, t.name)
        for c, t in zip(levels_c, settings.thermometers, strict=True)
        if c is not None and t.role is not Role.AMBIENT
    ]
    if len(inside) < 2:
        return Finding("agreement", Rating.OK, "One in the oven: there is nothing to compare.")
    (low_c, low), (high_c, high) = min(inside), max(inside)
    apart_k = high_c - low_c
    figures = {"apart_k": round(apart_k, 2)}
    shown = show_difference(apart_k, settings.units)
    off = _off(inside)
    if off is not None:
        name, by_k = off
        way = "more" if by_k > 0 else "less"
        return Finding(
            "agreement",
            Rating.LOOK,
            f"{name} shows {show_difference(abs(by_k), settings.units)} {way} than the others: an "
            f"offset, if the oven has been at rest for hours. Check it in crushed ice and set "
            f"offset_c, or replace it.",
            figures,
        )
    if apart_k > APART_K:
        return Finding(
            "agreement",
            Rating.LOOK,
            f"{high} shows {shown} more than {low}. In an oven at rest since hours they should be "
            f"alike: check both in crushed ice and set offset_c, or replace one.",
            figures,
        )
    return Finding("agreement", Rating.OK, f"Those in the oven are within {shown}.", figures)


def _off(inside: list[tuple[float, str]]) -> tuple[str, float] | None:
    """The one of three or more that is alone with its value, and by how much (K)."""
    if len(inside) < 3:
        return None
    middle_c = median(c for c, _ in inside)
    far_c, name = max(inside, key=lambda told: abs(told[0] - middle_c))
    others = [c for c, other in inside if other != name]
    alone = abs(far_c - middle_c) > OFFSET_K and max(others) - min(others) <= OFFSET_K
    return (name, far_c - median(others)) if alone else None


def _makers(ids: Sequence[str]) -> list[Finding]:
    odd = clones(ids)
    if not odd:
        return []
    return [
        Finding(
            "makers",
            Rating.LOOK,
            f"{len(odd)} of {len(ids)} have numbers that no genuine DS18B20 has: clones. Most do; "
            f"try each in crushed ice and in the palm before you rely on it.",
            {"clones": odd},
        )
    ]


def _quick(settings: Settings, root: Path, longest_s: float) -> Finding:
    figures = {"longest_s": round(longest_s, 3), "tick_s": settings.timing.tick_s}
    tick_s = settings.timing.tick_s
    shown = f"{longest_s:.2f} s for all, a tick is {tick_s:g} s"
    count = len(settings.thermometers)
    fit = [n for n in range(count + 1) if n * longest_s / count + tick_s <= stale_after_s(n)]
    if fit[-1] < count:
        sentence = (
            f"{shown}: readings would be too old to believe. At this pace {fit[-1]} thermometers "
            f"would do; use fewer, or look for the one that is slow."
        )
        return Finding("read time", Rating.WRONG, sentence, figures)
    triggers = list(root.glob("w1_bus_master*/therm_bulk_read"))
    if len(settings.thermometers) > 1 and not any(os.access(t, os.W_OK) for t in triggers):
        why = "may not be written" if triggers else "is not there"
        return Finding(
            "read time",
            Rating.LOOK,
            f"{shown}; one by one, as therm_bulk_read {why} (systemd/install sets a rule).",
            figures,
        )
    if longest_s > tick_s:
        sentence = f"{shown}: every reading serves several ticks. Set tick_s higher."
        return Finding("read time", Rating.LOOK, sentence, figures)
    return Finding("read time", Rating.OK, f"{shown}.", figures)
