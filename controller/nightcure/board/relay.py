"""The relay and its dead-man: the only place that drives a pin.

Everything is constructed off and left off. On needs a fresh decision; when none has come for the
dead-man's time, the outputs open, whatever thread has died.
"""

from __future__ import annotations

import logging
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress

from gpiozero import OutputDevice

from ..clock import Clock
from ..errors import NightcureError
from ..settings import Heater, Output, Settings
from ..tick import Decision
from .claimed_pins import write_claimed
from .pin_factory import board_pins

log = logging.getLogger("nightcure")

#: How often the dead-man looks.
LOOK_S = 0.5
#: How long switching off waits for another thread to finish with the pins.
LOCK_S = 1.0


class PinBusy(NightcureError):
    """A pin cannot be claimed: somebody else drives it, or there is no such hardware."""


class Switch:
    """One output, claimed at its off level in one step: an active-low line never blips.

    Raises:
        PinBusy: it cannot be claimed.
    """

    def __init__(self, output: Heater | Output, what: str) -> None:
        self.pin = output.pin
        try:
            self._device = OutputDevice(
                output.pin, active_high=output.active_high, pin_factory=board_pins()
            )
        except Exception as error:  # gpiozero has kinds of its own
            raise PinBusy(
                f"{what}: GPIO{output.pin} cannot be claimed ({error}); is another controller "
                f"running, or is this not the oven's board?"
            ) from None

    @property
    def on(self) -> bool:
        """What the pin is driven to."""
        return bool(self._device.value)

    def set(self, on: bool) -> None:
        """Drive it."""
        self._device.value = on

    def close(self) -> None:
        """Give the pin back, off."""
        self._device.off()
        self._device.close()


class Outputs:
    """Heater, contactor and fan of an oven.

    Raises:
        PinBusy: a pin cannot be claimed; those claimed before are off and given back.
    """

    def __init__(self, settings: Settings, clock: Clock) -> None:
        self._clock = clock
        self._lock = threading.RLock()
        self._ended = False
        self._offs = 0  # calls of all_off
        self._heater_on = False
        self.heater_switchings = 0
        """Off to on and on to off, each one: a relay's contacts live about 1e5 of them."""
        self.applied_s = clock.monotonic()
        """Monotonic time (s) of the last decision carried out."""
        self._switches: dict[str, Switch] = {}
        declared = {
            "heater": settings.heater,
            "contactor": settings.contactor,
            "fan": settings.fan,
        }
        try:
            for what, output in declared.items():
                if output is not None:
                    self._switches[what] = Switch(output, what)
        except NightcureError:
            self.close()
            raise
        known = {**declared, **settings.annunciator.outputs()}
        claimed = {what: (o.pin, o.active_high) for what, o in known.items() if o is not None}
        write_claimed(settings.ledger, claimed)

    def apply(self, decision: Decision) -> None:
        """Do what was decided: what goes off goes first, the heater goes on last.

        Any error switches everything off and is raised again. A decision during which somebody
        else called `all_off` (a signal, the dead-man while this thread hung) switches nothing on.
        A decision that says on and bears a reason against it heats nothing, nor does one that
        leaves the contactor open, unless it says that the relay is to be closed alone.
        """
        alone = decision.relay_alone or "contactor" not in self._switches
        wanted = {
            "heater": decision.heater_on
            and decision.why_off is None
            and (decision.contactor_on or alone),
            "contactor": decision.contactor_on,
            "fan": decision.fan_on,
        }
        with self._lock:
            offs = self._offs
            if self._ended:
                return
            try:
                for what, switch in self._switches.items():
                    if not wanted[what] and switch.on:
                        self._set(what, switch, False)
                for what in ("contactor", "fan", "heater"):
                    chosen = self._switches.get(what)
                    if chosen is not None and wanted[what] and not chosen.on and offs == self._offs:
                        self._set(what, chosen, True)
            except BaseException:
                self.all_off()
                raise
            if offs != self._offs:
                self.all_off()
                return
            self.applied_s = self._clock.monotonic()

    def _set(self, what: str, switch: Switch, on: bool) -> None:
        switch.set(on)
        if what == "heater" and on is not self._heater_on:
            self._heater_on = on
            self.heater_switchings += 1

    def all_off(self, for_good: bool = False) -> None:
        """Everything off, each tried whatever becomes of the others; may be called anywhere.

        A thread that hangs with the lock in its hand does not keep the heater on. After
        `for_good` no decision switches anything on again.
        """
        self._ended = self._ended or for_good
        self._offs += 1
        with self._lock_or_not():
            for what, switch in self._switches.items():
                try:
                    self._set(what, switch, False)
                except Exception:
                    log.exception("The %s could not be switched off: pull the plug.", what)

    @contextmanager
    def _lock_or_not(self) -> Iterator[None]:
        """The lock, or going on without it where another thread keeps it."""
        mine = self._lock.acquire(timeout=LOCK_S)
        try:
            yield
        finally:
            if mine:
                self._lock.release()

    def is_on(self, what: str) -> bool:
        """Whether `heater`, `contactor` or `fan` is driven on."""
        switch = self._switches.get(what)
        return switch is not None and switch.on

    def close(self) -> None:
        """Off, and the pins given back. Nothing can be switched on afterwards."""
        self.all_off(for_good=True)
        with self._lock_or_not():
            switches, self._switches = self._switches, {}
            for switch in switches.values():
                with suppress(Exception):
                    switch.close()


class DeadMan:
    """Opens the outputs when no decision was applied for `limit_s`."""

    def __init__(self, outputs: Outputs, limit_s: float, clock: Clock) -> None:
        self._outputs = outputs
        self._limit_s = limit_s
        self._clock = clock
        self.fired = 0
        """How many times it had to."""
        self.fired_s: float | None = None
        """Monotonic time (s) of the last of them."""
        self._holding = False
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="dead-man", daemon=True)

    def start(self) -> None:
        """Begin to watch."""
        self._thread.start()

    def stop(self, timeout_s: float = 2.0) -> None:
        """Stop watching."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _work(self) -> None:
        self._clock.join()
        try:
            while not self._stopping.is_set():
                now_s = self._clock.monotonic()
                silent_s = now_s - self._outputs.applied_s
                if silent_s > self._limit_s:
                    self._outputs.all_off()
                    if not self._holding:
                        self._holding = True
                        self.fired_s = now_s
                        self.fired += 1
                        log.error("Dead-man: no decision for %.1f s, heater off.", silent_s)
                else:
                    self._holding = False
                self._clock.sleep(LOOK_S)
        finally:
            self._clock.leave()
