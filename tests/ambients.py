"""Real nights: hourly outdoor temperatures of NREL's TMY3 data set, as the pvlib package ships it.

The file is that of Sand Point, Alaska (station 703165), a cold estuary of its own; the values are
used as they are, not shifted. A typical year is put together of months of different years, so at a
month's end neighbouring hours may not belong together.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from pathlib import Path

import pvlib

from nightcure.oven.ambient import interpolated

FILE = Path(pvlib.__file__).parent / "data" / "703165TY.csv"
#: Nights begin at 20:00, are judged by 14 hours and go on for 16, should the oven wait.
EVENING_HOUR, NIGHT_HOURS, POINTS = 20, 14, 17

Ambient = Callable[[float], float]


@cache
def hourly_c() -> tuple[float, ...]:
    """A typical year's dry-bulb temperatures, °C, hour by hour from midnight of 1 January.

    The file's first row is 01:00 and its last the midnight after 31 December.
    """
    data, meta = pvlib.iotools.read_tmy3(FILE, coerce_year=1990, map_variables=True)
    assert meta["USAF"] == 703165
    assert data.index[0].hour == 1
    values_c = [float(c) for c in data["temp_air"]]
    return tuple(values_c[-1:] + values_c[:-1])


def night_c(day: int, points: int = POINTS) -> list[float]:
    """Hourly °C from 20:00 of a day of the year (0 is 1 January) on."""
    hours, first = hourly_c(), 24 * day + EVENING_HOUR
    return [hours[(first + h) % len(hours)] for h in range(points)]


def _ambient(day: int) -> Ambient:
    return interpolated([3600.0 * h for h in range(POINTS)], night_c(day))


def nights(count: int) -> list[Ambient]:
    """`count` nights from 20:00 on, spread over the cold half of the year (September to April)."""
    days = [*range(120), *range(243, 364)]
    return [_ambient(days[i * len(days) // count]) for i in range(count)]


def cold_nights(count: int) -> list[Ambient]:
    """The year's `count` coldest nights by their mean over 14 h, coldest first.

    Each is °C at a time (s) after 20:00: straight lines between the file's hours.

    Raises:
        ValueError: a year has no so many nights.
    """
    if not 0 < count <= 365:
        raise ValueError(f"count is {count}; a year has 1 to 365 nights.")
    by_mean = sorted(range(365), key=lambda day: sum(night_c(day, NIGHT_HOURS + 1)))
    return [_ambient(day) for day in by_mean[:count]]
