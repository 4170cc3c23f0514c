"""How thick a laminate may be laid in one go in an oven, and how to split one that is thicker."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from ..errors import BadInput
from .card import Card
from .kinetics import law_of
from .laminate import Layer, Slab, interpolated, run_slab

#: Film between a surface and moving air, W/(m2 K) (common practice, no source).
AIR_W_PER_M2K = 10.0
#: A mould of hand lay-up glass/polyester: density, heat capacity, conductivity (from memory).
MOULD = (1500.0, 1400.0, 0.22)
MOULD_M = 0.006
THINNEST_M = 0.0005
STEP_S = 20.0
#: Cured so far everywhere, a laminate has its exotherm behind it.
SPENT_DEGREE = 0.5
#: Air that ends before the exotherm is held on at its last warmth, so much at a time, so often.
HOLD_ON_S, HOLD_ON_TIMES = 12 * 3600.0, 4


class Peak(NamedTuple):
    """The hottest point of a laminate."""

    temp_c: float
    at_s: float
    above_mould_m: float
    """How far above the mould's face; negative inside the mould."""
    spent: bool = True
    """Whether the exotherm was over by the end; if not, it may yet get hotter."""


class Advice(NamedTuple):
    """Whether a laminate may be laid in one go."""

    peak: Peak
    limit_c: float
    thickest_m: float | None
    """That stays within the limit laid at once; None: not even the thinnest does."""
    layers: int
    """Layers of equal thickness to lay one after the other's exotherm; 1 where one go will do."""


def peak_of(
    card: Card,
    catalyst_pct: float | None,
    thickness_m: float,
    air: Sequence[tuple[float, float]],
    mould_m: float = MOULD_M,
    start_c: float | None = None,
    nodes: int = 14,
) -> Peak:
    """The hottest point of a laminate on a mould in the oven's air, both faces bare.

    Raises:
        BadInput: a card that lacks laminate, heat or kinetics, or numbers that cannot be.
    """
    laminate, heat = card.laminate, card.heat_kj_per_kg
    if laminate is None or heat is None:
        raise BadInput(f"{card.name} has no laminate or no heat of cure; add them to the card.")
    for name, value in (("thickness", thickness_m), ("mould", mould_m)):
        if not THINNEST_M <= value <= 0.2:
            raise BadInput(f"the {name} is {1000 * value:g} mm; it should be 0.5 to 200.")
    share = laminate.resin_pct / 100.0 if card.heat_is_per == "resin" else 1.0
    slab = Slab(
        (
            Layer(mould_m, *MOULD, nodes=6),
            Layer(
                thickness_m,
                laminate.density_kg_per_m3,
                laminate.heat_capacity_j_per_kg_k,
                laminate.conductivity_w_per_m_k,
                nodes,
                1000.0 * heat.value * share,
            ),
        ),
        AIR_W_PER_M2K,
        AIR_W_PER_M2K,
    )
    at: Callable[[float], float] = interpolated(air)
    first_c = at(0.0) if start_c is None else start_c
    r = run_slab(
        slab, law_of(card, catalyst_pct), lambda t: (at(t), at(t)), air[-1][0], STEP_S, first_c
    )
    spent = bool(np.nanmin(r.degree) >= SPENT_DEGREE)
    return Peak(float(r.peak_c[0]), float(r.peak_s[0]), float(r.peak_m[0]) - mould_m, spent)


def advise(
    card: Card,
    catalyst_pct: float | None,
    thickness_m: float,
    air: Sequence[tuple[float, float]],
    limit_c: float | None = None,
    mould_m: float = MOULD_M,
) -> Advice:
    """Whether a laminate of `thickness_m` may be laid at once, else in how many layers.

    `limit_c`: the card's highest temperature if None. Arguments and errors else as `peak_of`.
    The air is held on at its last warmth where it ends before the exotherm; where the peak is not
    `spent` even then, the resin hardly cures in it.
    """
    if limit_c is not None and not math.isfinite(limit_c):
        raise BadInput(f"limit_c is {limit_c:g}; it should be a temperature in °C.")
    if limit_c is None:
        limit_c = 60.0 if card.highest_c is None else card.highest_c.value
    if limit_c <= max(c for _, c in air):
        raise BadInput(
            f"the limit of {limit_c:g} °C is not above the air's {max(c for _, c in air):g} °C."
        )
    peak = peak_of(card, catalyst_pct, thickness_m, air, mould_m)
    for _ in range(HOLD_ON_TIMES):
        if peak.spent or peak.temp_c > limit_c:
            break
        end_s, last_c = air[-1]
        air = [*air, (end_s + HOLD_ON_S, last_c)]
        peak = peak_of(card, catalyst_pct, thickness_m, air, mould_m)
    if peak.temp_c <= limit_c:
        return Advice(peak, limit_c, thickness_m, 1)

    def fits(m: float) -> bool:
        return peak_of(card, catalyst_pct, m, air, mould_m).temp_c <= limit_c

    if not fits(THINNEST_M):
        return Advice(peak, limit_c, None, 0)
    low, high = THINNEST_M, thickness_m
    while high - low > 0.0002:
        middle = 0.5 * (low + high)
        low, high = (middle, high) if fits(middle) else (low, middle)
    return Advice(peak, limit_c, low, math.ceil(thickness_m / low))
