"""Siren and lamps: shown in a thread of their own, so that nothing that happens to them, a pin
that cannot be claimed, a call that fails or hangs, reaches the loop or the heater.
"""

from __future__ import annotations

import logging
import threading
import time
from contextlib import suppress

from ..settings import Settings
from ..tick import Lamp, Signals
from .button import PressButton
from .relay import Switch

log = logging.getLogger("nightcure")

#: A lamp that flashes is lit for so long and dark for as long, s.
FLASH_S = 0.4
#: How often the silence button is looked at, s.
LOOK_S = 0.1
#: How long closing waits for the thread, s.
CLOSE_S = 1.0


class SignalOutputs:
    """The declared siren and lamps, all off at first. No method raises or waits for a pin."""

    def __init__(self, settings: Settings) -> None:
        self._declared = settings.annunciator
        self._switches: dict[str, Switch] = {}
        self._failed: set[str] = set()
        self._silence_button = PressButton(None)
        self._wanted = Signals()
        self._pressed = False
        self._changed = threading.Event()
        self._closing = False
        self._thread = threading.Thread(target=self._work, name="siren", daemon=True)
        if self._declared.outputs() or self._declared.silence_button is not None:
            self._thread.start()

    def show(self, signals: Signals) -> None:
        """Show this from now on."""
        self._wanted = signals
        self._changed.set()

    def silence_pressed(self) -> bool:
        """Whether the silence button is held, or was pressed since this was asked last.

        Its pin is read by the thread alone: one that hangs holds up no tick.
        """
        pressed, self._pressed = self._pressed, False
        return pressed

    def close(self) -> None:
        """Everything off, and the pins given back."""
        self._closing = True
        self._changed.set()
        if self._thread.is_alive():
            self._thread.join(CLOSE_S)

    def _held(self) -> bool:
        try:
            return self._silence_button.pressed()
        except Exception:
            return False

    # ---- the thread -------------------------------------------------------------------------

    def _claim(self) -> None:
        for name, output in self._declared.outputs().items():
            try:
                self._switches[name] = Switch(output, name)
            except Exception as error:
                log.warning("%s It stays off; the oven goes on without it.", error)
        try:
            self._silence_button = PressButton(self._declared.silence_button)
        except Exception as error:
            log.warning("The silence button cannot be read (%s).", error)

    def _work(self) -> None:
        self._claim()
        while not self._closing:
            wanted = self._wanted
            lit = int(time.monotonic() / FLASH_S) % 2 == 0
            for name, switch in self._switches.items():
                self._drive(name, switch, _on(getattr(wanted, name), lit))
            self._pressed = self._pressed or self._held()
            busy = Lamp.FLASHES in wanted or self._declared.silence_button is not None
            self._changed.wait(LOOK_S if busy else None)
            self._changed.clear()
        for close in (*(s.close for s in self._switches.values()), self._silence_button.close):
            with suppress(Exception):
                close()

    def _drive(self, name: str, switch: Switch, on: bool) -> None:
        try:
            if switch.on is not on:
                switch.set(on)
        except Exception as error:
            if name not in self._failed:
                self._failed.add(name)
                log.warning("The %s at the oven cannot be driven (%s).", name, error)


def _on(signal: bool | Lamp, lit: bool) -> bool:
    """Whether an output is on now."""
    if isinstance(signal, bool):
        return signal
    return signal is Lamp.LIT or (signal is Lamp.FLASHES and lit)
