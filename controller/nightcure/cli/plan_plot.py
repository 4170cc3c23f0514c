"""A plan as a picture: in the terminal, and as a file."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from ..plan.answer import GOALS, clock_time
from ..units import c_to_f
from .plot import Axis, Curve, canvas, sheet

if TYPE_CHECKING:
    from ..oven.arrays import Array
    from ..plan.plan import Plan

AIR, SHED = ("orange+", "orange"), ("blue+", "blue")
PARTS = (("green+", "green"), ("magenta+", "magenta"), ("cyan+", "cyan"), ("red+", "red"))
INK = {"air": "#c8501e", "shed": "#4a7fb0", "parts": ("#2e7d4f", "#7a4a9c", "#23808a", "#a03030")}


def _bands(values: Array) -> tuple[Array, Array, Array]:
    low, middle, high = np.percentile(values, (10, 50, 90), axis=1)
    return low, middle, high


def _ticks(plan: Plan, last_h: float) -> tuple[list[float], list[str]]:
    """Full hours of the wall clock, hours after the start."""
    first = (-plan.tonight.start_of_day_s / 3600.0) % 1.0
    every = next((e for e in (1.0, 2.0, 3.0, 4.0, 6.0) if last_h / e <= 8.0), 12.0)
    hours = np.arange(first, last_h, every).tolist()
    return hours, [clock_time(plan.tonight, 3600.0 * h) for h in hours]


def terminal_plot(plan: Plan, width: int) -> Text:
    """Air, parts and shed with their 10-90 % bands; under them the way to the goal."""
    series = plan.nights.series
    assert series is not None
    fahrenheit = plan.tonight.settings.units == "F"
    hours = (series.time_s / 3600.0).tolist()
    across = Axis("", *_ticks(plan, hours[-1]))
    deadline_h = plan.tonight.deadline_s / 3600.0

    def curves(rows: Sequence[tuple[str, Array, tuple[str, str]]], in_f: bool) -> list[Curve]:
        out = []
        for label, values, (bright, dull) in rows:
            low, middle, high = (
                [c_to_f(float(c)) if in_f else float(c) for c in row] for row in _bands(values)
            )
            out += [Curve("", hours, edge, dull, "dot", edge=True) for edge in (low, high)]
            out.append(Curve(label, hours, middle, bright))
        return out

    names = [p.part.name for p in plan.tonight.parts]
    inks = [PARTS[i % len(PARTS)] for i in range(len(names))]
    temperatures = [
        ("shed", series.ambient_c, SHED),
        ("air", series.air_c, AIR),
        *zip(names, series.parts_c, inks, strict=True),
    ]
    way = [(n, 100.0 * v, ink) for n, v, ink in zip(names, series.progress, inks, strict=True)]
    by = clock_time(plan.tonight, plan.tonight.deadline_s)
    upper = canvas(
        curves(temperatures, fahrenheit), (width, 19), across,
        Axis("°F" if fahrenheit else "°C"),
        f"dotted: 10 to 90 of 100 nights lie between  upright: {by}, the deadline", deadline_h,
    )  # fmt: skip
    lower = canvas(
        curves(way, False), (width, 9), across,
        Axis(f"% of the way to {GOALS[plan.tonight.goal]}", (0.0, 50.0, 100.0), ends=(0.0, 100.0)),
        upright=deadline_h,
    )  # fmt: skip
    return Text("\n").join([upper, lower])


def draw(plan: Plan, path: Path) -> None:
    """The same as a sheet, bands filled.

    Raises:
        BadInput: matplotlib is not there, or the file cannot be written.
    """
    series = plan.nights.series
    assert series is not None
    with sheet(path, (3, 2)) as (figure, top, bottom):
        hours = series.time_s / 3600.0
        names = [p.part.name for p in plan.tonight.parts]
        inks = [INK["parts"][i % len(INK["parts"])] for i in range(len(names))]
        for axes, curves in (
            (
                top,
                [
                    ("shed", series.ambient_c, INK["shed"]),
                    ("air", series.air_c, INK["air"]),
                    *zip(names, series.parts_c, inks, strict=True),
                ],
            ),
            (bottom, list(zip(names, (100.0 * p for p in series.progress), inks, strict=True))),
        ):
            for label, values, ink in curves:
                low, middle, high = _bands(values)
                axes.fill_between(hours, low, high, color=ink, alpha=0.2, lw=0)
                axes.plot(hours, middle, color=ink, lw=1.8, label=label)
            axes.axvline(plan.tonight.deadline_s / 3600.0, color="#666666", lw=1, ls="--")
        top.legend(loc="best", frameon=False)
        top.set_ylabel("°C")
        bottom.set_ylabel(f"% of the way to {GOALS[plan.tonight.goal]}")
        bottom.set_ylim(0, 101)
        bottom.set_xticks(*_ticks(plan, float(hours[-1])))
        top.set_title(plan.answer().replace("; ", ";\n", 1), loc="left", fontsize=13, wrap=True)
        figure.supxlabel("median; bands hold 10-90 % of the nights; dashed: the deadline",
                         fontsize=9, color="#666666", x=0.99, ha="right")  # fmt: skip
