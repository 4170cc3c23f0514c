"""The stop button at the oven: a push button to ground."""

from __future__ import annotations

from ..settings import Settings


class StopButton:
    """Reads the declared button; without one it is never pressed."""

    def __init__(self, settings: Settings) -> None:
        self._button = None
        if settings.stop_button is not None:
            from gpiozero import Button

            self._button = Button(settings.stop_button.pin, pull_up=True, bounce_time=None)

    def pressed(self) -> bool:
        """Whether it is held down now."""
        return self._button is not None and bool(self._button.is_pressed)

    def close(self) -> None:
        """Give the pin back."""
        if self._button is not None:
            self._button.close()
