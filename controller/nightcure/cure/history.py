"""A part's temperature over time, from a CSV of `time_s,part_c`, and the clock put through it."""

from __future__ import annotations

import csv
import math
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path

from ..errors import BadInput
from ..units import show_duration
from .clock_figures import MAKERS_DIFFER, ClockFigures
from .cure_clock import CureClock

#: No part in an oven is colder or hotter; such a value is a wrong unit or a typo.
COLDEST_C, HOTTEST_C = -30.0, 250.0
#: Longer than this is no cure but a store.
LONGEST_S = 60 * 86400.0
#: A silence this long that is also so many times the file's shortest step: what was it like then?
GAP_S, GAP_TIMES = 3600.0, 10.0
STEP_S = 30.0
#: One row that leaps so far and so fast from both its neighbours is the sensor's, not the part's:
#: a mould's own exotherm takes minutes to rise and longer to fall (common practice, no source).
LEAP_K, LEAP_K_PER_MIN = 10.0, 3.0
#: What a DS18B20 says that has lost its supply (its data sheet).
POWER_ON_C = 85.0

History = list[tuple[float, float]]


def read_history(path: Path) -> History:
    """[(s, °C)], times rising from 0, the mixing.

    A first row that comes a little later is taken to have been so since the mixing.

    Raises:
        BadInput: a sentence naming file, line and what is right.
    """
    try:
        with path.open(newline="", encoding="utf-8-sig") as file:
            rows = csv.DictReader(file)
            names = tuple(n.strip() for n in rows.fieldnames or ())
            if not {"time_s", "part_c"} <= set(names):
                found = ",".join(names) or "nothing"
                raise BadInput(
                    f"{path}: the first line is '{found}'; it must name the columns time_s,part_c."
                )
            rows.fieldnames = names
            points = [
                (
                    _number(row["time_s"], f"{path}, line {rows.line_num}: time_s"),
                    _number(row["part_c"], f"{path}, line {rows.line_num}: part_c"),
                    f"{path}, line {rows.line_num}",
                )
                for row in rows
            ]
    except (OSError, UnicodeDecodeError, csv.Error) as error:
        raise BadInput(f"{path} cannot be read: {error}.") from None
    if len(points) < 2:
        raise BadInput(f"{path} has {len(points)} rows of data; a history needs at least two.")
    shortest_s = math.inf
    for (t0, _, _), (t1, _, where) in pairwise(points):
        if t1 == t0:
            raise BadInput(f"{where}: time_s {t1:g} stands there twice; keep one of the rows.")
        if t1 < t0:
            raise BadInput(f"{where}: time_s is {t1:g} after {t0:g}; sort the rows by time.")
        shortest_s = min(shortest_s, t1 - t0)
    for t_s, part_c, where in points:
        if t_s < 0.0:
            raise BadInput(f"{where}: time_s is {t_s:g}; it counts from the mixing, from 0 up.")
        if not COLDEST_C <= part_c <= HOTTEST_C:
            raise BadInput(
                f"{where}: part_c is {part_c:g}; it must be °C between {COLDEST_C:g} and "
                f"{HOTTEST_C:g}."
            )
    for (t0, _, _), (t1, _, where) in pairwise(points):
        if t1 - t0 >= GAP_S and t1 - t0 > GAP_TIMES * shortest_s:
            raise BadInput(
                f"{where}: nothing is known for {show_duration(t1 - t0)} before it, in a file with "
                f"steps down to {show_duration(shortest_s)}; fill the gap with what the part had."
            )
    if points[-1][0] - points[0][0] > LONGEST_S:
        raise BadInput(f"{path} spans more than 60 days; give the time of the cure alone.")
    first_s, first_c, where = points[0]
    if first_s >= GAP_S:
        raise BadInput(
            f"{where}: time_s begins at {first_s:.15g}; it counts from the mixing, so that nothing "
            f"is known of its first {show_duration(first_s)}. Subtract what is too much, or add "
            f"what the part had."
        )
    since_mixing = [(0.0, first_c)] if first_s > 0.0 else []
    return since_mixing + [(t, c) for t, c, _ in points]


