"""What is said at a night's start of the resins in it: vapour, and heat before the gel."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ..cure.box_air import gives_off, moisture_of, vapour_sentence
from ..cure.dew_point import Surface
from ..errors import BadInput
from ..profile import Profile
from ..settings import Role, Settings
from ..tick import Event


def vapour_note(profile: Profile) -> list[Event]:
    """At the start: what vapour there may be in the box, for the record."""
    if not gives_off(profile.parts):
        return []
    if profile.box is None:  # a night recorded before a start asked for the box, in its words
        message = (
            "Vapour: not reckoned, since nothing is said of the box's volume and fresh air; "
            "'nightcure vapour' reckons it, and [box] in the profile has it looked at."
        )
    else:
        message = vapour_sentence(profile.box, profile.parts, profile.highest_c)
    return [Event("cure", "vapour", message)]


def moisture_note(
    profile: Profile, settings: Settings, believed_c: Sequence[float | None], control_c: float
) -> list[Event]:
    """At the start: whether moulds and parts are dry, where somebody told the humidity."""
    sheds = [c for i in settings.indices(Role.AMBIENT) if (c := believed_c[i]) is not None]
    surfaces = [
        Surface(settings.thermometers[i].name, c)
        for i in settings.indices(Role.PART, Role.MOULD)
        if (c := believed_c[i]) is not None
    ]
    air_c = sheds[0] if sheds else control_c
    try:
        found = moisture_of(profile.box, profile.parts, air_c, surfaces, settings.units)
    except BadInput:  # a shed beyond the formula: nothing is said
        return []
    if found is None:
        return []
    name = "dry" if found.dry else "moisture"
    return [Event("cure", name, sentence) for sentence in found.sentences]


def heat_notes(profile: Profile) -> list[Event]:
    """At the start: parts that should not be warmed before they gel, where no ramp waits for it."""
    if any(getattr(s, "wait_for", None) for s in profile.segments):
        return []
    return [
        Event(
            "cure", "heat-before-gel",
            f"{p.name}: its card does not allow heat before the gel, and no ramp waits for it "
            f"(wait_for = 'gelled').",
        )
        for p in profile.parts
        if p.figures is not None and not p.figures.heat_before_gel and p.start_h >= 0.0
    ]  # fmt: skip


def known_notes(profile: Profile) -> list[Event]:
    """At the start: which parts begin from what earlier nights showed of their resin."""
    return [
        Event(
            "cure", "learned",
            f"{p.name} starts from what earlier nights showed of its resin, batch {p.batch_name}: "
            f"{math.exp(p.prior.gel_mean):.2f} times its card's gel time and "
            f"{math.exp(p.prior.cure_mean):.2f} times its time from there to hard.",
        )
        for p in profile.parts
        if p.prior is not None and (p.prior.gel_mean or p.prior.cure_mean)
    ]  # fmt: skip
