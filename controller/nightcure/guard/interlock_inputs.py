"""What the interlocks see of a tick."""

from __future__ import annotations

from enum import StrEnum
from typing import NamedTuple


class HeatState(StrEnum):
    """How far `guard.heat_check` is with a doubt about the heat."""

    WATCH = "watch"
    PAUSE = "pause"
    """No heat, until a pulse may be given."""
    PULSE = "pulse"
    """A pulse of heat, and the wait for its answer."""
    CUT = "cut"
    """The contactor is open."""
    CONTACTOR_PULSE = "contactor-pulse"
    """The contactor closed for a pulse with the relay off, and the wait for an answer."""
    RELAY_PULSE = "relay-pulse"
    """The relay closed for a pulse with the contactor open, in a test of the switches."""


class HeatFound(NamedTuple):
    """What `guard.heat_check` found.

    `pulses`: without an answer so far. `doubt_s`: since the heat was first doubted. `testing`: the
    night is a test of the switches. `air_alone`: no heat went unanswered, the thermometers alone
    contradict each other.
    """

    state: HeatState = HeatState.WATCH
    pulses: int = 0
    doubt_s: float = 0.0
    heater_dead: bool = False
    relay_welded: bool = False
    contactor_welded: bool = False
    testing: bool = False
    air_alone: bool = False


class InterlockInputs(NamedTuple):
    """One tick, as every rule sees it. Temperatures °C, None where nothing is believed.

    `night`: a night is running. `heated`: the regulator is at work (ramp, soak). `heater_on`,
    `duty`: as decided the tick before, so what the readings may already show. `lost`: name and
    fault of every thermometer that is not believed. `self_heat_k`: for each of `parts_c` how much
    hotter its resin's own heat may make it now; None where no resin card tells. `doubted`: the air
    is measured and cannot be the oven's. `band_c`: the profile's. `too_hot`: thermometers that
    rose past what they can measure. `heat`: what `guard.heat_check` found in this tick.
    `armed`: the latch on the disk says that the night is under way. `ledger_gone`: the ledger's
    file is not the one that was opened. `time_back`: the monotonic clock went back.
    """

    dt_s: float
    gap_s: float
    wall_step_s: float
    night: bool
    heated: bool
    phase: str
    night_s: float
    control_c: float | None
    control_fault: str
    lost: tuple[tuple[str, str], ...]
    air_c: tuple[float, ...]
    parts_c: tuple[tuple[str, float], ...]
    heaters_c: tuple[float, ...]
    ambient_c: float
    setpoint_c: float | None
    heater_on: bool
    duty: float
    ledger_silent_s: float
    inbox_silent_s: float
    self_heat_k: tuple[float | None, ...] = ()
    doubted: bool = False
    band_c: float = 2.0
    too_hot: tuple[str, ...] = ()
    heat: HeatFound = HeatFound()
    armed: bool = True
    ledger_gone: bool = False
    time_back: bool = False

    def warmest_c(self, air_c: float) -> float | None:
        """The warmest part there may be, °C: measured, or by its card's own heat over the air."""
        seen = [c for _, c in self.parts_c]
        seen += [air_c + k for k in self.self_heat_k if k is not None]
        return max(seen, default=None)
