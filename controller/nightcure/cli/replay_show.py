"""Two nights beside each other: figures and curves, in the terminal and as a picture."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ..tick import interlock_words
from ..units import show_difference, show_duration, show_temperature
from .plot import Axis, Curve, canvas, sheet
from .show import print_table

if TYPE_CHECKING:
    from rich.text import Text

    from ..replay.figures import Figures
    from ..replay.whatif import Curves
    from ..units import TemperatureUnit

INK, AIR, PARTS = "#77808a", "#c8501e", ("#2f7d4f", "#2f6fa5", "#8a5a00", "#7a4a8a")


def table(before: Figures, after: Figures, units: TemperatureUnit) -> None:
    """Print the figures of the original and of the changed night."""
    from rich.table import Table

    def temperature(value_c: float | None) -> str:
        return "-" if value_c is None else show_temperature(value_c, units)

    def difference(value_k: float | None, sign: str = "") -> str:
        return "-" if value_k is None else show_difference(value_k, units, sign)

    def time(value_s: float | None) -> str:
        return "never" if value_s is None else show_duration(60.0 * round(value_s / 60.0))

    def ended(f: Figures) -> str:
        return f.outcome + (f" ({interlock_words(f.trip)})" if f.trip else "")

    shown = Table("", "as it was", "changed", box=None, pad_edge=False)
    for name, values in (
        ("outcome", (ended(before), ended(after))),
        ("took", (time(before.length_s), time(after.length_s))),
        ("highest air", (temperature(before.highest_air_c), temperature(after.highest_air_c))),
        (
            "air above the highest setpoint",
            (difference(before.over_setpoint_k, "+"), difference(after.over_setpoint_k, "+")),
        ),
        (
            "mean of air off the setpoint",
            (difference(before.mean_abs_error_k), difference(after.mean_abs_error_k)),
        ),
        (
            "furthest while a soak counted",
            (difference(before.soak_error_k), difference(after.soak_error_k)),
        ),
        ("soak counted", (time(before.counted_s), time(after.counted_s))),
        ("slowest part warm after", (time(before.slowest_near_s), time(after.slowest_near_s))),
        ("hottest part", (temperature(before.hottest_part_c), temperature(after.hottest_part_c))),
        ("energy", (f"{before.energy_kwh:.2f} kWh", f"{after.energy_kwh:.2f} kWh")),
        ("relay switched", (str(before.switchings), str(after.switchings))),
    ):
        shown.add_row(name, *values)
    print_table(shown)


def _thin(c: Curves, values: list[float], points: int) -> tuple[list[float], list[float]]:
    step = max(len(c.time_s) // points, 1)
    pairs = [(t / 3600.0, v) for t, v in zip(c.time_s[::step], values[::step], strict=True)
             if not math.isnan(v)]  # fmt: skip
    return [p[0] for p in pairs], [p[1] for p in pairs]


def terminal(before: Curves, after: Curves, width: int) -> Text:
    """Both nights' air and slowest part over the hours."""
    curves = []
    for c, said, air, part in (
        (before, "as it was", "gray", "gray+"),
        (after, "changed", "orange+", "green+"),
    ):
        curves.append(Curve(f"air, {said}", *_thin(c, c.air_c, 4 * width), air))
        if c.parts_c:
            name = _slowest(c)
            thin = _thin(c, c.parts_c[name], 4 * width)
            curves.append(Curve(f"{name}, {said}", *thin, part))
    return canvas(curves, (width, 21), Axis("hours since the start"), Axis("°C"))


def _slowest(c: Curves) -> str:
    """The part that is furthest behind the air on the mean."""
    behind = {
        name: float(np.nanmean(np.array(c.air_c) - np.array(values)))
        for name, values in c.parts_c.items()
    }
    return max(behind, key=lambda name: behind[name])


def draw(before: Curves, after: Curves, told: str, path: Path) -> None:
    """The same as a picture: .svg, .png or .pdf.

    Raises:
        BadInput: matplotlib is not there, or the file cannot be written.
    """
    with sheet(path, (4, 1), 7.0) as (_, top, bottom):
        for c, said, style in ((before, "as it was", "--"), (after, "changed", "-")):
            curves = [("setpoint", c.setpoint_c, INK), ("air", c.air_c, AIR)]
            curves += [(n, v, PARTS[i % len(PARTS)]) for i, (n, v) in enumerate(c.parts_c.items())]
            for name, values, colour in curves:
                xs, ys = _thin(c, values, 1500)
                if xs:
                    wide = 0.9 if name == "setpoint" else 1.6
                    top.plot(xs, ys, style, color=colour, lw=wide, label=f"{name}, {said}")
            hours = np.array(c.time_s) / 3600.0
            per = max(len(hours) // 200, 1)
            heat = np.convolve(np.array(c.heat), np.ones(per) / per, mode="same")
            bottom.plot(hours[::per], 100.0 * heat[::per], style, color=AIR, lw=1.2)
        top.set_ylabel("°C")
        top.legend(loc="best", frameon=False, fontsize=9, ncols=2)
        top.set_title(f"What if: {told}", loc="left", fontsize=14)
        bottom.set_ylabel("heater, %")
        bottom.set_ylim(0, 100)
        bottom.set_xlabel("hours since the start")
