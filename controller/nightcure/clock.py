"""Clocks: the machine's own, and a paced one on which the demo's night runs faster than life; and
the word to the service manager, which ends a process that says nothing for too long.
"""

from __future__ import annotations

import ctypes
import os
import socket
import threading
import time
from contextlib import suppress
from pathlib import Path
from typing import Protocol

BOOT_ID = Path("/proc/sys/kernel/random/boot_id")
#: systemd-timesyncd leaves this file for the rest of the boot once a server has answered.
TIMESYNC = Path("/run/systemd/timesync/synchronized")
#: The clock with a battery that the kernel set the time from at boot, where there is one.
RTC = Path("/sys/class/rtc/rtc0")
#: A battery clock and the time may be so far apart and tell the same, s.
RTC_APART_S = 5.0
#: What `adjtimex` answers where no server disciplines the clock (adjtimex(2)).
TIME_ERROR = 5
#: Bytes of `struct timex`, and more.
TIMEX_BYTES = 512


def tell_service_manager(said: str) -> None:
    """Say how this process is: `READY=1`, `WATCHDOG=1`, `STOPPING=1` (sd_notify(3)).

    A datagram to the socket it is told of; `@` stands for the zero byte of an abstract name. Where
    no manager listens nothing is said.
    """
    name = os.environ.get("NOTIFY_SOCKET", "")
    if not name.startswith(("/", "@")):
        return
    address = f"\0{name[1:]}" if name.startswith("@") else name
    with suppress(OSError), socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM) as line:
        line.sendto(said.encode(), address)


class Clock(Protocol):
    """What the daemon and its threads know of time. Only they read it; the loop is told."""

    def monotonic(self) -> float:
        """Seconds that never go back; control runs on them."""

    def wall(self) -> float:
        """UTC seconds; people read them."""

    def is_set(self) -> bool:
        """Whether `wall` was set by somebody who knows the time, since the boot."""

    def boot(self) -> str:
        """The identity of the boot that `monotonic` counts from; empty where nobody knows it."""

    def sleep(self, duration_s: float) -> None:
        """Wait for `duration_s` of this clock."""

    def join(self) -> None:
        """Called by a thread before its first sleep: this clock waits for it from now on."""

    def leave(self) -> None:
        """Called by a thread that will not sleep on this clock any more."""


def boot_id(file: Path = BOOT_ID) -> str:
    """The identity of this boot; empty where the system has none."""
    try:
        return file.read_text(encoding="ascii").strip()
    except (OSError, UnicodeDecodeError):
        return ""


def clock_is_set(timesync: Path = TIMESYNC, rtc: Path = RTC) -> bool:
    """Whether somebody who knows the time has set the clock since the boot.

    A time server (the kernel knows of any that disciplines it), or a battery clock that agrees.
    """
    return _disciplined() or timesync.exists() or _kept_by_battery(rtc)


def _disciplined() -> bool:
    """Whether the kernel holds the clock for synchronised, by `adjtimex` asked for nothing."""
    try:
        adjtimex = ctypes.CDLL(None, use_errno=True).adjtimex
    except (OSError, AttributeError):
        return False
    answer: int = adjtimex(ctypes.create_string_buffer(TIMEX_BYTES))
    return 0 <= answer < TIME_ERROR


def _kept_by_battery(rtc: Path) -> bool:
    try:
        started_by_it = (rtc / "hctosys").read_text(encoding="ascii").strip() == "1"
        shows_s = float((rtc / "since_epoch").read_text(encoding="ascii"))
    except (OSError, ValueError):
        return False
    return started_by_it and abs(shows_s - time.time()) < RTC_APART_S


class MachineClock:
    """Real time."""

    monotonic = staticmethod(time.monotonic)
    wall = staticmethod(time.time)
    sleep = staticmethod(time.sleep)
    boot = staticmethod(boot_id)

    def __init__(self) -> None:
        self._set = False

    def is_set(self) -> bool:
        """Whether it was set since the boot; a clock that was runs on well enough for a night."""
        self._set = self._set or clock_is_set()
        return self._set

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
        self.known = True
        """What `is_set` answers."""
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

    def is_set(self) -> bool:
        """A virtual clock is right unless it is told otherwise."""
        return self.known

    def boot(self) -> str:
        """No boot of its own."""
        return ""

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
