"""What time it is for the loop: how much has passed, and how long the night has lasted."""

from __future__ import annotations

from typing import Any

from ..guard.guard import LATE_TICKS
from ..tick import Event, TickInputs


class Times:
    """The loop's clocks, as every tick tells them."""

    STATE = ("mono_s", "wall_s", "night_s", "wall_known", "boot")

    def __init__(self, tick_s: float) -> None:
        self._tick_s = tick_s
        self.mono_s: float | None = None
        """Of the last tick; None before the first, and on a board whose time began anew."""
        self.wall_s = 0.0
        self.wall_known = True
        self.boot = ""
        self.night_s = 0.0
        """How long the night has lasted."""
        self.dt_s = self.gap_s = tick_s
        """Control time since the last tick, and the real gap."""
        self.wall_step_s = 0.0
        """What the wall clock jumped."""
        self.back = False
        """The monotonic clock went back."""

    def tell(self, inputs: TickInputs, night: bool) -> None:
        """A tick has come."""
        self.dt_s = self.gap_s = self._tick_s
        self.wall_step_s, self.back = 0.0, False
        if self.mono_s is not None:
            gap_s = inputs.mono_s - self.mono_s
            self.back = gap_s < 0.0
            self.gap_s = gap_s = max(gap_s, 0.0)
            self.wall_step_s = inputs.wall_s - self.wall_s - gap_s
            # A late tick counts for so much at the most: the relay was open meanwhile.
            self.dt_s = min(max(gap_s, 0.001), LATE_TICKS * self._tick_s)
        self.mono_s, self.wall_s = inputs.mono_s, inputs.wall_s
        self.wall_known, self.boot = inputs.wall_known, inputs.boot or self.boot
        if night:
            self.night_s += self.gap_s

    def not_known(self) -> list[Event]:
        """At a night's start: a sentence where the time of day is not known."""
        if self.wall_known:
            return []
        message = (
            "The time of day is not known yet, so the times of this night may be wrong; it is "
            "timed all the same."
        )
        return [Event("note", "clock-not-set", message)]

    def resume(self) -> None:
        """The controller starts again, perhaps on a board whose time began anew."""
        self.mono_s, self.boot = None, ""

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {name: getattr(self, name) for name in self.STATE}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an older one has less."""
        for name in self.STATE:
            setattr(self, name, state.get(name, getattr(self, name)))
