"""A recorded night as a survey's log."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..oven.arrays import Array
from ..record.night import Night
from .log import Log

#: Ticks further apart than so many have a pause between them.
PAUSED_TICKS = 5.0


def log_of_night(
    path: Path,
    night_id: int | None,
    power_w: float | None = None,
    from_wall_s: float | None = None,
) -> Log:
    """Air, part, ambient and heater of a night, the newest if none is named.

    `from_wall_s`: leave out what was before.

    Raises:
        BadInput: there is no such night, or too few of its ticks have an air temperature.
    """
    night = Night.at(path, night_id)
    heat_time_s, heat = _heat(night)
    rows = [
        i
        for i, control_c in enumerate(night.control_c)
        if control_c is not None and (from_wall_s is None or night.wall_s[i] >= from_wall_s)
        if i == 0 or night.time_s[i] > night.time_s[i - 1]
    ]
    time_s = np.array([night.time_s[i] for i in rows])

    def mean_of(*wanted: str) -> Array | None:
        columns = night.indices(*wanted)
        if not columns or not rows:
            return None
        values = np.array(
            [[night.believed_c[row][i] for i in columns] for row in rows], dtype=np.float64
        )
        good = ~np.isnan(values).any(axis=1)
        if good.sum() < 2:
            return None
        column: Array = np.interp(time_s, time_s[good], values[good].mean(axis=1))
        return column

    return Log(
        time_s,
        np.array([night.control_c[i] for i in rows], dtype=np.float64),
        heat_time_s,
        heat,
        mean_of("part", "mould"),
        mean_of("ambient"),
        night.settings["heater"]["power_w"] if power_w is None else power_w,
        name=f"{path}, night {night.number}",
    )


def _heat(night: Night) -> tuple[Array, Array]:
    """When the heater changed, s, and its share from then on: of every tick, read air or not.

    While no tick ran the heater was off: a relay that nobody holds falls.
    """
    paused_s = PAUSED_TICKS * night.tick_s
    at_s: list[float] = []
    heat: list[float] = []
    for i, now_s in enumerate(night.time_s):
        if at_s and now_s <= at_s[-1]:
            continue
        if i and heat[-1] > 0.0 and now_s - night.time_s[i - 1] > paused_s:
            at_s.append(night.time_s[i - 1] + night.tick_s)
            heat.append(0.0)
        at_s.append(now_s)
        heat.append(float(night.heater[i]))
    return np.array(at_s), np.array(heat)
