"""The night's chart: temperatures, what happened, and the duty under them. Drawn by any pen.

A pen knows lines, areas and text on a sheet whose origin is its upper left corner.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any, Literal, Protocol

from ..units import c_to_f
from .facts import Facts

Anchor = Literal["start", "middle", "end"]
Point = tuple[float, float]
#: Styles a pen must know: curves by role, and what the chart itself is drawn with.
ROLES = ("setpoint", "air", "part", "mould", "ambient", "heater")


class Pen(Protocol):
    """What draws."""

    def line(self, points: Sequence[Point], style: str, number: int = 0) -> None:
        """A line through points; `number`: how many of that style came before it."""

    def area(self, points: Sequence[Point], style: str) -> None:
        """A filled outline."""

    def text(self, x: float, y: float, text: str, anchor: Anchor, style: str) -> None:
        """One line of text whose base line is at `y`."""


@dataclass(frozen=True)
class Curve:
    """One thermometer or the setpoint."""

    name: str
    role: str
    number: int
    """How many curves of the same role came before."""
    values: list[float | None]


@dataclass(frozen=True)
class Chart:
    """What is to be drawn, in the people's unit."""

    unit: str
    wall_s: list[float]
    curves: list[Curve]
    duty: list[float]
    marks: list[tuple[float, str]]
    """Wall time and style (`alarm`, `trip`, `milestone`) of what happened."""

    @property
    def empty(self) -> bool:
        """Whether there is nothing to draw."""
        return len(self.wall_s) < 2


def chart_of(facts: Facts) -> Chart:
    """The chart of a night, heater thermometers left out."""
    fahrenheit = facts.units == "F"
    samples = facts.samples

    def shown(values: list[Any]) -> list[float | None]:
        return [None if v is None else c_to_f(v) if fahrenheit else float(v) for v in values]

    curves = [Curve("setpoint", "setpoint", 0, shown(samples["setpoint_c"]))]
    counts: dict[str, int] = {}
    believed = samples["believed"] or [[] for _ in facts.settings["thermometers"]]
    for t, column in zip(facts.settings["thermometers"], believed, strict=False):
        role = t["role"]
        if role == "heater" or all(v is None for v in column):
            continue
        curves.append(Curve(t["name"], role, counts.get(role, 0), shown(column)))
        counts[role] = counts.get(role, 0) + 1
    marks = [(a.raised_s, "trip" if a.trip else "alarm") for a in facts.alarms]
    marks += [
        (m.reached_wall_s, "milestone")
        for p in facts.parts
        for m in p.milestones
        if m.reached_wall_s is not None
    ]
    # A clock that was set back must not let a curve run backwards.
    wall_s = list(itertools.accumulate(samples["wall_s"], max))
    return Chart(facts.units, wall_s, curves, samples["duty"], marks)


@dataclass(frozen=True)
class Frame:
    """Where values land on the sheet."""

    left: float
    right: float
    top: float
    bottom: float
    first_s: float
    last_s: float
    low: float
    high: float

    def x(self, wall_s: float) -> float:
        """Of a time."""
        share = (wall_s - self.first_s) / max(self.last_s - self.first_s, 1.0)
        return self.left + min(max(share, 0.0), 1.0) * (self.right - self.left)

    def y(self, value: float) -> float:
        """Of a value."""
        share = (value - self.low) / (self.high - self.low)
        return self.bottom - share * (self.bottom - self.top)


def draw(chart: Chart, pen: Pen, width: float, height: float, letter: float = 11.0) -> None:
    """Draw on a sheet of `width` by `height`; `letter`: the height of its letters."""
    legend = _legend(chart, pen, width, letter)
    duty_height = 3.6 * letter
    left, right = 3.8 * letter, width - 0.8 * letter
    bottom = height - 1.6 * letter - duty_height - 1.2 * letter
    low, high = _range(chart)
    frame = Frame(left, right, legend + 0.6 * letter, bottom, chart.wall_s[0], chart.wall_s[-1],
                  low, high)  # fmt: skip
    _grid(chart, pen, frame, height - 1.6 * letter, letter)
    for wall_s, style in chart.marks:
        x = frame.x(wall_s)
        pen.line([(x, frame.top), (x, frame.bottom)], style)
    for curve in sorted(chart.curves, key=lambda c: ROLES.index(c.role)):
        for points in _pieces(chart.wall_s, curve.values):
            drawn = [(frame.x(t), frame.y(v)) for t, v in points]
            pen.line(drawn, curve.role, curve.number)
    below = Frame(left, right, bottom + 1.2 * letter, height - 1.6 * letter, frame.first_s,
                  frame.last_s, 0.0, 1.0)  # fmt: skip
    _duty(chart, pen, below, letter)


