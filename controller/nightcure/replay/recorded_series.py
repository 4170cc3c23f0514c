"""What was seen of a recorded night, as arrays."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array
from ..record.night import Night
from ..settings import Role
from ..survey.log import Log

#: Fewer rows are no night.
LEAST_ROWS = 30


@dataclass(frozen=True)
class RecordedSeries:
    """A night's curves: arrays of one length, in order of time.

    Attributes:
        time_s: s of the night.
        air_c: control air, °C.
        parts_c: °C of each part's or mould's thermometer, by name.
        ambient_c: °C of the shed, or None where nothing measured it.
        heat: share of the heater's power from each row to the next.
        power_w: the heater's.
    """

    time_s: Array
    air_c: Array
    parts_c: dict[str, Array]
    ambient_c: Array | None
    heat: Array
    power_w: float
    name: str = "the night"

    def log(self) -> Log:
        """The same for a survey."""
        part = np.mean(list(self.parts_c.values()), axis=0) if self.parts_c else None
        return Log(self.time_s, self.air_c, self.time_s, self.heat, part, self.ambient_c,
                   self.power_w, name=self.name)  # fmt: skip


def series_of(night: Night) -> RecordedSeries:
    """A recorded night. Raises BadInput where it is too short, or its air is not known."""
    name = f"Night {night.number}"
    time_s = np.array(night.time_s)
    later = np.concatenate([[True], np.diff(time_s) > 0.0])[: len(time_s)]
    if later.sum() < LEAST_ROWS:
        raise BadInput(f"{name} has {later.sum()} ticks; that is too short to rebuild it.")
    time_s = time_s[later]

    def column(values: Sequence[float | None]) -> Array | None:
        found = np.array(values, dtype=np.float64)[later]
        good = ~np.isnan(found)
        if good.sum() < LEAST_ROWS:
            return None
        filled: Array = np.interp(time_s, time_s[good], found[good])
        return filled

    air_c = column(night.control_c)
    if air_c is None:
        raise BadInput(f"{name}: the air was hardly ever known; it cannot be rebuilt.")
    parts_c = {}
    for i in night.indices(Role.PART, Role.MOULD):
        values = column(night.thermometer_c(i))
        if values is not None:
            parts_c[night.thermometers[i]["name"]] = values
    ambients = night.indices(Role.AMBIENT)
    ambient_c = column(night.thermometer_c(ambients[0])) if ambients else None
    return RecordedSeries(
        time_s, air_c, parts_c, ambient_c, np.array(night.heater, dtype=np.float64)[later],
        float(night.settings["heater"]["power_w"]), name,
    )  # fmt: skip
