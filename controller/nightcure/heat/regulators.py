"""Which regulator the settings ask for."""

from __future__ import annotations

from ..profile import Profile
from ..settings import Settings
from .bang_bang import BangBangRegulator
from .pid import PidRegulator


def regulator_for(
    settings: Settings, profile: Profile | None = None
) -> PidRegulator | BangBangRegulator:
    """The regulator of `settings`, or the one that `profile` asks for in its place; fresh."""
    asked = None if profile is None else profile.regulator
    kind = asked or settings.regulator.kind
    regulator = PidRegulator if kind == "pid" else BangBangRegulator
    return regulator(settings.regulator, settings.heater.power_w)
