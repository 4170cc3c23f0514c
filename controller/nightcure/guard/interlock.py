"""An interlock: a small named rule that looks at each tick and speaks one sentence, or nothing.

A rule says what is wrong while it is wrong. `latching` rules trip the oven; the others warn.
Each keeps plain numbers only, so that its state can be written down and restored.
"""

from __future__ import annotations

from typing import Any, ClassVar

from ..settings import Settings
from ..units import TemperatureUnit, show_difference, show_temperature
from .interlock_inputs import InterlockInputs


class Interlock:
    """A rule. `look` is called every tick, in order, and returns a sentence or None."""

    name: ClassVar[str]
    latching: ClassVar[bool] = True
    heated_only: ClassVar[bool] = False

    def __init__(self, settings: Settings) -> None:
        self.settings = settings

    def look(self, v: InterlockInputs) -> str | None:
        """What is wrong now, in one sentence."""
        raise NotImplementedError

    def show(self, temperature_c: float) -> str:
        """A temperature in the person's unit."""
        unit: TemperatureUnit = self.settings.units
        return show_temperature(temperature_c, unit)

    def show_change(self, change_k: float) -> str:
        """A change of temperature in the person's unit."""
        return show_difference(change_k, self.settings.units, "+")

    def snapshot(self) -> dict[str, Any]:
        """Its state, JSON-ready."""
        return {k: v for k, v in vars(self).items() if k != "settings"}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        vars(self).update(state)
