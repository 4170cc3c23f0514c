"""What tests of the outputs share."""

from __future__ import annotations

from nightcure.clock import MachineClock
from nightcure.tick import Phase, all_off

OUTPUTS = ("heater", "contactor", "fan")


ON = all_off(4)._replace(
    heater_on=True, contactor_on=True, fan_on=True, phase=Phase.SOAK, why_off=None
)


class Told:
    """A clock that is told the time; sleeping lets real time pass a little."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    wall = monotonic

    def sleep(self, duration_s: float) -> None:
        del duration_s
        MachineClock.sleep(0.005)

    def join(self) -> None: ...

    def leave(self) -> None: ...
