"""What was seen of a night, as arrays: from a ledger, or from a table of any logger."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..ledger.rows import TickRow, passed_s
from ..oven.arrays import Array
from ..settings import Role, Settings
from ..survey.log import Log

#: Fewer rows are no night.
LEAST_ROWS = 30


@dataclass(frozen=True)
class RecordedSeries:
    """A night's curves. All arrays (rows,), times rising.

    Attributes:
        time_s: s of the night.
        air_c: control air, °C.
        parts_c: °C of each part's or mould's thermometer, by name.
        ambient_c: °C of the shed, or None where nothing measured it.
        heat: share of the heater's power from each row to the next.
        setpoint_c: °C, nan where there was none; None for a table.
        power_w: the heater's.
    """

    time_s: Array
    air_c: Array
    parts_c: dict[str, Array]
    ambient_c: Array | None
    heat: Array
    power_w: float
    setpoint_c: Array | None = None
    wall_s: Array | None = None
    name: str = "the night"

    def log(self) -> Log:
        """The same for a survey."""
        part = np.mean(list(self.parts_c.values()), axis=0) if self.parts_c else None
        return Log(self.time_s, self.air_c, self.time_s, self.heat, part, self.ambient_c,
                   self.power_w, name=self.name)  # fmt: skip


def series_from_table(log: Log) -> RecordedSeries:
    """A table's rows; its heater must be in watts or its power be given. Raises BadInput."""
    if log.power_w is None:
        raise BadInput(f"{log.name}: the heater's watts are not known; say --power.")
    grid = log.time_s
    on_s = np.concatenate([[0.0], np.cumsum(log.heat[:-1] * np.diff(log.heat_time_s))])
    end_s = max(float(log.heat_time_s[-1]), float(grid[-1])) + 1.0
    ends = np.append(log.heat_time_s, end_s)
    total = np.append(on_s, on_s[-1] + log.heat[-1] * (end_s - log.heat_time_s[-1]))
    share = np.diff(np.interp(grid, ends, total)) / np.diff(grid)
    parts = {} if log.part_c is None else {"Part": np.asarray(log.part_c, np.float64)}
    ambient = None if log.ambient_c is None else np.asarray(log.ambient_c, np.float64)
    return RecordedSeries(
        grid - grid[0], np.asarray(log.air_c, np.float64), parts, ambient,
        np.append(np.clip(share, 0.0, 1.0), 0.0), log.power_w, name=log.name,
    )  # fmt: skip


def series_from_ledger(reader: LedgerReader, night_id: int, settings: Settings) -> RecordedSeries:
    """A recorded night. Raises BadInput where it is too short, or its air is not known."""
    tick_s = settings.timing.tick_s
    parts = settings.indices(Role.PART, Role.MOULD)
    ambients = settings.indices(Role.AMBIENT)
    rows: list[tuple[float, TickRow, list[float | None]]] = []
    time_s, before = 0.0, None
    for tick in reader.ticks(night_id):
        if before is not None:
            time_s += passed_s(before, tick, tick_s)
        before = tick
        if not rows or time_s > rows[-1][0]:
            rows.append((time_s, tick, reader.parsed(tick.believed)))
    name = f"Night {night_id}"
    if len(rows) < LEAST_ROWS:
        raise BadInput(f"{name} has {len(rows)} ticks; that is too short to rebuild it.")
    times = np.array([t for t, _, _ in rows])

    def column(values: list[float | None]) -> Array | None:
        found = np.array(values, dtype=np.float64)
        good = ~np.isnan(found)
        if good.sum() < LEAST_ROWS:
            return None
        filled: Array = np.interp(times, times[good], found[good])
        return filled

    air_c = column([tick.control_c for _, tick, _ in rows])
    if air_c is None:
        raise BadInput(f"{name}: the air was hardly ever known; it cannot be rebuilt.")
    parts_c = {}
    for i in parts:
        values = column([believed[i] for _, _, believed in rows])
        if values is not None:
            parts_c[settings.thermometers[i].name] = values
    ambient_c = column([believed[ambients[0]] for _, _, believed in rows]) if ambients else None
    return RecordedSeries(
        times, air_c, parts_c, ambient_c,
        np.array([float(tick.heater) for _, tick, _ in rows]), settings.heater.power_w,
        np.array([tick.setpoint_c for _, tick, _ in rows], dtype=np.float64),
        np.array([tick.wall_s for _, tick, _ in rows]), name,
    )  # fmt: skip
