"""Which regulator the settings ask for."""

from __future__ import annotations

from ..settings import Settings
from .bang_bang import BangBangRegulator
from .pid import PidRegulator


def regulator_for(settings: Settings) -> PidRegulator | BangBangRegulator:
    """The regulator of `settings`, fresh."""
    kind = PidRegulator if settings.regulator.kind == "pid" else BangBangRegulator
    return kind(settings.regulator, settings.heater.power_w)
