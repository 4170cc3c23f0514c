"""What siren and lamps show: the basic sequence of an annunciator.

After ISA-18.1 (from memory): a new alarm sounds and flashes, also once its cause is gone; silenced,
it flashes on; acknowledged, it is lit; a trip stays lit until it is reset. The next new alarm
sounds again.
"""

from __future__ import annotations

from typing import Any

from ..settings import Settings
from ..tick import Event, Lamp, Phase, Signals
from .alarms import Alarm, Alarms, State

#: Not acknowledged yet.
NEW = (State.UNACKNOWLEDGED, State.RETURNED)


class Annunciator:
    """Which alarms have been silenced, and what is shown of all of them."""

    def __init__(self, settings: Settings, alarms: Alarms) -> None:
        self._warnings_sound = settings.annunciator.warnings_sound
        self._alarms = alarms
        self._silenced: list[list[Any]] = []
        """Name and time of raising of each."""
        self._pressed = False

    def _sounding(self) -> list[Alarm]:
        return [
            a
            for a in self._alarms.shown()
            if a.state in NEW
            and (a.latching or self._warnings_sound)
            and [a.name, a.since_s] not in self._silenced
        ]

    def silence(self) -> bool:
        """Whoever is there has heard it: no sound until something new. Whether anything sounded."""
        sounding = self._sounding()
        standing = [[a.name, a.since_s] for a in self._alarms.shown()]
        self._silenced = [one for one in self._silenced if one in standing]
        self._silenced += [[a.name, a.since_s] for a in sounding]
        return bool(sounding)

    def button(self, pressed: bool) -> list[Event]:
        """The silence button at a tick: one that is held, or shorted, silences nothing new."""
        fresh, self._pressed = pressed and not self._pressed, pressed
        if not fresh or not self.silence():
            return []
        return [Event("note", "silence", "The siren was silenced by the button at the oven.")]

    def signals(self, phase: Phase, waits: bool) -> Signals:
        """What siren and lamps show in a phase of a night, which may be waiting for something."""
        shown = self._alarms.shown()
        runs = phase in (Phase.RAMP, Phase.SOAK, Phase.COOL)
        new = any(a.state in NEW for a in shown)
        return Signals(
            siren=bool(shown) and bool(self._sounding()),
            running=Lamp.LIT if runs else Lamp.DARK,
            waiting=Lamp.LIT if runs and waits else Lamp.DARK,
            ready=Lamp.LIT if phase in (Phase.IDLE, Phase.DONE) else Lamp.DARK,
            alarm=Lamp.FLASHES if new else Lamp.LIT if shown else Lamp.DARK,
        )

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {"silenced": [list(one) for one in self._silenced], "pressed": self._pressed}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        self._silenced = [list(one) for one in state.get("silenced", [])]
        self._pressed = state.get("pressed", False)
