"""gpiozero's pins on the board's own chip: `GPIOZERO_PIN_FACTORY=nightcure`."""

from __future__ import annotations

from time import monotonic
from typing import Any

from gpiozero import Device
from gpiozero.exc import PinFixedPull, PinInvalidFunction, PinSetInput
from gpiozero.pins.pi import PiFactory, PiPin

from .lines import Line

#: The forty-pin header has the same BCM numbers on every board that has one; gpiozero asks for a
#: board to look them up, and one that it does not know yet must not keep an oven cold.
HEADER_OF = 0xA02082


class BoardPin(PiPin):  # type: ignore[misc]
    """An output that is claimed at its level, or an input that is pulled up."""

    _line: Line | None = None
    _output = False

    def _claim(self, level: bool | None) -> None:
        self.close()
        self._line = Line(self._number, level)
        self._output = level is not None

    def output_with_state(self, state: bool) -> None:
        """Claim it as an output at `state`, in one step."""
        self._claim(bool(state))

    def close(self) -> None:
        """Give the line back."""
        line, self._line = self._line, None
        if line is not None:
            line.release()

    def _get_function(self) -> str:
        return "output" if self._output else "input"

    def _set_function(self, value: str) -> None:
        if value != "input":
            raise PinInvalidFunction(f"{self!r}: an output is claimed together with its level")
        self._claim(None)

    def _get_state(self) -> bool:
        return self._line is not None and self._line.level

    def _set_state(self, value: Any) -> None:
        if self._line is None or not self._output:
            raise PinSetInput(f"{self!r} is not claimed as an output")
        self._line.level = bool(value)

    def _get_pull(self) -> str:
        return "floating" if self._output else "up"

    def _set_pull(self, value: str) -> None:
        if value != self._get_pull():
            raise PinFixedPull(f"{self!r}: inputs are pulled up here")


class BoardFactory(PiFactory):  # type: ignore[misc]
    """Pins of the board's GPIO chip, each claimed when it is first used."""

    def __init__(self) -> None:
        super().__init__()
        self.pin_class = BoardPin

    def _get_revision(self) -> int:
        return HEADER_OF

    ticks = staticmethod(monotonic)

    @staticmethod
    def ticks_diff(later: float, earlier: float) -> float:
        """Seconds between two `ticks`."""
        return later - earlier


def board_pins() -> BoardFactory:
    """This process's factory; no other drives a pin here, whatever the environment names."""
    if not isinstance(Device.pin_factory, BoardFactory):
        Device.pin_factory = BoardFactory()
    return Device.pin_factory