def _number(text: object, where: str) -> float:
    try:
        value = float(text if isinstance(text, str) else "")
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise BadInput(f"{where} is '{text or ''}'; it must be a number.")
    return value


def run_clock(figures: ClockFigures, history: History) -> CureClock:
    """The cure clock put through a history, straight lines between its points."""
    clock = CureClock(figures)
    for (t0, c0), (t1, c1) in pairwise(history):
        steps = max(1, math.ceil((t1 - t0) / STEP_S))
        dt_s = (t1 - t0) / steps
        for i in range(steps):
            clock.advance(t0 + (i + 1) * dt_s, dt_s, c0 + (c1 - c0) * (i + 0.5) / steps)
    return clock


def warnings(figures: ClockFigures, clock: CureClock, history: History) -> tuple[str, ...]:
    """What has to be said of a history and its card, a sentence each."""
    gelled_s = next((w.at_s for w in clock.whens() if w.name == "gelled"), None)
    liquid_s = math.inf if gelled_s is None else gelled_s
    said = []
    if any(c < clock.coldest_c for t, c in history if t < liquid_s):
        said.append(
            f"It was colder than {clock.coldest_c:g} °C before it gelled, where the card has no "
            f"data: the gel clock stood still; do not expect a cure there."
        )
    if any(c < figures.lowest_c for t, c in history if t >= liquid_s):
        said.append(
            f"It was colder than {figures.lowest_c:g} °C after it gelled, the lowest its card "
            f"speaks of: the cure clock stood still there."
        )
    hottest_c = max(c for _, c in history)
    if figures.highest_c is not None and hottest_c > figures.highest_c:
        said.append(
            f"It was at {hottest_c:g} °C, hotter than the {figures.highest_c:g} °C its card allows."
        )
    said.extend(leaps(history))
    if figures.generic:
        said.append(f"The card is generic: {MAKERS_DIFFER}.")
    return tuple(said)


def leaps(history: History) -> Iterator[str]:
    """The first row that leaps from its neighbours and back, in one sentence."""

    def far(i: int, j: int) -> bool:
        (t0, c0), (t1, c1) = history[i], history[j]
        return abs(c1 - c0) > max(LEAP_K, LEAP_K_PER_MIN * abs(t1 - t0) / 60.0)

    last = len(history) - 1
    odd = [
        i
        for i, (_, c) in enumerate(history)
        if (0 < i < last and far(i, i - 1) and far(i, i + 1)
            and (c - history[i - 1][1]) * (c - history[i + 1][1]) > 0.0)
        or (c == POWER_ON_C and i in (0, last) and far(i, 1 if i == 0 else last - 1))
    ]  # fmt: skip
    if odd:
        t_s, odd_c = history[odd[0]]
        more = f", and {len(odd) - 1} more like it," if len(odd) > 1 else ""
        yield (
            f"The row at {t_s:.15g} s says {odd_c:g} °C and its neighbours do not; it{more} was "
            f"counted, but a sensor's glitch is likelier than a part so quick: take it out."
        )


def equivalent_min(kj_per_mol: float, reference_c: float, history: History) -> float:
    """Minutes at `reference_c` that a history amounts to (Arrhenius), midpoint steps of 30 s."""
    from .rate import faster

    total_s = 0.0
    for (t0, c0), (t1, c1) in pairwise(history):
        steps = max(1, math.ceil((t1 - t0) / STEP_S))
        dt_s = (t1 - t0) / steps
        total_s += dt_s * sum(
            faster(kj_per_mol, c0 + (c1 - c0) * (i + 0.5) / steps, reference_c)
            for i in range(steps)
        )
    return total_s / 60.0
