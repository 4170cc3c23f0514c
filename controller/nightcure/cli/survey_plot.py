"""A survey as a picture: in the terminal, and as a sheet for the workshop wall."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from rich.text import Text

from .plot import Axis, Curve, canvas, round_ticks, sheet

if TYPE_CHECKING:
    from ..survey.identified import Survey, Value

MEASURED, FITTED, HEAT = "#1f2a33", "#c8501e", "#e9b08f"


def _scale(found: Survey) -> tuple[float, str]:
    return (60.0, "minutes") if found.log.length_s < 3 * 3600 else (3600.0, "hours")


def terminal_plot(found: Survey, width: int) -> Text:
    """Measured points and fitted curve, the residuals under them."""
    p = found.problem
    per, unit = _scale(found)
    first_s = float(p.time_s[0])
    rows = (p.time_s[p.rows] - first_s) / per
    times, air, _ = found.band_c(2 * width)
    many = max(len(rows) // width, 1)
    across = Axis("", ends=(0.0, float(times[-1] - first_s) / per))
    upper = canvas(
        [
            Curve("fitted", ((times - first_s) / per).tolist(), air.tolist(), "orange+"),
            Curve("measured", rows[::many].tolist(), p.air_c[::many].tolist(), "blue+", "dot",
                  line=False),
        ],
        (width, 17), across, Axis("air, °C"),
    )  # fmt: skip
    left = found.fit.residuals_c[::many]
    most = round_ticks(0.0, max(float(np.max(np.abs(left))), 0.1), 1)[-1]
    lower = canvas(
        [Curve("", rows[::many].tolist(), left.tolist(), "blue+", "dot", line=False)],
        (width, 7), replace(across, label=unit),
        Axis("measured less fitted, K", (-most, 0.0, most), ends=(-most, most)),
    )  # fmt: skip
    return Text("\n").join([upper, lower])


def draw(found: Survey, path: Path) -> None:
    """The sheet: points, fitted curve, its 95 % band, the three numbers that matter.

    Raises:
        BadInput: matplotlib is not there, or the file cannot be written.
    """
    p = found.problem
    per, unit = _scale(found)
    first_s = float(p.time_s[0])
    times, air, half = found.band_c()
    with sheet(path, (4, 1)) as (figure, top, bottom):
        t = (times - first_s) / per
        on = np.append(p.heat, 0.0)
        top.fill_between(
            (p.time_s - first_s) / per, 0, on, step="post", color=HEAT, alpha=0.35, lw=0,
            transform=top.get_xaxis_transform(), label="heater on",
        )  # fmt: skip
        top.fill_between(t, air - half, air + half, color=FITTED, alpha=0.25, lw=0,
                         label="95 % band")  # fmt: skip
        top.plot(t, air, color=FITTED, lw=2, label="fitted")
        rows = (p.time_s[p.rows] - first_s) / per
        few = len(rows) <= 60
        top.plot(
            rows, p.air_c, "o" if few else ".", color=MEASURED, ms=7 if few else 2,
            label="measured", zorder=1 if not few else 3,
        )  # fmt: skip
        if found.log.ambient_c is not None:
            top.plot((p.time_s - first_s) / per, p.ambient_c, color="#4a7fb0", lw=1.2, label="shed")
        top.set_ylabel("air, °C")
        top.legend(loc="best", frameon=False, fontsize=11)
        top.set_title(_three(found), loc="left", fontsize=17, linespacing=1.5)
        bottom.axhline(0, color=FITTED, lw=1)
        bottom.plot(
            rows, found.fit.residuals_c, "o" if few else ".", color=MEASURED, ms=5 if few else 2
        )
        bottom.set_ylabel("left over, K")
        bottom.set_xlabel(unit)
        name = Path(found.log.name).name
        figure.supxlabel(f"{name}, {len(found.log.time_s)} rows", fontsize=9, color="#666666",
                         x=0.99, ha="right")  # fmt: skip


def _three(found: Survey) -> str:
    """Loss, heat capacity and what full power holds, with their intervals."""
    from ..survey.assumptions import figures

    def shown(value: Value | None, unit: str, scale: float = 1.0) -> str:
        if value is None:
            return "unknown (heater's watts not given)"
        v = value.times(scale)
        return f"{figures(v.value)} {unit}   ({figures(v.low)} to {figures(v.high)})"

    return (
        f"loses {shown(found.loss_w_per_k, 'W/K')}\n"
        f"stores {shown(found.heat_capacity_j_per_k, 'kJ/K', 1e-3)}\n"
        f"full power holds the shed + {shown(found.rise_k, 'K')}"
    )
