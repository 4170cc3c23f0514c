"""A recorded night as a survey's log."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np

from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..oven.arrays import Array
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
    reader = LedgerReader(path)
    if night_id is None:
        newest = reader.nights(limit=1)
        if not newest:
            raise BadInput(f"{path} holds no night yet.")
        night_id = int(newest[0]["id"])
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{path} holds no night {night_id}.")
    settings = json.loads(night.settings)
    roles = [t["role"] for t in settings["thermometers"]]
    told = reader.columns(night_id, "mono_s", "control_c", "heater", "believed", "wall_s")
    rows = [
        (mono_s, control_c, float(heater), believed)
        for mono_s, control_c, heater, believed, wall_s in zip(*told.values(), strict=True)
        if control_c is not None and (from_wall_s is None or wall_s >= from_wall_s)
    ]
    rows = [row for i, row in enumerate(rows) if i == 0 or row[0] > rows[i - 1][0]]
    time_s = np.array([row[0] for row in rows])

    def mean_of(*wanted: str) -> Array | None:
        columns = [i for i, role in enumerate(roles) if role in wanted]
        if not columns or not rows:
            return None
        values = np.array([[row[3][i] for i in columns] for row in rows], dtype=np.float64)
        good = ~np.isnan(values).any(axis=1)
        if good.sum() < 2:
            return None
        column: Array = np.interp(time_s, time_s[good], values[good].mean(axis=1))
        return column

    watts = settings["heater"]["power_w"] if power_w is None else power_w
    return Log(
        time_s,
        np.array([row[1] for row in rows], dtype=np.float64),
        time_s,
        np.array([row[2] for row in rows]),
        mean_of("part", "mould"),
        mean_of("ambient"),
        watts,
        name=f"{path}, night {night_id}",
    )
