"""The glass transition over the degree of cure, and a cure that slows where the resin vitrifies.

The formulas take a number or an array; `advanced` follows one part in plain floats. A resin warmer
than its glass transition cures as its card has it, a colder one hardly any more: a part kept at
room temperature comes to a glass transition a little above the room (`Glass.above_cure_k`) and
gains only when it is warmed.
"""

from __future__ import annotations

import math
from typing import Any, Protocol

#: The unhindered cure is followed in steps of this share of what slows it e-fold.
STEP_SHARE = 0.5
MOST_STEPS = 50
#: exp(60) is as good as infinity, and no overflow.
MOST_EXPONENT = 60.0


class GlassLaw(Protocol):
    """The constants of DiBenedetto's relation, °C and °C and its lambda."""

    @property
    def uncured_c(self) -> float: ...
    @property
    def full_c(self) -> float: ...
    @property
    def lam(self) -> float: ...


def tg_c(degree: Any, glass: GlassLaw) -> Any:
    """Glass transition (°C) at a degree of cure: DiBenedetto, J. Polym. Sci. B 25 (1987) 1949."""
    share = glass.lam * degree / (1.0 - (1.0 - glass.lam) * degree)
    return glass.uncured_c + (glass.full_c - glass.uncured_c) * share


def share_at(at_c: Any, glass: GlassLaw) -> Any:
    """How far a temperature lies between uncured (0) and full cure (1)."""
    return (at_c - glass.uncured_c) / (glass.full_c - glass.uncured_c)


def degree_of_share(share: Any, glass: GlassLaw) -> Any:
    """The degree of cure whose glass transition lies so far between, 0 to 1."""
    return share / (glass.lam + share * (1.0 - glass.lam))


def degree_at_tg(at_c: float, glass: GlassLaw) -> float:
    """The degree of cure whose glass transition is `at_c`; 0 to 1."""
    degree: float = degree_of_share(min(max(share_at(at_c, glass), 0.0), 1.0), glass)
    return degree


class VitrifyingLaw(GlassLaw, Protocol):
    """A glass law with where and how sharply the cure slows (`Glass`, `FromGel.diffusion`)."""

    @property
    def above_cure_k(self) -> float: ...
    @property
    def diffusion(self) -> float | None: ...


def pace(degree: float, part_c: float, glass: VitrifyingLaw) -> float:
    """Of its card's pace, what is left of the cure at `part_c`, 0 to 1: see `GelCalibrated`."""
    if glass.diffusion is None:
        return 1.0
    stops = degree_at_tg(part_c + glass.above_cure_k, glass)
    exponent = min(glass.diffusion * (degree - stops), MOST_EXPONENT)
    return 1.0 / (1.0 + math.exp(exponent))


def advanced(root: float, gain: float, part_c: float, glass: VitrifyingLaw) -> float:
    """sqrt(a/(1-a)) after a step at `part_c` in which it would grow by `gain` unhindered."""
    if gain <= 0.0:
        return root
    slope = 2.0 * root / (1.0 + root * root) ** 2 * (glass.diffusion or 0.0)
    steps = min(1 + int(gain * slope / STEP_SHARE), MOST_STEPS)
    for _ in range(steps):
        root += gain / steps * pace(degree_of(root), part_c, glass)
    return root


def degree_of(root: float) -> float:
    """The degree of cure a of sqrt(a/(1-a))."""
    return root * root / (1.0 + root * root)
