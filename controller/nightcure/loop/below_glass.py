"""The parts' glass transition as the night goes, and what is said of it at its start and its end.

It is the late track's of each part's card: what is decided by it is no surer than that.
"""

from __future__ import annotations

from collections.abc import Sequence

from ..cure.clock_figures import ClockFigures
from ..cure.cure_clock import LATE, CureClock
from ..cure.post_cure import stands
from ..profile import Profile, Ramp, Soak
from ..tick import Event
from ..units import TemperatureUnit, show_difference, show_temperature
from .part_clock import PartClock
from .profile_run import Glasses


def glasses_of(parts: list[tuple[CureClock, float]], air_c: float) -> Glasses | None:
    """Of parts on their clocks, each at its °C, in air of `air_c`; None where no card tells it."""
    known = [(tg, c, clock) for clock, c in parts if (tg := clock.tg_c(LATE)) is not None]
    if not known:
        return None
    return Glasses(
        min(tg for tg, _, _ in known),
        min(tg - max(c - air_c, 0.0) for tg, c, _ in known),
        min(clock.degree(LATE) or 0.0 for _, _, clock in known),
    )


def begins(parts: Sequence[PartClock], profile: Profile, units: TemperatureUnit) -> list[Event]:
    """At the start: from which glass transition a ramp below it begins."""
    margins = [s.tg_margin_k for s in profile.segments if isinstance(s, Ramp) and s.tg_margin_k]
    return [
        _begins(p.part.name, tg, p.clock.figures, max(margins), units)
        for p in parts
        if margins and (tg := p.clock.tg_c(LATE)) is not None
    ]


def ends(parts: Sequence[PartClock], soak: Soak, units: TemperatureUnit) -> list[Event]:
    """After a soak that was to end on the glass transition: what each part has come to."""
    return [
        _ends(p.part.name, tg, p.clock.degree(LATE) or 0.0, soak, units)
        for p in parts
        if soak.ends_on_tg and (tg := p.clock.tg_c(LATE)) is not None
    ]


def _begins(name: str, glass_c: float, figures: ClockFigures, margin_k: float,
            units: TemperatureUnit) -> Event:  # fmt: skip
    """At the start of a night that stays below the parts' glass transition."""
    message = (
        f"{name}'s glass transition is {show_temperature(glass_c, units, digits=0)} by its card; "
        f"it is kept {show_difference(margin_k, units)} below it"
    )
    if figures.glass is not None and margin_k > figures.glass.above_cure_k:
        stops = show_difference(figures.glass.above_cure_k, units)
        message += f", which takes long: its cure slows where that is {stops} above it"
    return Event("cure", "below-glass", f"{message}.")


def _ends(name: str, glass_c: float, degree: float, soak: Soak, units: TemperatureUnit) -> Event:
    """After a soak that was to end on the glass transition: what a part has come to."""
    glass = show_temperature(glass_c, units, digits=0)
    percent = f"{100.0 * degree:.0f} %"
    short = soak.until_tg_c is not None and glass_c < soak.until_tg_c
    if short or (soak.until_degree is not None and degree < soak.until_degree):
        wanted = [] if soak.until_tg_c is None else [show_temperature(soak.until_tg_c, units)]
        wanted += [] if soak.until_degree is None else [f"{100.0 * soak.until_degree:g} %"]
        return Event(
            "cure", "not-reached",
            f"The soak is over and {name} has come to a glass transition of {glass} and a degree "
            f"of cure of {percent}, not to {' and '.join(wanted)}.",
        )  # fmt: skip
    use = stands(glass_c)
    fit = f": hard enough {use}" if use else ""
    message = (
        f"{name} has come to a glass transition of {glass} and a degree of cure of {percent} by "
        f"its card{fit}."
    )
    return Event("cure", "hardened", message)
