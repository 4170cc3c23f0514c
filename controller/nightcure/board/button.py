"""The stop button at the oven: a push button to ground."""

from __future__ import annotations

from gpiozero import InputDevice

from ..settings import Settings
from .pin_factory import board_pins


class StopButton:
    """Reads the declared button; without one it is never pressed."""

    def __init__(self, settings: Settings) -> None:
        self._button = None
        if settings.stop_button is not None:
            pin = settings.stop_button.pin
            self._button = InputDevice(pin, pull_up=True, pin_factory=board_pins())

    def pressed(self) -> bool:
        """Whether it is held down now."""
        return self._button is not None and bool(self._button.is_active)

    def close(self) -> None:
        """Give the pin back."""
        if self._button is not None:
            self._button.close()
