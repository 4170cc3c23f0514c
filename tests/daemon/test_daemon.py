"""The rhythm of ticks: neither a hurried hand nor a held button puts one off or brings hundreds."""

from __future__ import annotations

import threading
from collections.abc import Callable
from types import SimpleNamespace

import pytest

from nightcure.daemon.daemon import LOOK_S, Daemon
from nightcure.tick import Decision, all_off

from ..nights import SETTINGS

TICK_S = SETTINGS.timing.tick_s


class Told:
    """A clock that does what it is told."""

    now_s = 100.0

    def monotonic(self) -> float:
        """Now."""
        return self.now_s

    def sleep(self, duration_s: float) -> None:
        """Time passes."""
        self.now_s += duration_s


class Rhythm(Daemon):
    """A daemon of which only the rhythm is left: when it ticks, and who wants it to."""

    def __init__(
        self, until_s: float, asked: Callable[[float], bool], pressed: Callable[[float], bool]
    ) -> None:
        self.settings, self.speed, self.stopping = SETTINGS, 1.0, threading.Event()
        self.clock = told = Told()  # type: ignore[assignment]
        self.ticks_s: list[float] = []
        loop = SimpleNamespace(stop_pressed=False)

        def tick() -> None:
            self.ticks_s.append(told.now_s - 100.0)
            loop.stop_pressed = pressed(self.ticks_s[-1])
            told.now_s += 0.01
            if self.ticks_s[-1] > until_s:
                self.stopping.set()

        parts = {
            "loop": loop,
            "_tick": tick,
            "_button": SimpleNamespace(pressed=lambda: pressed(told.now_s - 100.0)),
            "_somebody_waits": lambda: asked(told.now_s - 100.0),
        }
        for name, part in parts.items():
            setattr(self, name, part)
        self._go_round()

    @property
    def gaps_s(self) -> list[float]:
        """From tick to tick."""
        return [b - a for a, b in zip(self.ticks_s, self.ticks_s[1:], strict=False)]


def never(_: float) -> bool:
    """Nobody wants anything."""
    return False


def test_ticks_are_regular_where_nobody_wants_anything() -> None:
    assert Rhythm(20.0, never, never).ticks_s == pytest.approx([TICK_S * i for i in range(12)])


def test_after_a_hurry_of_commands_the_next_tick_comes_a_tick_later() -> None:
    """A dozen taps on 'longer' must not end in the dead-man, nor in the service's watchdog."""
    rhythm = Rhythm(30.0, lambda t_s: 4.0 < t_s < 8.0, never)
    assert len(rhythm.ticks_s) > 20, "every command is answered at once"
    assert max(rhythm.gaps_s) <= TICK_S + LOOK_S
    assert max(rhythm.gaps_s) < SETTINGS.timing.dead_man_s / 2.0


def test_a_button_held_down_or_shorted_is_one_early_tick() -> None:
    rhythm = Rhythm(30.0, never, lambda t_s: t_s > 5.0)
    assert any(5.0 < t_s <= 5.0 + LOOK_S + 0.01 for t_s in rhythm.ticks_s)
    assert len(rhythm.ticks_s) <= 30.0 / TICK_S + 3
    assert max(rhythm.gaps_s) <= TICK_S + LOOK_S


def test_the_dead_man_counts_from_the_beginning_not_from_the_making() -> None:
    """A slow board with a silent sensor takes long to begin; that is no stalled loop."""
    daemon = Rhythm(0.0, never, never)
    daemon.clock = told = Told()  # type: ignore[assignment]
    outputs = SimpleNamespace(applied_s=told.now_s, all_off=lambda: None, close=lambda: None)
    begun: list[float] = []

    def apply(decision: Decision) -> None:
        assert (decision.heater_on, decision.contactor_on) == (False, False)
        outputs.applied_s = told.now_s

    outputs.apply = apply
    told.join = told.leave = lambda: None  # type: ignore[attr-defined]
    stopped = SimpleNamespace(start=lambda: None, stop=lambda: None, close=lambda: None)
    parts = {
        "outputs": outputs,
        "_decision": all_off(4),
        "_recorder": stopped,
        "_button": stopped,
        "_signals": stopped,
        "_reader": stopped,
        "_dead_man": SimpleNamespace(
            start=lambda: begun.append(told.now_s - outputs.applied_s), stop=lambda: None
        ),
        "_notifier": SimpleNamespace(notify=lambda text: None),
        "_first_readings": lambda: told.sleep(30.0),
        "_go_round": lambda: None,
    }
    for name, part in parts.items():
        setattr(daemon, name, part)
    told.sleep(20.0)
    daemon.run()
    assert begun == [0.0]


def test_on_a_signal_the_outputs_are_off_before_anything_else() -> None:
    """Whoever looks at the flag finds them off already; a second signal changes nothing."""
    told: list[tuple[bool, bool]] = []
    daemon = Daemon.__new__(Daemon)
    daemon.stopping = threading.Event()

    def all_off(for_good: bool) -> None:
        told.append((for_good, daemon.stopping.is_set()))

    daemon.outputs = SimpleNamespace(all_off=all_off)  # type: ignore[assignment]
    daemon._on_signal(15)
    assert told == [(True, False)]
    assert daemon.stopping.is_set()
    daemon._on_signal(2)
    assert told == [(True, False), (True, True)]
