"""Clocks: the machine's own, and a paced one on which the demo's night runs faster than life."""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """What the daemon and its threads know of time. Only they read it; the loop is told."""

    def monotonic(self) -> float:
        """Seconds that never go back; control runs on them."""

    def wall(self) -> float:
        """UTC seconds; people read them."""

    def sleep(self, duration_s: float) -> None:
        """Wait for `duration_s` of this clock."""

    def join(self) -> None:
        """Called by a thread before its first sleep: this clock waits for it from now on."""

    def leave(self) -> None:
        """Called by a thread that will not sleep on this clock any more."""


class MachineClock:
    """Real time."""

    monotonic = staticmethod(time.monotonic)
    wall = staticmethod(time.time)
    sleep = staticmethod(time.sleep)

    def join(self) -> None:
        """Real time waits for nobody."""

    def leave(self) -> None:
        """Real time misses nobody."""


class PacedClock:
    """Virtual time for threads that take turns: it moves on only when all of them sleep.

    It advances to the earliest wake-up, no faster than `speed` virtual seconds a real second; a
    machine that cannot keep up makes the night slower, never late.
    """

    def __init__(self, speed: float, wall_start_s: float, mono_start_s: float = 0.0) -> None:
        if not speed > 0:
            raise ValueError(f"speed is {speed!r}; it must be above 0.")
        self.speed = speed
        self._now_s = mono_start_s
        self._wall_offset_s = wall_start_s - mono_start_s
        self._due_s: dict[int, float] = {}
        self._members: set[int] = set()
        self._changed = threading.Condition()
        self._real_s = time.monotonic()

    def monotonic(self) -> float:
        """Virtual seconds since the start."""
        return self._now_s

    def wall(self) -> float:
        """Virtual UTC seconds."""
        return self._now_s + self._wall_offset_s

    def step_wall(self, by_s: float) -> None:
        """Move the wall clock by `by_s` without moving the monotonic one, as a time server may."""
        self._wall_offset_s += by_s

    def join(self) -> None:
        """Count the calling thread among those the clock waits for."""
        with self._changed:
            self._members.add(threading.get_ident())

    def leave(self) -> None:
        """Forget the calling thread; the others go on."""
        with self._changed:
            self._members.discard(threading.get_ident())
            self._due_s.pop(threading.get_ident(), None)
            self._changed.notify_all()

    def sleep(self, duration_s: float) -> None:
        """Sleep for `duration_s` of virtual time."""
        me = threading.get_ident()
        with self._changed:
            due_s = self._now_s + max(duration_s, 0.0)
            self._due_s[me] = due_s
            self._changed.notify_all()
            while self._now_s < due_s:
                if not self._my_turn(due_s):
                    self._changed.wait(1.0)
                    continue
                # Hold back until real time has caught up; a newcomer may take the turn meanwhile.
                real_due_s = self._real_s + (due_s - self._now_s) / self.speed
                wait_s = real_due_s - time.monotonic()
                if wait_s > 0:
                    self._changed.wait(wait_s)
                if self._my_turn(due_s) and time.monotonic() >= real_due_s:
                    self._now_s = due_s
                    self._real_s = max(real_due_s, time.monotonic() - 0.25)
                    self._changed.notify_all()
            self._due_s.pop(me, None)

    def _my_turn(self, due_s: float) -> bool:
        """Whether every member sleeps and `due_s` is the earliest wake-up."""
        return self._members <= self._due_s.keys() and due_s == min(self._due_s.values())
