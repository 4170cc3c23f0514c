"""Every interlock looks at a tick, and what it finds becomes an alarm's state."""

from __future__ import annotations

from typing import Any

from ..settings import Settings
from ..tick import Event
from .alarms import Alarms
from .annunciator import Annunciator
from .heat_check import HeatCheck
from .interlock_inputs import InterlockInputs
from .interlocks import RULES

#: Clock corrections smaller than this pass without a word, s.
CLOCK_NOTE_S = 2.0
#: A tick that comes later than so many ticks is late.
LATE_TICKS = 3.0


class Guard:
    """The rules with their memory, and the alarms they have raised."""

    def __init__(self, settings: Settings) -> None:
        self.alarms = Alarms()
        """The alarms' states and the trip latch."""
        self.annunciator = Annunciator(settings, self.alarms)
        """What siren and lamps show of them."""
        self.heat_check = HeatCheck(settings)
        """Whether heat does what it must."""
        self._rules = tuple(rule(settings) for rule in RULES)
        self._looks = tuple((rule, rule.look) for rule in self._rules)
        self._ruled = frozenset(rule.name for rule in RULES)
        self._late_s = LATE_TICKS * settings.timing.tick_s

    def look(self, v: InterlockInputs, wall_s: float) -> list[Event]:
        """Judge one tick: the alarms that changed, and notes on what is too small for an alarm."""
        events: list[Event] = []
        v = self.heat_check.look(v)
        told = self.heat_check.test.take_told()
        events += [Event("note", "switch-test", sentence) for sentence in told]
        raised = self.alarms.names()
        for rule, look in self._looks:
            message = look(v)
            if message is not None or rule.name in raised:
                event = self.alarms.report(rule.name, rule.latching, message, wall_s)
                if event is not None:
                    events.append(event)
        if v.gap_s > self._late_s:
            late = f"The loop was late: {v.gap_s:.1f} s since a tick."
            events.append(Event("note", "late", late))
        if abs(v.wall_step_s) > CLOCK_NOTE_S:
            moved = f"The wall clock moved by {v.wall_step_s:+.1f} s."
            events.append(Event("note", "clock", moved))
        return events

    def settle(self, wall_s: float) -> list[Event]:
        """Trips that no rule looks after, such as a refused resume, are raised once: their cause is
        gone from the next tick on, so that a person can reset them."""
        told = [
            self.alarms.report(name, True, None, wall_s)
            for name in self.alarms.names()
            if name not in self._ruled
        ]
        return [event for event in told if event is not None]

    def report(self, name: str, message: str, wall_s: float) -> list[Event]:
        """A trip that no rule has found."""
        event = self.alarms.report(name, True, message, wall_s)
        return [] if event is None else [event]

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {
            "alarms": self.alarms.snapshot(),
            "annunciator": self.annunciator.snapshot(),
            "heat_check": self.heat_check.snapshot(),
            "rules": {rule.name: rule.snapshot() for rule in self._rules},
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self.alarms.restore(state["alarms"])
        self.annunciator.restore(state.get("annunciator", {}))
        self.heat_check.restore(state.get("heat_check", {}))  # none in a snapshot before 0.2
        for rule in self._rules:
            rule.restore(state["rules"].get(rule.name, {}))
