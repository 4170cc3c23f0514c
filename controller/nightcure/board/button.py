"""Push buttons at the oven, to ground: the one that stops, the one that silences."""

from __future__ import annotations

from gpiozero import InputDevice

from ..settings import Button
from .pin_factory import board_pins


class PressButton:
    """Reads a declared button; one that is not declared is never pressed."""

    def __init__(self, declared: Button | None) -> None:
        self._button = None
        if declared is not None:
            self._button = InputDevice(declared.pin, pull_up=True, pin_factory=board_pins())

    def pressed(self) -> bool:
        """Whether it is held down now."""
        return self._button is not None and bool(self._button.is_active)

    def close(self) -> None:
        """Give the pin back."""
        if self._button is not None:
            self._button.close()
