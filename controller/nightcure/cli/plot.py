"""Plots: in the terminal one canvas for all of them, and a night and a cure drawn on it; in a
file one sheet.

The legend stands above the canvas, so that it covers no curve; ticks are round numbers.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from rich.text import Text

from ..errors import BadInput
from ..settings import Role
from ..units import c_to_f

if TYPE_CHECKING:
    from ..settings import Settings

COLOURS = {
    Role.AIR: "orange+",
    Role.PART: "green+",
    Role.MOULD: "green",
    Role.AMBIENT: "blue+",
    Role.HEATER: "red",
}
#: Rows between two round numbers of the vertical axis, about.
ROWS_A_TICK = 4
#: What stands at the vertical axis is so wide.
LABEL_COLUMNS = 4


@dataclass(frozen=True)
class Curve:
    """One curve, or points; a gap where a value is NaN."""

    name: str
    x: Sequence[float]
    y: Sequence[float]
    colour: str
    marker: str = "braille"
    line: bool = True
    filled: bool = False
    edge: bool = False
    """A band's edge: drawn, and explained with the others, not named."""


@dataclass(frozen=True)
class Axis:
    """What a canvas's axis says. Round numbers over the values where no ticks are given."""

    label: str = ""
    ticks: Sequence[float] | None = None
    words: Sequence[str] | None = None
    """What stands at the ticks."""
    ends: tuple[float, float] | None = None


def round_ticks(low: float, high: float, most: int = 8) -> list[float]:
    """Round numbers from at or below `low` to at or above `high`, at most so many steps apart."""
    if not (math.isfinite(low) and math.isfinite(high)):
        return [0.0, 1.0]
    if low < 0.0 < high:
        most = max(most, 2)  # a tick at 0 stands between them
    span = max(high - low, 1e-9 * max(abs(low), abs(high), 1.0))
    steps = (unit * 10.0**ten for ten in range(-9, 12) for unit in (1.0, 2.0, 5.0))
    step = next(
        s for s in steps if math.ceil(high / s - 1e-9) - math.floor(low / s + 1e-9) <= most
        and s >= span / most * 0.999
    )  # fmt: skip
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    return [round(i * step, 9) for i in range(first, max(last, first + 1) + 1)]


