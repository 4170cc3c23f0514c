"""Real nights: hourly outdoor temperatures of NREL's TMY3 data set, as the pvlib package ships it.

The file is that of Sand Point, Alaska (station 703165), a cold estuary of its own; the values are
used as they are.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pvlib

from nightcure.oven.ambient import interpolated

FILE = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
EVENING_HOUR, HOURS = 20, 17


@cache
def hourly_c() -> tuple[float, ...]:
    """A typical year's dry-bulb temperatures, °C, hour by hour."""
    data, meta = pvlib.iotools.read_tmy3(FILE, coerce_year=1990, map_variables=True)
    assert meta["USAF"] == 703165
    return tuple(float(c) for c in data["temp_air"])


def nights(count: int) -> list[Callable[[float], float]]:
    """`count` nights from 20:00 on, spread over the cold half of the year (September to April)."""
    hours = hourly_c()
    days = [*range(120), *range(243, 364)]
    chosen = [days[i * len(days) // count] for i in range(count)]
    times_s = [3600.0 * h for h in range(HOURS)]
    return [
        interpolated(
            times_s, [hours[(24 * day + EVENING_HOUR + h) % len(hours)] for h in range(HOURS)]
        )
        for day in chosen
    ]
