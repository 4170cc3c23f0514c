"""Lines of the board's GPIO chip, through the kernel project's own binding (gpiod).

Nothing of gpiozero is in here, so that `off` can do without it. A line is claimed together with
its direction and level, in one request of the kernel: an active-low relay never sees a blip.
"""

from __future__ import annotations

import errno
import glob
import importlib
import os
from typing import Any

#: A module that stands in for gpiod, and a folder for /dev (the virtual oven, and tests).
BINDING_VARIABLE, BENCH_VARIABLE = "NIGHTCURE_GPIOD", "NIGHTCURE_BENCH"
#: The chip of the forty-pin header, by the kernel's drivers: Pi 5; Pi 4; those before, and Zero.
LABELS = ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")
#: As whom the kernel lists the holder of a line.
CONSUMER = "nightcure"


class LineError(OSError):
    """A line cannot be had, or does not do as it is told; in words."""


class LineBusy(LineError):
    """Somebody else holds the line."""


def binding() -> Any:
    """gpiod, or what the environment names in its place."""
    stand_in = os.environ.get(BINDING_VARIABLE)
    if stand_in:
        return importlib.import_module(stand_in)
    try:
        import gpiod
    except ImportError:
        raise LineError("gpiod is not installed: install nightcure with its extra 'pi'") from None
    return gpiod


def find_chip(gpiod: Any) -> tuple[str, str]:
    """Path and label of the chip that has the header's pins; numbers differ between kernels.

    Raises:
        LineError: there is none, or it may not be opened.
    """
    folder = os.environ.get(BENCH_VARIABLE, "/dev")
    seen = []
    for path in sorted(glob.glob(f"{folder}/gpiochip*")):
        try:
            with gpiod.Chip(path) as chip:
                label = chip.get_info().label
        except (OSError, ValueError) as error:
            seen.append(f"{path}: {_words(error)}")
            continue
        if label in LABELS:
            return path, label
        seen.append(f"{path} is {label!r}")
    found = "; ".join(seen) or f"no gpiochip in {folder}"
    raise LineError(f"this board has no GPIO chip that is known here: {found}")


class Line:
    """One line of the header, held by this process from its claim until `release`.

    Args:
        number: as BCM counts, which is the line's offset on its chip.
        level: to drive it to, high or low; None claims it as an input, pulled up.

    Raises:
        LineBusy: somebody holds it; the sentence says who.
        LineError: there is no such chip or line, or this user may not have it.
    """

    def __init__(self, number: int, level: bool | None, consumer: str = CONSUMER) -> None:
        gpiod = binding()
        self.number = number
        self._values = gpiod.line.Value
        path, _ = find_chip(gpiod)
        if level is None:
            settings = gpiod.LineSettings(
                direction=gpiod.line.Direction.INPUT, bias=gpiod.line.Bias.PULL_UP
            )
        else:
            settings = gpiod.LineSettings(
                direction=gpiod.line.Direction.OUTPUT, output_value=self._value(level)
            )
        try:
            self._request = gpiod.request_lines(path, config={number: settings}, consumer=consumer)
        except (OSError, ValueError, NotImplementedError) as error:
            if getattr(error, "errno", None) == errno.EBUSY:
                raise LineBusy(f"held by {_holder(gpiod, path, number)}") from None
            raise LineError(f"{path}: {_words(error)}") from None

    def _value(self, level: bool) -> Any:
        return self._values.ACTIVE if level else self._values.INACTIVE

    @property
    def level(self) -> bool:
        """High or low, as the chip sees it; of an output too."""
        return bool(self._request.get_value(self.number) == self._values.ACTIVE)

    @level.setter
    def level(self, level: bool) -> None:
        self._request.set_value(self.number, self._value(level))

    def release(self) -> None:
        """Let go of it. The kernel then leaves it driven or makes it an input, as it is set up."""
        self._request.release()


def idle_level(number: int) -> bool:
    """What a line is at while nobody drives it: its pull. It is let go of at once.

    Raises:
        LineError: as `Line`.
    """
    gpiod = binding()
    path, _ = find_chip(gpiod)
    settings = gpiod.LineSettings(direction=gpiod.line.Direction.INPUT)
    try:
        request = gpiod.request_lines(path, config={number: settings}, consumer=CONSUMER)
    except (OSError, ValueError) as error:
        raise LineError(f"{path}: {_words(error)}") from None
    try:
        return bool(request.get_value(number) == gpiod.line.Value.ACTIVE)
    finally:
        request.release()


def holder(number: int) -> str | None:
    """As whom the kernel lists the holder of a line; None where it is free.

    Raises:
        LineError: there is no such chip.
    """
    gpiod = binding()
    path, _ = find_chip(gpiod)
    try:
        with gpiod.Chip(path) as chip:
            info = chip.get_line_info(number)
    except (OSError, ValueError) as error:
        raise LineError(f"{path}: {_words(error)}") from None
    return str(info.consumer or "?") if info.used else None


def _words(error: Exception) -> str:
    return getattr(error, "strerror", None) or str(error)


def _holder(gpiod: Any, path: str, number: int) -> str:
    try:
        with gpiod.Chip(path) as chip:
            consumer = chip.get_line_info(number).consumer
    except (OSError, ValueError):
        consumer = ""
    return f"'{consumer}'" if consumer else "another program"
