"""What must be so before a night may begin; the interlocks watch from then on."""

from __future__ import annotations

from typing import Any

from ..errors import BadInput
from ..profile import Profile, parse_profile
from ..settings import Limits
from ..tick import interlock_words


def profile_to_start(
    asked: Any,
    limits: Limits,
    *,
    trip: str | None,
    running: bool,
    stop_pressed: bool,
    control_c: float | None,
    parts: Any = None,
) -> Profile:
    """The profile that was asked for, where this oven may start it now.

    Args:
        asked: a profile as JSON.
        trip: the name of a trip nobody has reset.
        stop_pressed: the stop button at the oven is held down.
        control_c: the believed air temperature.
        parts: what lies in the oven, where it is not the profile's own list.

    Raises:
        BadInput: the sentences for which it may not.
    """
    if trip is not None:
        raise BadInput(f"the oven has tripped ({interlock_words(trip)}); reset first.")
    if running:
        raise BadInput("a night is already running; stop it first.")
    if stop_pressed:
        raise BadInput("the stop button at the oven is pressed; release it first.")
    if control_c is None:
        raise BadInput("there is no believable air temperature.")
    if parts is not None and isinstance(asked, dict):
        asked = {**asked, "parts": parts}
    profile = parse_profile(asked)
    refusals = profile.refusals(limits)
    if refusals:
        raise BadInput(*refusals)
    return profile
