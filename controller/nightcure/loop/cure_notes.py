"""What is said at a night's start of the resins in it: vapour, and heat before the gel."""

from __future__ import annotations

from ..cure.part import vapour_in
from ..profile import Profile
from ..tick import Event


def vapour_note(profile: Profile) -> list[Event]:
    """At the start: what vapour there may be in the box, for the record."""
    if not any(p.figures is not None and p.figures.monomer_pct for p in profile.parts):
        return []
    if profile.box is None:
        message = (
            "Vapour: not reckoned, since nothing is said of the box's volume and fresh air; "
            "'nightcure vapour' reckons it, and [box] in the profile has it looked at."
        )
        return [Event("cure", "vapour", message)]
    v = vapour_in(profile.box, profile.parts, profile.highest_c)
    message = (
        f"Vapour: up to {v.styrene_g:.1f} g of styrene in {profile.box.volume_m3:g} m³, "
        f"{v.percent_lel:.0f} % of the lower explosive limit, {v.ppm:.0f} ppm when the door opens; "
        f"an estimate that certifies nothing."
    )
    return [Event("cure", "vapour", message)]


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
