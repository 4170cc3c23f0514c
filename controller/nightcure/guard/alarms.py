"""Alarms and their states, after ISA-18.2 / IEC 62682.

A warning goes back to normal by itself once it was acknowledged; a trip latches and needs a
person's reset after its cause is gone.
"""

from __future__ import annotations

from enum import StrEnum
from typing import Any

from ..tick import Event, interlock_title, interlock_words


class State(StrEnum):
    """State of one alarm."""

    NORMAL = "normal"
    UNACKNOWLEDGED = "unacknowledged"
    ACKNOWLEDGED = "acknowledged"
    RETURNED = "returned-unacknowledged"
    """The cause is gone, nobody has acknowledged it yet."""
    LATCHED = "latched"
    """Acknowledged, the cause is gone, and it waits for a reset."""


S = State
#: (state, what happens) -> state; `clear`: the cause is gone. What is not here changes nothing.
WARNING: dict[tuple[State, str], State] = {
    (S.NORMAL, "raise"): S.UNACKNOWLEDGED,
    (S.UNACKNOWLEDGED, "acknowledge"): S.ACKNOWLEDGED,
    (S.UNACKNOWLEDGED, "clear"): S.RETURNED,
    (S.ACKNOWLEDGED, "clear"): S.NORMAL,
    (S.RETURNED, "raise"): S.UNACKNOWLEDGED,
    (S.RETURNED, "acknowledge"): S.NORMAL,
}
TRIP: dict[tuple[State, str], State] = {
    **WARNING,
    (S.ACKNOWLEDGED, "clear"): S.LATCHED,
    (S.RETURNED, "acknowledge"): S.LATCHED,
    (S.LATCHED, "raise"): S.UNACKNOWLEDGED,
    (S.LATCHED, "reset"): S.NORMAL,
    (S.RETURNED, "reset"): S.NORMAL,
}


class Alarm:
    """One alarm: its state, its sentence, and since when."""

    __slots__ = ("latching", "message", "name", "since_s", "state")

    def __init__(self, name: str, latching: bool) -> None:
        self.name = name
        self.latching = latching
        self.state = State.NORMAL
        self.message = ""
        self.since_s = 0.0

    def move(self, happening: str) -> bool:
        """Apply `raise`, `clear`, `acknowledge` or `reset`; whether the state changed."""
        table = TRIP if self.latching else WARNING
        following = table.get((self.state, happening), self.state)
        changed = following is not self.state
        self.state = following
        return changed


class Alarms:
    """Every alarm that this controller has raised, and the trip latch."""

    def __init__(self) -> None:
        self._alarms: dict[str, Alarm] = {}
        self.trip: str | None = None
        """The first trip that is still latched: it holds the oven off."""

    def names(self) -> list[str]:
        """Every alarm that was ever raised here."""
        return list(self._alarms)

    def shown(self) -> list[Alarm]:
        """Those not normal, oldest first."""
        if not self._alarms:
            return []
        standing = [a for a in self._alarms.values() if a.state is not State.NORMAL]
        return sorted(standing, key=lambda a: a.since_s)

    def report(self, name: str, latching: bool, message: str | None, wall_s: float) -> Event | None:
        """Tell what a rule found: a sentence while it holds, None while it is quiet."""
        alarm = self._alarms.get(name)
        if message is None:
            if alarm is None or not alarm.move("clear"):
                return None
            return self._event(alarm, f"{interlock_title(alarm.name)}: the cause is gone.")
        if alarm is None:
            alarm = self._alarms[name] = Alarm(name, latching)
        if not alarm.move("raise"):
            return None
        alarm.message, alarm.since_s = message, wall_s
        if latching and self.trip is None:
            self.trip = name
        return self._event(alarm, message)

    def ended(self) -> str:
        """The sentence of the event that tells that the trip has ended the night."""
        return f"The night was ended by a trip: {interlock_words(self.trip or '')}."

    def acknowledge(self, name: str | None) -> list[Event]:
        """A person has seen it (all of them if `name` is None)."""
        return [
            self._event(a, f"{interlock_title(a.name)}: acknowledged.")
            for a in self._alarms.values()
            if name in (None, a.name) and a.move("acknowledge")
        ]

    def reset(self) -> tuple[list[Event], str | None]:
        """Clear every latched trip whose cause is gone; the sentence that forbids it otherwise."""
        for a in self._alarms.values():
            if a.latching and a.state in (State.UNACKNOWLEDGED, State.ACKNOWLEDGED):
                return [], f"the cause is still there. {a.message}"
        events = [
            self._event(a, f"{interlock_title(a.name)}: reset.")
            for a in self._alarms.values()
            if a.latching and a.move("reset")
        ]
        self.trip = None
        return events, None

    @staticmethod
    def _event(alarm: Alarm, message: str) -> Event:
        kind = "trip" if alarm.latching else "alarm"
        return Event(kind, alarm.name, message, alarm.state.value)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {
            "trip": self.trip,
            "alarms": [[getattr(a, k) for k in Alarm.__slots__] for a in self._alarms.values()],
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self.trip = state["trip"]
        self._alarms = {}
        for values in state["alarms"]:
            fields = dict(zip(Alarm.__slots__, values, strict=True))
            alarm = Alarm(fields["name"], fields["latching"])
            alarm.state = State(fields["state"])
            alarm.message, alarm.since_s = fields["message"], fields["since_s"]
            self._alarms[alarm.name] = alarm
