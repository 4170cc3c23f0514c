"""May the heater be on, and if not, why? Asked and answered here, nowhere else.

`Loop.tick` asks `why_off` on every tick, on the one line that allows heat, and its answer stands in
the decision. Where it has nothing to say heat is allowed; whether the heater is then on is the
modulator's to say, for the off part of a time-proportioning window is no reason, it is the window.

What trips the oven is found by the rules in `guard` and latched in `guard.alarms`; it comes here as
`trip`. What may not be believed of a thermometer is found in `measure.screening`. Behind the loop
stand those who need no reason and only ever switch off: `board.relay` (no heat through an open
contactor; the dead-man, when no decision comes), the daemon on a signal or an error, and `off`.
"""

from __future__ import annotations

from ..measure.screening import Screened
from ..tick import Fault, OffCode, Phase, WhyOff


def why_off(
    screened: Screened,
    *,
    phase: Phase,
    running: bool,
    trip: str | None,
    stop_pressed: bool,
    resuming: bool,
    box_open: WhyOff | None,
    heat_held_off: str | None,
    armed: bool,
    contactor_closed: bool,
) -> WhyOff | None:
    """Why the heater may not be on at this tick; None where it may. The first reason counts.

    Args:
        screened: what is believed of the thermometers.
        phase: of the night, or of the oven at rest.
        running: a night is under way.
        trip: the interlock that holds the oven off until a person's reset.
        stop_pressed: the stop button at the oven is held.
        resuming: a night was broken off, and whether it may go on is not judged yet.
        box_open: what is said of an open box, or of the resin laid in it (`loop.box_open`).
        heat_held_off: what `guard.heat_check` holds it off for; None where it does not.
        armed: the latch on the disk says that this night is under way (see `tick.TickInputs`).
        contactor_closed: closed since the last tick at least; True where none is fitted, and where
            the relay is closed alone to see that no heat comes (`guard.switch_test`).
    """
    if stop_pressed:
        return WhyOff(OffCode.STOP_PRESSED)
    if trip is not None:
        return WhyOff(OffCode.TRIPPED, {"alarm": trip})
    if not running:
        return WhyOff(OffCode.NO_NIGHT, {"phase": phase.value})
    if resuming:
        return WhyOff(OffCode.RESUMING)
    if box_open is not None:
        return box_open
    if not armed:
        return WhyOff(OffCode.NOT_ARMED)
    if screened.doubted:
        return WhyOff(OffCode.AIR_DOUBTED)
    if screened.control_c is None:
        return WhyOff(OffCode.NO_AIR, {"fault": str(screened.air_fault or Fault.MISSING)})
    if heat_held_off is not None:
        return WhyOff(OffCode.HEAT_CHECK, {"check": heat_held_off})
    if not contactor_closed:
        return WhyOff(OffCode.CONTACTOR_OPEN)
    return None
