"""The dead-man: a decision that is not renewed in time ends with everything off."""

from __future__ import annotations

import threading
from pathlib import Path

import pytest

from nightcure.board.relay import DeadMan, Outputs, Switch
from nightcure.clock import MachineClock
from nightcure.simulate.wires import read_pin
from tests.nights import SETTINGS
from tests.workshop import wait_for

from .wiring import ON, Told


def test_the_dead_man_opens_and_a_fresh_decision_closes_again(pins: Path) -> None:
    clock = Told()
    outputs = Outputs(SETTINGS, clock)
    dead_man = DeadMan(outputs, 6.0, clock)
    dead_man.start()
    outputs.apply(ON)
    clock.now_s = 5.9
    MachineClock.sleep(0.1)
    assert outputs.is_on("heater")
    clock.now_s = 6.1
    wait_for(lambda: not outputs.is_on("heater"), 5, "the dead-man opens")
    assert not outputs.is_on("contactor")
    outputs.apply(ON)
    assert outputs.is_on("heater")
    MachineClock.sleep(0.1)
    clock.now_s = 12.3
    wait_for(lambda: dead_man.fired == 2, 5, "it counts")
    dead_man.stop()
    outputs.close()


def test_the_dead_man_does_not_wait_for_a_thread_that_hangs(pins: Path) -> None:
    clock = Told()
    outputs = Outputs(SETTINGS, clock)
    outputs.apply(ON)
    holding, release = threading.Event(), threading.Event()

    def hang() -> None:
        with outputs._lock:
            holding.set()
            release.wait(20)

    thread = threading.Thread(target=hang, daemon=True)
    thread.start()
    holding.wait(5)
    dead_man = DeadMan(outputs, 6.0, clock)
    clock.now_s = 10.0
    dead_man.start()
    wait_for(lambda: not read_pin(pins, 17), 10, "off though the lock is held")
    release.set()
    thread.join(5)
    dead_man.stop()
    outputs.close()


def test_a_hung_decision_switches_nothing_on_when_it_wakes(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The dead-man opened the outputs meanwhile; what was decided before that is too old."""
    clock = Told()
    outputs = Outputs(SETTINGS, clock)
    hanging, release = threading.Event(), threading.Event()
    plain = Switch.set
    contactor = SETTINGS.contactor.pin  # type: ignore[union-attr]

    def hangs(self: Switch, on: bool) -> None:
        plain(self, on)
        if on and self.pin == contactor:
            hanging.set()
            release.wait(20)

    monkeypatch.setattr(Switch, "set", hangs)
    thread = threading.Thread(target=outputs.apply, args=(ON,), daemon=True)
    thread.start()
    assert hanging.wait(5)
    dead_man = DeadMan(outputs, 6.0, clock)
    clock.now_s = 7.0
    dead_man.start()
    wait_for(lambda: dead_man.fired == 1, 10, "the dead-man fires")
    assert dead_man.fired_s == 7.0
    dead_man.stop(5.0)
    release.set()
    thread.join(5)
    assert not thread.is_alive()
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    assert outputs.applied_s == 0.0, "a decision that was overtaken feeds no dead-man"
    outputs.close()


def test_the_dead_man_stands_between_two_decisions_only(pins: Path) -> None:
    """It holds the outputs off as long as nothing fresh comes, and counts once."""
    clock = Told()
    outputs = Outputs(SETTINGS, clock)
    outputs.apply(ON)
    dead_man = DeadMan(outputs, 6.0, clock)
    clock.now_s = 6.5
    dead_man.start()
    wait_for(lambda: dead_man.fired == 1, 5, "it fires")
    # Somebody drives the pin behind its back: it is opened again, without a second count.
    outputs._switches["heater"].set(True)
    wait_for(lambda: not read_pin(pins, 17), 5, "held off")
    assert dead_man.fired == 1
    dead_man.stop()
    outputs.close()