def _range(chart: Chart) -> tuple[float, float]:
    values = [v for c in chart.curves for v in c.values if v is not None]
    if not values:
        return 0.0, 1.0
    low, high = min(values), max(values)
    spare = max(0.04 * (high - low), 0.5)
    return low - spare, high + spare


def _legend(chart: Chart, pen: Pen, width: float, letter: float) -> float:
    """A row, or several, of names; how far down it reaches."""
    entries = [(c.name, c.role, c.number) for c in chart.curves]
    kinds = {style for _, style in chart.marks}
    entries += [(style, style, 0) for style in ("milestone", "alarm", "trip") if style in kinds]
    x, y = 0.4 * letter, letter
    for name, style, number in entries:
        shown = name if len(name) <= 24 else f"{name[:23]}…"
        need = 2.2 * letter + 0.62 * letter * len(shown)
        if x + need > width and x > letter:
            x, y = 0.4 * letter, y + 1.5 * letter
        pen.line([(x, y - 0.35 * letter), (x + 1.5 * letter, y - 0.35 * letter)], style, number)
        pen.text(x + 1.9 * letter, y, shown, "start", "label")
        x += need + 0.6 * letter
    return y + 0.4 * letter


def _grid(chart: Chart, pen: Pen, frame: Frame, foot: float, letter: float) -> None:
    step = _nice((frame.high - frame.low) / max((frame.bottom - frame.top) / (3.2 * letter), 2.0))
    value = math.ceil(frame.low / step) * step
    while value <= frame.high:
        y = frame.y(value)
        pen.line([(frame.left, y), (frame.right, y)], "grid")
        last = value + step > frame.high
        shown = f"{value + 0.0:g}" + (f" °{chart.unit}" if last else "")
        pen.text(frame.left - 0.4 * letter, y + 0.35 * letter, shown, "end", "label")
        value += step
    for wall_s, shown in _hours(frame, letter):
        x = frame.x(wall_s)
        pen.line([(x, frame.top), (x, foot)], "grid")
        pen.text(x, foot + 1.2 * letter, shown, "middle", "label")


def _nice(step: float) -> float:
    """1, 2 or 5 times a power of ten, at least `step`."""
    power = 10.0 ** math.floor(math.log10(max(step, 1e-6)))
    return next(n * power for n in (1.0, 2.0, 5.0, 10.0) if n * power >= step * 0.999)


def _hours(frame: Frame, letter: float) -> list[tuple[float, str]]:
    """Full hours of the local clock, as many as find room; minutes in a short night."""
    length_s = frame.last_s - frame.first_s
    room = max((frame.right - frame.left) / (4.2 * letter), 2.0)
    every_s = next(
        (e for e in (60, 300, 600, 1200, 1800, 3600, 7200, 10800, 14400, 21600)
         if length_s / e <= room),
        43200,
    )  # fmt: skip
    first = datetime.fromtimestamp(frame.first_s).astimezone()
    at = first.replace(hour=0, minute=0, second=0, microsecond=0)
    found = []
    while at.timestamp() <= frame.last_s:
        if at.timestamp() >= frame.first_s:
            x = frame.x(at.timestamp())
            if frame.left - letter <= x <= frame.right - 0.7 * letter:
                found.append((at.timestamp(), at.strftime("%H:%M")))
        at += timedelta(seconds=every_s)
    return found


def _pieces(wall_s: list[float], values: Sequence[float | None]) -> list[list[tuple[float, float]]]:
    """Runs without a gap."""
    pieces: list[list[tuple[float, float]]] = []
    open_run = False
    for t, value in zip(wall_s, values, strict=True):
        if value is None:
            open_run = False
            continue
        if not open_run:
            pieces.append([])
            open_run = True
        pieces[-1].append((t, value))
    return [piece for piece in pieces if len(piece) > 1]


def _duty(chart: Chart, pen: Pen, frame: Frame, letter: float) -> None:
    """The share of the heater's power, evened out over a minute's worth of pixels."""
    points = [(frame.x(t), frame.y(min(max(d, 0.0), 1.0)))
              for t, d in zip(chart.wall_s, chart.duty, strict=True)]  # fmt: skip
    outline = [(points[0][0], frame.bottom), *points, (points[-1][0], frame.bottom)]
    pen.area(outline, "duty")
    pen.line([(frame.left, frame.bottom), (frame.right, frame.bottom)], "axis")
    pen.text(frame.left - 0.4 * letter, frame.top + 0.7 * letter, "100", "end", "label")
    pen.text(frame.left - 0.4 * letter, frame.bottom, "0 %", "end", "label")
    pen.text(frame.left + 0.3 * letter, frame.top + 0.7 * letter, "duty", "start", "label")
