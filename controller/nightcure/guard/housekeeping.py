"""Interlocks on the night, the clocks and the record."""

from __future__ import annotations

from ..settings import Settings
from ..units import show_duration
from .interlock import Interlock
from .interlock_inputs import InterlockInputs


class NightTooLong(Interlock):
    """The night has not ended by the settings' longest."""

    name = "night-too-long"

    def look(self, v: InterlockInputs) -> str | None:
        longest_s = self.settings.limits.longest_night_h * 3600.0
        if not v.night or v.night_s <= longest_s:
            return None
        return (
            f"The night has run for {show_duration(v.night_s)}; the longest allowed is "
            f"{show_duration(longest_s)}. What kept it waiting is in the events."
        )


class TickLate(Interlock):
    """The loop stood still; the dead-man has opened the relay meanwhile."""

    name = "tick-late"
    TRIP_S = 30.0

    def look(self, v: InterlockInputs) -> str | None:
        if not v.night or v.gap_s <= self.TRIP_S:
            return None
        return (
            f"The controller stood still for {show_duration(v.gap_s)} (more than "
            f"{show_duration(self.TRIP_S)}): look at the board's load, card and supply."
        )


class LedgerLost(Interlock):
    """No record, no commands or no latch on the disk: a full disk, a dead card, a file gone."""

    name = "ledger-lost"
    AFTER_S = 60.0

    def __init__(self, settings: Settings) -> None:
        super().__init__(settings)
        self.unarmed_s = 0.0

    def look(self, v: InterlockInputs) -> str | None:
        self.unarmed_s = self.unarmed_s + v.gap_s if v.night and not v.armed else 0.0
        if not v.night:
            return None
        if v.ledger_gone:
            return (
                "The ledger's file was removed, replaced or cut short while the night ran, so "
                "nothing more is recorded: see who or what did it; the controller makes a new one."
            )
        if self.unarmed_s > self.AFTER_S:
            return (
                f"The trip latch could not be written for {show_duration(self.unarmed_s)}, so that "
                f"a trip would not outlast a power cut: look at the disk's free space and the card."
            )
        if v.ledger_silent_s <= self.AFTER_S and v.inbox_silent_s <= self.AFTER_S:
            return None
        silent_s, what = max((v.ledger_silent_s, "written"), (v.inbox_silent_s, "read"))
        return (
            f"The ledger could not be {what} for {show_duration(silent_s)}, so nobody can see or "
            f"stop the oven from the page: look at the disk's free space and the card."
        )


class TimeWentBack(Interlock):
    """The monotonic clock went back, which no kernel does: nothing that is timed can be trusted.

    (The wall clock may move as it likes; people read it, nothing is timed by it.)
    """

    name = "time-went-back"

    def look(self, v: InterlockInputs) -> str | None:
        if not v.night or not v.time_back:
            return None
        return (
            "The board's running clock went back, so nothing of this night is timed right: look at "
            "the board and its system, and restart it."
        )
