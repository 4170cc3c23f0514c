"""A night as a plot in the terminal."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from rich.text import Text

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


def night_plot(settings: Settings, series: dict[str, list[float]], width: int = 100) -> Text:
    """Setpoint and every thermometer but the heater's over the night, then the duty under it."""
    import plotext

    hours = [t_s / 3600.0 for t_s in series["time_s"]]
    fahrenheit = settings.units == "F"

    def shown(values_c: list[float]) -> list[float]:
        return [c_to_f(c) for c in values_c] if fahrenheit else values_c

    plotext.clear_figure()
    plotext.theme("clear")
    plotext.plot_size(width, 22)
    for values_c, label, colour in (
        (series["setpoint_c"], "setpoint", "gray"),
        *((series[t.name], t.name, COLOURS[t.role]) for t in settings.thermometers
          if t.role is not Role.HEATER),
    ):  # fmt: skip
        points = [(h, v) for h, v in zip(hours, shown(values_c), strict=True) if not math.isnan(v)]
        if points:
            xs, ys = zip(*points, strict=True)
            plotext.plot(list(xs), list(ys), label=label, color=colour, marker="braille")
    plotext.xlabel("hours")
    plotext.ylabel(f"°{settings.units}")
    temperatures = plotext.build()
    plotext.clear_figure()
    plotext.theme("clear")
    plotext.plot_size(width, 7)
    plotext.plot(
        hours, [100.0 * d for d in series["duty"]], color="red", marker="braille", fillx=True
    )
    plotext.ylim(0, 100)
    plotext.yticks([0, 50, 100])
    plotext.ylabel("duty %")
    return Text.from_ansi(temperatures + "\n" + plotext.build())


def cure_plot(
    time_s: list[float], part_c: list[float], degree: list[float], width: int = 100
) -> Text:
    """The part's temperature over its history, and the degree of cure under it."""
    import plotext

    hours = [t_s / 3600.0 for t_s in time_s]
    drawn = []
    for values, label, colour, height in (
        (part_c, "°C", "orange+", 12),
        (degree, "degree of cure", "green+", 12),
    ):
        plotext.clear_figure()
        plotext.theme("clear")
        plotext.plot_size(width, height)
        plotext.plot(hours, values, color=colour, marker="braille")
        plotext.ylabel(label)
        if values is degree:
            plotext.ylim(0, 1)
            plotext.xlabel("hours")
        drawn.append(plotext.build())
    return Text.from_ansi("\n".join(drawn))
