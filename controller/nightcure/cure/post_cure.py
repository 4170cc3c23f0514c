"""Post-cure: what a part must stand in use, in words, and whether a profile can bring it there."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, NamedTuple

from .cure_clock import CureClock
from .glass_transition import advanced, degree_at_tg, degree_of, tg_c
from .part import Part

#: A part keeps its shape while its glass transition lies so far above it, K (common practice, no
#: source; makers ask that the glass transition "stays ahead of the oven").
USUAL_MARGIN_K = 8.0
#: A part is to be used so far below its glass transition, K (common practice, no source).
IN_USE_K = 10.0
_STEP_S = 300.0


class Use(NamedTuple):
    """What a part must stand: in words, and how warm its surface gets, °C."""

    words: str
    surface_c: float


#: A surface in the sun by the sol-air temperature (ASHRAE Fundamentals; its 0.052 and 0.026 m²K/W
#: for dark and light surfaces, 1 kW/m², less 4 K to a clear sky; from memory) over air of 32 °C.
#: Measured under air of 31 °C: a teak-coloured deck 54 °C, a white one 43 °C (forums.ybw.com,
#: thread 107445).
USES = {
    "shade": Use("to be used in the shade", 35.0),
    "light-deck": Use("to stand a summer sun on a light deck", 54.0),
    "dark-deck": Use("to stand a summer sun on a dark deck", 80.0),
}


def tg_to_stand(use: Any) -> Any:
    """The glass transition that a use asks for (°C); what is no text is given back as it is.

    Raises:
        ValueError: a use that is not among `USES`.
    """
    if not isinstance(use, str):
        return use
    if use not in USES:
        raise ValueError(f"it is '{use[:40]}'; it should be °C, or one of {', '.join(USES)}.")
    return USES[use].surface_c + IN_USE_K


def stands(glass_c: float) -> str | None:
    """The most that a part of this glass transition stands, in words; None: not even the shade."""
    can = [u for u in USES.values() if u.surface_c + IN_USE_K <= glass_c]
    return can[-1].words if can else None


def tells_tg(part: Part) -> bool:
    """Whether a part's card tells its glass transition."""
    f = part.figures
    return f is not None and f.glass is not None and f.self_heat is not None


class Held(NamedTuple):
    """What a long time at one temperature makes of a resin at the most."""

    degree: float
    tg_c: float


def at_the_most(part: Part, at_c: float, hours: float) -> Held:
    """Of a part held at `at_c`, by its card, begun where its glass transition was there already."""
    f = part.figures
    assert f is not None
    assert f.glass is not None
    assert f.self_heat is not None
    clock = CureClock(f)
    clock.tracks = [[f.gel_band[track], 0.0, 0.0] for track in range(3)]
    begun = degree_at_tg(at_c, f.glass)
    root = (begun / (1.0 - begun)) ** 0.5 if begun < 1.0 else 1e3
    per_s = clock.root_rate(clock.rates(at_c))
    for _ in range(max(round(hours * 3600.0 / _STEP_S), 1)):
        root = advanced(root, per_s * _STEP_S, at_c, f.glass)
    return Held(degree_of(root), tg_c(degree_of(root), f.glass))


def warm_enough_c(part: Part, hours: float, glass_c: float | None, degree: float | None,
                  from_c: float, to_c: float) -> float | None:  # fmt: skip
    """From which whole °C on a soak of `hours` reaches both; None: not up to `to_c`."""
    at_c = float(int(from_c))
    while at_c <= to_c:
        found = at_the_most(part, at_c, hours)
        if found.tg_c >= (glass_c or -1e9) and found.degree >= (degree or 0.0):
            return at_c
        at_c += 1.0
    return None


def unreachable(parts: Sequence[Part], at_c: float, hours: float, glass_c: float | None,
                degree: float | None) -> str | None:  # fmt: skip
    """Why a soak cannot end at a glass transition (°C) or a degree of cure; None if it can."""
    asked = f"a glass transition of {glass_c:g} °C" if glass_c is not None else ""
    if degree is not None:
        asked = f"{asked} and " if asked else ""
        asked += f"a degree of cure of {100.0 * degree:g} %"
    known = [p for p in parts if tells_tg(p)]
    if not known:
        return (
            f"it is to end at {asked} and no part has a resin card that tells it (heat, kinetics "
            f"and glass); add one under [[parts]], or leave it out."
        )
    for p in known:
        found = at_the_most(p, at_c, hours)
        if found.tg_c >= (glass_c or -1e9) and found.degree >= (degree or 0.0):
            continue
        f = p.figures
        assert f is not None
        assert f.glass is not None
        warm_c = warm_enough_c(p, hours, glass_c, degree, at_c, f.highest_c or 120.0)
        least = f"its card stops at {f.glass.full_c:g} °C fully cured"
        if warm_c is not None:
            least = f"from {warm_c:g} °C on it would do"
        elif f.highest_c is not None and (glass_c or 0.0) <= f.glass.full_c:
            least = f"its card allows {f.highest_c:g} °C, which is not enough either"
        return (
            f"{p.name} does not come to {asked}: {hours:g} h at {at_c:g} °C bring it to "
            f"{found.tg_c:.0f} °C and {100.0 * found.degree:.0f} % at the most; {least}."
        )
    return None
