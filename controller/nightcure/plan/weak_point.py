"""Which uncertainty moves the time of the goal most."""

from __future__ import annotations

import numpy as np
from scipy.stats import rankdata

from ..oven.arrays import Array
from ..units import show_duration, show_temperature
from .night_results import SHORT_K, Nights
from .sampling import SampledParameters
from .tonight import Tonight

#: A heater that gives all it has for longer than this is spoken of, s.
FULL_S = 1800.0


def weak_point(tonight: Tonight, nights: Nights, sampled: SampledParameters) -> str:
    """What the time of the goal hangs on most, by rank correlation over the nights."""
    goal = np.where(np.isnan(nights.goal_s[:, 0]), 1e9, nights.goal_s[:, 0])
    if goal.min() == goal.max():
        return "Nothing that varies from night to night changes it."
    drivers: dict[str, Array] = {
        "how cold the shed gets": sampled.ambient_k,
        "the oven's loss": sampled.loss_times,
        "the heater's power": sampled.power_times,
        "what the moulds take up": sampled.mould_capacity_times,
        "the air thermometer's offset": sampled.air_offset_k,
        "the catalyst as weighed": sampled.weighing_times.max(axis=1),
        "whose resin it is (a gel cup settles it)": sampled.maker_times.max(axis=1),
        "how well the card knows the gel": sampled.gel_times.max(axis=1),
        "how well the card knows the cure": sampled.cure_z.max(axis=1),
        "how the gel slows in the cold": sampled.gel_kj_per_mol.max(axis=1),
        "how the cure quickens with warmth": sampled.cure_kj_per_mol.max(axis=1),
    }
    late = rankdata(goal)
    strength = {
        name: abs(float(np.corrcoef(late, rankdata(values))[0, 1]))
        for name, values in drivers.items()
        if values.min() < values.max()
    }
    if not strength:
        return "Nothing that varies from night to night changes it."
    full = nights.full_s[:, 0]
    often = float(np.mean(nights.short_k[:, 0] > SHORT_K))
    if often > 0.2:
        coldest_c = min(tonight.shed.values_c[: int(tonight.deadline_s / 60.0)])
        return (
            f"The weak point is the heater below {show_temperature(coldest_c + 2.0, digits=0)}: in "
            f"{100.0 * often:.0f} of 100 nights it cannot hold the soak."
        )
    name = max(strength, key=lambda n: strength[n])
    more = ""
    if float(np.median(full)) > FULL_S:
        more = f"; the heater gives all it has for {show_duration(float(np.median(full)))}"
    return f"The weak point is {name}{more}."
