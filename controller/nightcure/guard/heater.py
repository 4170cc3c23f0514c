"""Interlocks on what the heater does, does not do, or does unasked."""

from __future__ import annotations

from ..settings import Settings
from ..units import show_duration
from .interlock import Interlock
from .interlock_inputs import HeatState, InterlockInputs


class HeatUnanswered(Interlock):
    """A warning: heat was given and the air does not show it (see `heat_check`)."""

    name = "heat-unanswered"
    latching = False

    def look(self, v: InterlockInputs) -> str | None:
        if not v.night or v.heat.doubt_s <= 0.0 or v.heat.air_alone:
            return None
        told = f" Unanswered so far: {v.heat.pulses}." if v.heat.pulses else ""
        return (
            f"Heat was given and the air does not show it: is the box open, the heater out, or the "
            f"air's thermometer outside? The heater pauses, then a short pulse tells.{told}"
        )


class HeaterWithoutEffect(Interlock):
    """Pulses of heat without an answer: no heat arrives where the air's thermometer is."""

    name = "heater-without-effect"

    def look(self, v: InterlockInputs) -> str | None:
        if not (v.night and v.heat.heater_dead):
            return None
        pulses = v.heat.pulses
        tried = f"{pulses} pulses of heat" if pulses else show_duration(v.heat.doubt_s)
        return (
            f"Heater without effect: {tried} and the air did not answer. Burnt-out heater, blown "
            f"fuse, an opened cut-out (find out why before it is reset), an open box, or the "
            f"air's thermometer has fallen out of it."
        )


class HeatUnexplained(Interlock):
    """A warning: the air is warmer than the heat that was given explains (see `heat_check`)."""

    name = "heat-unexplained"
    latching = False

    def look(self, v: InterlockInputs) -> str | None:
        if v.heat.testing or v.heat.state not in (HeatState.CUT, HeatState.CONTACTOR_PULSE):
            return None
        if self.settings.contactor is None or not v.night:
            return (
                "The air rises without the heater: if nothing else warms the box, pull the "
                "heater's plug, for the relay's contacts may be welded."
            )
        return (
            "The air rises without the heater: the contactor is open. Once heat is wanted again a "
            "short test tells a welded relay from a part's own heat."
        )


class HeaterStuckOn(Interlock):
    """Heat with the relay off: welded contacts, or a solid-state relay failed short.

    Looked for after a night that was stopped as well, for as long as its heat may last. A contactor
    that has welded shows only in a test of the switches, which closes the relay alone.
    """

    name = "heater-stuck-on"

    def look(self, v: InterlockInputs) -> str | None:
        if v.heat.contactor_welded:
            return (
                "Contactor stuck on: it was open and the relay alone heated the air. Pull the "
                "heater's plug; the contactor's contacts may be welded, or it closes on the other "
                "level (active_high): replace it, or put it right, and test the switches again."
            )
        if not v.heat.relay_welded:
            return None
        now = "" if v.control_c is None else f", now {self.show(v.control_c)}"
        return (
            f"Heater stuck on: the relay is off and the air was heated{now}. Pull the heater's "
            f"plug; the relay's contacts may be welded: replace it, do not try it again. Or the "
            f"heater is far stronger than the settings say."
        )


class CannotHold(Interlock):
    """A warning: the shed is too cold for this heater, or it has long been at full power."""

    name = "cannot-hold"
    latching = False
    heated_only = True
    FOR_S = 300.0
    FULL_S = 2700.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.cold_s = 0.0
        self.full_s = 0.0

    def look(self, v: InterlockInputs) -> str | None:
        if not v.heated or v.setpoint_c is None or v.control_c is None:
            self.cold_s = self.full_s = 0.0
            return None
        s = self.settings
        most_c = v.ambient_c + s.heater.power_w / s.model.loss_w_per_k
        cold = v.setpoint_c > most_c - 0.05 * (most_c - v.ambient_c)
        self.cold_s = self.cold_s + v.dt_s if cold else 0.0
        behind = v.duty >= 0.98 and v.control_c < v.setpoint_c - 1.0 and v.phase == "soak"
        self.full_s = self.full_s + v.dt_s if behind else 0.0
        if self.cold_s > self.FOR_S:
            return (
                f"Cannot hold {self.show(v.setpoint_c)}: with the shed at "
                f"{self.show(v.ambient_c)} this heater holds about {self.show(most_c)}. Add "
                f"insulation or a warmer place; the profile waits meanwhile."
            )
        if self.full_s > self.FULL_S:
            return (
                f"Cannot hold {self.show(v.setpoint_c)}: {show_duration(self.full_s)} at full "
                f"power and the air is at {self.show(v.control_c)}. Look at lid, tape and heater; "
                f"the profile waits meanwhile."
            )
        return None


class HeaterOnTooLong(Interlock):
    """Without a pause for longer than the settings allow."""

    name = "heater-on-too-long"

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.on_s = 0.0

    def look(self, v: InterlockInputs) -> str | None:
        self.on_s = self.on_s + v.dt_s if v.heater_on else 0.0
        longest_s = self.settings.limits.longest_heater_on_h * 3600.0
        if self.on_s <= longest_s:
            return None
        return (
            f"Heater on for {show_duration(self.on_s)} without a pause; the longest allowed is "
            f"{show_duration(longest_s)}. The box may be open, or the heater too weak for it."
        )