def canvas(
    curves: Iterable[Curve],
    size: tuple[int, int],
    across: Axis,
    up: Axis,
    legend: str = "",
    upright: float | None = None,
) -> Text:
    """A plot with its legend above it.

    Args:
        curves: those with a name are in the legend.
        size: columns and rows.
        legend: said after the curves' names: what a band or an upright line means.
        upright: where an upright line stands.
    """
    import plotext

    width, height = size
    drawn = [_points(c) for c in curves]
    drawn = [c for c in drawn if c.x]
    named = [c for c in drawn if c.name and not c.edge]
    plotext.clear_figure()
    plotext.theme("clear")
    plotext.plot_size(width, height)
    for c in drawn:
        draw = plotext.plot if c.line else plotext.scatter
        more = {"fillx": True} if c.filled else {}
        draw(list(c.x), list(c.y), color=c.colour, marker=c.marker, **more)
    if upright is not None:
        plotext.vline(upright, color="gray")
    xs = [x for c in drawn for x in c.x]
    ys = [y for c in drawn for y in c.y if math.isfinite(y)]
    _scale(across, xs, max(width // 10, 2), (plotext.xlim, plotext.xticks), tight=True)
    _scale(up, ys, max(height // ROWS_A_TICK, 2), (plotext.ylim, plotext.yticks))
    body = plotext.build()
    head = _legend(up.label, [(c.name, c.colour) for c in named], legend, width)
    foot = f"\n{across.label:>{width}}" if across.label else ""
    return Text.from_ansi(f"{head}\n{body}{foot}")


def _points(c: Curve) -> Curve:
    """Without what is not known."""
    some = [(x, y) for x, y in zip(c.x, c.y, strict=True) if not math.isnan(y)]
    x, y = ([p[0] for p in some], [p[1] for p in some])
    return Curve(c.name, x, y, c.colour, c.marker, c.line, c.filled, c.edge)


def _scale(
    axis: Axis, values: list[float], most: int, how: tuple[object, object], tight: bool = False
) -> None:
    """Ends and ticks; `tight`: the axis ends with the values, the ticks within them."""
    limits, marks = how
    assert callable(limits)
    assert callable(marks)
    low, high = (min(values), max(values)) if values else (0.0, 1.0)
    if axis.ends is not None:
        low, high = axis.ends
    ticks = round_ticks(low, high, most) if axis.ticks is None else list(axis.ticks)
    if axis.ends is None and not tight:
        low, high = min(low, ticks[0]), max(high, ticks[-1])
    inside = [i for i, t in enumerate(ticks) if low - 1e-9 <= t <= high + 1e-9]
    words = [f"{t:g}" for t in ticks] if axis.words is None else list(axis.words)
    if not tight:  # canvases above each other begin at the same column
        words = [word.rjust(LABEL_COLUMNS) for word in words]
    limits(low, max(high, low + 1e-9))
    marks([ticks[i] for i in inside], [words[i] for i in inside])


def _legend(label: str, named: Sequence[tuple[str, str]], more: str, width: int) -> str:
    """Names with a stroke in their colour; nothing cut, broken between names where it is long."""
    import plotext

    lines: list[str] = []
    at, used = "", 0
    pieces = [(label, len(label))] if label else []
    pieces += [
        (f"{plotext.colorize('━━', colour)} {name}", len(name) + 3) for name, colour in named
    ]
    pieces += [(word, len(word)) for word in (more.split("  ") if more else [])]
    for text, length in pieces:
        if used and used + 2 + length > width:
            lines.append(at)
            at, used = "", 0
        at, used = (f"{at}  {text}", used + 2 + length) if used else (text, length)
    return "\n".join([*lines, at])


def night_plot(settings: Settings, series: dict[str, list[float]], width: int = 100) -> Text:
    """Setpoint and every thermometer but the heater's over the night, then the duty under it."""
    hours = [t_s / 3600.0 for t_s in series["time_s"]]
    fahrenheit = settings.units == "F"

    def shown(values_c: list[float]) -> list[float]:
        return [c_to_f(c) for c in values_c] if fahrenheit else values_c

    curves = [
        Curve("setpoint", hours, shown(series["setpoint_c"]), "gray"),
        *(
            Curve(t.name, hours, shown(series[t.name]), COLOURS[t.role])
            for t in settings.thermometers
            if t.role is not Role.HEATER
        ),
    ]
    above = canvas(curves, (width, 21), Axis(), Axis(f"°{settings.units}"))
    duty = [100.0 * d for d in series["duty"]]
    heat = canvas(
        [Curve("", hours, duty, "red", filled=True)], (width, 7), Axis("hours since the start"),
        Axis("heater, % of full heat", (0.0, 50.0, 100.0), ends=(0.0, 100.0)),
    )  # fmt: skip
    return Text("\n").join([above, heat])


def cure_plot(
    time_s: list[float], part_c: list[float], degree: list[float], width: int = 100
) -> Text:
    """The part's temperature over its history, and the degree of cure under it."""
    hours = [t_s / 3600.0 for t_s in time_s]
    above = canvas([Curve("", hours, part_c, "orange+")], (width, 12), Axis(), Axis("the part, °C"))
    cure = canvas(
        [Curve("", hours, degree, "green+")], (width, 12), Axis("hours"),
        Axis("degree of cure", (0.0, 0.5, 1.0), ends=(0.0, 1.0)),
    )  # fmt: skip
    return Text("\n").join([above, cure])


@contextmanager
def sheet(path: Path, ratios: tuple[int, int], high_in: float = 8.3) -> Iterator[tuple[Any, ...]]:
    """A picture of two plots, one above the other: figure, upper and lower axes, written to `path`
    (.svg, .png or .pdf) when they are drawn. `ratios` of their heights.

    Raises:
        BadInput: matplotlib is not there, or the file cannot be written.
    """
    try:
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure
    except ImportError:
        raise BadInput(
            "--plot needs matplotlib; install nightcure with its extra 'planning'."
        ) from None
    figure = Figure(figsize=(11.7, high_in), layout="constrained")
    FigureCanvasAgg(figure)
    top, bottom = figure.subplots(2, 1, sharex=True, height_ratios=ratios)
    for axes in (top, bottom):
        axes.grid(color="#dddddd", lw=0.6)
        axes.spines[["top", "right"]].set_visible(False)
        axes.margins(x=0.01)
    yield figure, top, bottom
    try:
        figure.savefig(path, dpi=150)
    except OSError as error:
        raise BadInput(f"{path} cannot be written: {error.strerror}.") from None
