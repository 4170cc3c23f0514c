"""A recorded night as a survey's log."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ..oven.arrays import Array
from ..record.night import Night
from .log import Log


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
        time_s,
        np.array([float(night.heater[i]) for i in rows]),
        mean_of("part", "mould"),
        mean_of("ambient"),
        night.settings["heater"]["power_w"] if power_w is None else power_w,
        name=f"{path}, night {night.number}",
    )
