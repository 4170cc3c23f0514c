"""Time-proportioning: a duty becomes on and off, with minimum times and an exact account."""

from __future__ import annotations

from typing import Any

from ..settings import Heater


class Modulator:
    """One pulse a window, its length following the duty; what a window could not deliver is owed.

    The account of on-time asked for and given is kept to the tick, so the mean power is right
    whatever the minimum times do. Not being allowed to heat cancels the debt: heat that safety
    withheld is not made up for in a burst. Heat given ahead stays on the account.
    """

    def __init__(self, heater: Heater) -> None:
        self._heater = heater
        self.switchings = 0
        """Number of times the relay changed state."""
        self.on = False
        self._since_s: float | None = None
        self._window_s: float | None = None
        self._asked_s = 0.0
        self._given_s = 0.0
        self._owed_s = 0.0
        self._pulse_over = False

    def tick(self, now_s: float, dt_s: float, duty: float, allowed: bool) -> bool:
        """Whether the heater is on from now until the next tick, about `dt_s` on.

        `allowed` False switches it off at once, minimum on-time or not.
        """
        h = self._heater
        if not allowed:
            self._window_s = None
            self._owed_s = min(self._owed_s + self._asked_s - self._given_s, 0.0)
            self._asked_s = self._given_s = 0.0
            self._switch(False, now_s)
            return False
        if self._window_s is None or now_s - self._window_s >= h.window_s - 1e-6:
            owed_s = self._owed_s + self._asked_s - self._given_s
            self._owed_s = min(max(owed_s, -h.window_s), h.window_s)
            self._window_s = now_s
            self._asked_s = self._given_s = 0.0
            self._pulse_over = False
        target_s = duty * h.window_s + self._owed_s
        if target_s < h.min_on_s:
            target_s = 0.0
        elif target_s > h.window_s - h.min_off_s:
            target_s = 2.0 * h.window_s
        wanted = not self._pulse_over and self._given_s + 0.5 * dt_s < target_s
        if wanted != self.on and self._since_s is not None:
            least_s = h.min_on_s if self.on else h.min_off_s
            if now_s - self._since_s < least_s - 1e-6:
                wanted = self.on
        if self.on and not wanted:
            self._pulse_over = True
        self._switch(wanted, now_s)
        self._asked_s += duty * dt_s
        if wanted:
            self._given_s += dt_s
        return wanted

    def _switch(self, on: bool, now_s: float) -> None:
        if on is not self.on:
            self.on = on
            self.switchings += 1
            self._since_s = now_s

    def snapshot(self) -> dict[str, Any]:
        """All state but the settings, JSON-ready."""
        return {k: v for k, v in vars(self).items() if k != "_heater"}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        vars(self).update(state)
