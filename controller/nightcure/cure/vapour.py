"""Styrene vapour in a closed box: grams, share of the lower explosive limit, ventilation.

It advises; it never certifies. Pure Python.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ..errors import BadInput
from .clock_figures import Emitter
from .rate import KELVIN, R_J_PER_MOL_K

#: Styrene (NIOSH pocket guide; lower explosive limit of NFPA 497, vol %).
STYRENE_G_PER_MOL = 104.15
LOWER_EXPLOSIVE_VOL_PCT = 0.9
IDLH_PPM, REL_PPM = 700.0, 50.0
PRESSURE_PA = 101_325.0
#: Ovens are kept at or below this share of the lower limit (NFPA 86, from a summary).
VAPOUR_MOST_PCT = 25.0
#: The ventilation it names leaves a little of that quarter unused.
SPARE = 1.001
#: Released over so long where the person does not say: most of it goes in the first hour.
OVER_H = 1.0

#: kg per Mg of resin = factor * h ** power, h = % monomer (40 CFR 63 subpart VVVV, table 3).
EMISSION: dict[Emitter, tuple[float, float]] = {"resin": (0.014, 2.275), "gel-coat": (0.445, 1.675)}


class Vapour(NamedTuple):
    """What evaporates in the box."""

    styrene_g: float
    vol_pct: float
    percent_lel: float
    ppm: float
    saturated: bool
    """The box air can hold no more; a hot laminate's surface still can."""
    ventilation_m3_per_h: float
    """Fresh air that keeps it at a quarter of the limit, well mixed; 0 where none is needed."""


def saturation_pa(temp_c: float) -> float:
    """Vapour pressure of styrene, Pa (Perry's Chemical Engineers' Handbook, table 2-8)."""
    t = temp_c + KELVIN
    return math.exp(105.93 - 8685.9 / t - 12.42 * math.log(t) + 7.5583e-6 * t * t)


def emitter_called(name: str) -> Emitter:
    """Whether a material loses styrene as a gel coat does or as a resin does, by its name."""
    called = "".join(c for c in name.lower() if c.isalpha())
    coats = ("gelcoat", "topcoat", "flowcoat")
    return "gel-coat" if any(coat in called for coat in coats) else "resin"


def emission_kg_per_mg(monomer_pct: float, kind: Emitter = "resin") -> float:
    """Styrene lost over lay-up and cure, kg per Mg of material (40 CFR 63 VVVV, table 3)."""
    factor, power = EMISSION[kind]
    return float(factor * monomer_pct**power)


def default_evaporated_pct(monomer_pct: float, kind: Emitter = "resin") -> float:
    """The share of the monomer (%) taken to evaporate in the box: all of the regulation's factor.

    Cautious: part of it is lost at the lay-up, before the box is shut.
    """
    if monomer_pct <= 0.0:
        return 0.0
    return min(100.0, emission_kg_per_mg(monomer_pct, kind) / (10.0 * monomer_pct) * 100.0)


def vapour(
    resin_kg: float,
    monomer_pct: float,
    evaporated_pct: float,
    volume_m3: float,
    air_c: float,
    air_changes_per_h: float = 0.0,
    over_h: float = OVER_H,
) -> Vapour:
    """The highest concentration in a perfectly mixed box.

    Args:
        evaporated_pct: of the monomer, in the box, evenly over `over_h`.
        air_changes_per_h: fresh air in box volumes per hour.

    Raises:
        BadInput: a number out of its range.
    """
    for name, value, low, high in (
        ("resin_kg", resin_kg, 0.0, 1000.0),
        ("monomer_pct", monomer_pct, 0.0, 70.0),
        ("evaporated_pct", evaporated_pct, 0.0, 100.0),
        ("volume_m3", volume_m3, 0.01, 1000.0),
        ("air_c", air_c, -30.0, 120.0),
        ("air_changes_per_h", air_changes_per_h, 0.0, 10_000.0),
        ("over_h", over_h, 0.05, 72.0),
    ):
        if not low <= value <= high:
            raise BadInput(f"{name} is {value:g}; it should be {low:g} to {high:g}.")
    styrene_g = resin_kg * 1000.0 * monomer_pct / 100.0 * evaporated_pct / 100.0
    return in_the_box(styrene_g, volume_m3, air_c, air_changes_per_h, over_h)


def in_the_box(
    styrene_g: float, volume_m3: float, air_c: float, air_changes_per_h: float, over_h: float
) -> Vapour:
    """So many grams, evenly over `over_h`, in a perfectly mixed box; else as `vapour`."""
    gas_m3 = styrene_g / STYRENE_G_PER_MOL * R_J_PER_MOL_K * (air_c + KELVIN) / PRESSURE_PA
    vol_pct = closed_pct = 100.0 * gas_m3 / volume_m3
    changes = air_changes_per_h * over_h
    if changes > 1e-9:
        vol_pct = closed_pct * -math.expm1(-changes) / changes
    most_pct = 100.0 * saturation_pa(air_c) / PRESSURE_PA
    saturated = vol_pct >= most_pct
    vol_pct = min(vol_pct, most_pct)
    allowed_pct = LOWER_EXPLOSIVE_VOL_PCT * VAPOUR_MOST_PCT / 100.0
    ventilation = 0.0
    if closed_pct > allowed_pct:
        ventilation = SPARE * gas_m3 / over_h / (allowed_pct / 100.0)
    return Vapour(
        styrene_g,
        vol_pct,
        100.0 * vol_pct / LOWER_EXPLOSIVE_VOL_PCT,
        10_000.0 * vol_pct,
        saturated,
        ventilation,
    )


def cautions(v: Vapour) -> tuple[str, ...]:
    """What has to be said of it, a sentence each, the gravest first."""
    said: list[str] = []
    if v.percent_lel > VAPOUR_MOST_PCT:
        said.append(
            f"{v.percent_lel:.0f} % of the lower explosive limit, above the {VAPOUR_MOST_PCT:g} % "
            f"ovens are kept under: do not start. Let more of it gel and air outside, or duct "
            f"{v.ventilation_m3_per_h:.1f} m³/h of fresh air through the box."
        )
    if v.saturated:
        said.append(
            "The air is saturated; that is no safety, since the laminate's surface runs hotter."
        )
    if v.ppm > IDLH_PPM:
        said.append(
            f"{v.ppm:.0f} ppm when the door opens, above the {IDLH_PPM:g} ppm dangerous to life "
            f"and health (NIOSH): air the box before putting your head in."
        )
    elif v.ppm > REL_PPM:
        said.append(
            f"{v.ppm:.0f} ppm when the door opens, above the {REL_PPM:g} ppm for a working day "
            f"(NIOSH): air the box first."
        )
    said.append(
        "An open element or a spark inside is an ignition source; styrene ignites by itself at "
        "490 °C and its flash point is 31 °C."
    )
    said.append(
        "Keep MEKP below 30 °C and out of the oven: it decomposes by itself from about 60 °C "
        "(from memory)."
    )
    said.append("This is an estimate for a well-mixed box; it certifies nothing.")
    return tuple(said)
