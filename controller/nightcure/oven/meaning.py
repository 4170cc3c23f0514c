"""What an oven's numbers mean for the person who uses it, in sentences; no numerics."""

from __future__ import annotations

import math

from ..settings import Limits, Model, Settings

#: Mains may be 10 % low (EN 50160): power falls with its square.
LOW_MAINS = 0.81
#: A shed is hardly ever colder than this where boats are built, °C (common practice, no source).
ANY_FROST_C = -20.0


def meaning(s: Settings) -> list[str]:
    """What heater, box and limits come to: how warm, in how cold a shed, how soon it is cold again.

    By `settings.model`; that nobody has measured it is said first.
    """
    said = [] if s.model.measured else [
        "Nobody has measured this oven yet; by what oven.toml says of it, which may be far off:"
    ]  # fmt: skip
    said += meaning_of(s.heater.power_w, s.model, s.limits)
    if s.outrun() is None:
        said.append("Its thermometers watch it quickly enough.")
    return said


def meaning_of(watts: float, model: Model, limits: Limits) -> list[str]:
    """The same for any box and heater."""
    rise_k = watts / model.loss_w_per_k
    hottest_c = limits.hottest_soak_c
    floor_c = hottest_c - rise_k
    if floor_c <= ANY_FROST_C:
        asked = f"it may be asked for {hottest_c:.0f} °C down to any frost of yours."
    else:
        asked = (
            f"it reaches the {hottest_c:.0f} °C that its limits allow while the shed is above "
            f"{math.ceil(floor_c)} °C."
        )
    said = [
        f"{watts:g} W keeps this box {rise_k:.0f} K above the shed; {asked}",
        f"With the mains 10 % low that is {LOW_MAINS * rise_k:.0f} K.",
    ]
    slow_s = (model.air_capacity_j_per_k + model.mould_capacity_j_per_k) / model.loss_w_per_k
    said.append(
        f"Switched off with its moulds warm, it loses half of its warmth in about "
        f"{_hours(math.log(2.0) * slow_s)}."
    )
    return said


def _hours(seconds: float) -> str:
    minutes = round(seconds / 300.0) * 5
    if minutes < 90:
        return f"{max(minutes, 5)} min"
    return f"{seconds / 3600.0:.1f} h"
