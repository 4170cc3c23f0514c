"""Moisture: the dew point of the air, and what stands too near it to be laid up.

Limits of coating practice (ISO 8502-4 and guides to it): a surface stays 3 K above the dew point,
the air below 85 % relative humidity; the same 3 K for epoxies, which blush below them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from ..errors import BadInput
from ..units import TemperatureUnit, show_difference, show_temperature

#: Magnus' formula over water: hPa, 1, °C (WMO guide No. 8; -45 to 60 °C).
MAGNUS_HPA, MAGNUS_B, MAGNUS_C = 6.112, 17.62, 243.12
ABOVE_DEW_K = 3.0
MOST_PCT = 85.0


class Surface(NamedTuple):
    """What is laid up, or laid upon, and how warm it is, °C."""

    name: str
    at_c: float


def saturation_hpa(air_c: float) -> float:
    """Pressure of saturated water vapour over water, hPa."""
    return MAGNUS_HPA * math.exp(MAGNUS_B * air_c / (MAGNUS_C + air_c))


def dew_point_c(air_c: float, humidity_pct: float) -> float:
    """Dew point (°C) of air at a relative humidity.

    Raises:
        BadInput: a humidity that is none, a temperature beyond the formula.
    """
    if not 1.0 <= humidity_pct <= 100.0:
        raise BadInput(f"the humidity is {humidity_pct:g} %; it should be 1 to 100.")
    if not -45.0 <= air_c <= 60.0:
        raise BadInput(f"the air is {air_c:g} °C; it should be -45 to 60.")
    x = math.log(humidity_pct / 100.0) + MAGNUS_B * air_c / (MAGNUS_C + air_c)
    return MAGNUS_C * x / (MAGNUS_B - x)


def humidity_at(air_c: float, humidity_pct: float, warmed_c: float) -> float:
    """Relative humidity (%) of the same air once it is warmed in a shut box."""
    return humidity_pct * saturation_hpa(air_c) / saturation_hpa(warmed_c)


class Moisture(NamedTuple):
    """What the air's moisture means for a lay-up."""

    dew_point_c: float
    dry: bool
    """Nothing stands nearer than 3 K to the dew point, and the air is below 85 %."""
    sentences: tuple[str, ...]


def moisture(
    air_c: float, humidity_pct: float, surfaces: Sequence[Surface], epoxy: bool = False,
    units: TemperatureUnit = "C",
) -> Moisture:  # fmt: skip
    """Whether what is to be laid up is dry, what to do where it is not; a sentence each.

    Args:
        air_c, humidity_pct: the air it stands in.
        surfaces: moulds and parts; as warm as the air if there are none.
        epoxy: one of the resins is.
    """
    dew_c = dew_point_c(air_c, humidity_pct)
    dew = show_temperature(dew_c, units)
    said: list[str] = []
    for name, at_c in surfaces or (Surface("the mould", air_c),):
        above_k = at_c - dew_c
        if above_k >= ABOVE_DEW_K:
            continue
        at, warm = (show_temperature(c, units) for c in (at_c, dew_c + ABOVE_DEW_K))
        state = "is wet" if above_k <= 0.0 else "may be wet"
        near = "colder than the dew point" if above_k <= 0.0 else "too near the dew point"
        more = "; an epoxy blushes on it" if epoxy else ""
        said.append(
            f"{name[0].upper()}{name[1:]} at {at} {state}, {near} of {dew}{more}: warm it to "
            f"{warm} before anything is laid on it, or wait for drier air."
        )
    if humidity_pct > MOST_PCT:
        drier_c = air_c
        while humidity_at(air_c, humidity_pct, drier_c) > MOST_PCT - 10.0:
            drier_c += 1.0
        warmer = show_temperature(drier_c, units, digits=0)
        blush = ", and an epoxy blushes in it" if epoxy else ""
        said.append(
            f"The air holds {humidity_pct:.0f} % of the moisture it can, above {MOST_PCT:.0f} %"
            f"{blush}: wait, or warm the shut box to {warmer} first, which leaves "
            f"{humidity_at(air_c, humidity_pct, drier_c):.0f} %."
        )
    if said:
        return Moisture(dew_c, False, tuple(said))
    name, least_k = min(
        ((s.name, s.at_c - dew_c) for s in surfaces or (Surface("the mould", air_c),)),
        key=lambda pair: pair[1],
    )
    above = show_difference(least_k, units)
    fine = f"Dry enough to lay up: the dew point is {dew}, {name} {above} above it."
    return Moisture(dew_c, True, (fine,))
