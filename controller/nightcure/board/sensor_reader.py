"""The thread that reads the thermometers, so that no bus, however slow, ever delays the loop."""

from __future__ import annotations

import logging
import threading

from ..clock import Clock
from ..tick import Fault, Reading
from .ds18b20 import Bus

log = logging.getLogger("nightcure")


class Reader:
    """A thread that keeps reading a bus; `latest` never blocks.

    Args:
        period_s: least time between the starts of two rounds.
    """

    def __init__(self, bus: Bus, clock: Clock, count: int, period_s: float = 1.0) -> None:
        self._bus = bus
        self._clock = clock
        self._period_s = period_s
        self._latest: tuple[Reading, ...] = tuple(
            Reading(None, round(clock.monotonic(), 3), Fault.MISSING) for _ in range(count)
        )
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name="reader", daemon=True)

    def latest(self) -> tuple[Reading, ...]:
        """Every sensor's newest reading; their times say how old they are."""
        return self._latest

    def start(self) -> None:
        """Begin to read."""
        self._thread.start()

    def stop(self, timeout_s: float = 3.0) -> None:
        """Stop reading; a bus that hangs is left behind."""
        self._stopping.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def _put(self, index: int, reading: Reading) -> None:
        """A reading counts as soon as it is there: a round one by one may take many seconds."""
        self._latest = (*self._latest[:index], reading, *self._latest[index + 1 :])

    def _work(self) -> None:
        self._clock.join()
        failing = False
        try:
            while not self._stopping.is_set():
                began_s = self._clock.monotonic()
                try:
                    self._bus.read_round(self._put)
                    failing = False
                except Exception:
                    if not failing:  # once a spell: a night of these would fill the disk
                        log.exception("The 1-Wire bus could not be read.")
                    failing = True
                    now_s = round(self._clock.monotonic(), 3)
                    self._latest = tuple(Reading(None, now_s, Fault.BUS) for _ in self._latest)
                passed_s = self._clock.monotonic() - began_s
                self._clock.sleep(max(self._period_s - passed_s, 0.01))
        finally:
            self._clock.leave()
