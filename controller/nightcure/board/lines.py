"""Claiming an output line at its level in one step, on the board's own pin library.

gpiozero's lgpio pin claims a new output low and raises it afterwards, which is a blip *on* for an
active-low relay board. The kernel takes the level together with the claim; this asks for that.
"""

from __future__ import annotations

from typing import Any

from gpiozero import Device


def claim_without_blip() -> None:
    """Make the present pin factory claim outputs at their level. Call before any pin is made."""
    Device.ensure_pin_factory()
    factory = Device.pin_factory
    if type(factory).__module__ == "gpiozero.pins.lgpio":
        factory.pin_class = steady_pin_class()


def steady_pin_class() -> type[Any]:
    """gpiozero's lgpio pin, claiming an output and its level in one request."""
    import lgpio
    from gpiozero.pins.lgpio import LGPIOPin

    class SteadyPin(LGPIOPin):  # type: ignore[misc]
        def output_with_state(self, state: bool) -> None:
            lgpio.gpio_claim_output(self.factory._handle, self._number, int(state))

        def close(self) -> None:
            # gpiozero's own would make the line an input without a pull, which leaves a relay
            # board's input floating; here it stays driven until the process lets go of it.
            pass

    return SteadyPin
