"""The relay on bench pins: it never blips, it is off unless everything says on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import lgpio
import pytest
from gpiozero import Device

from nightcure.clock import MachineClock
from nightcure.errors import NightcureError
from nightcure.heat.lines import steady_pin_class
from nightcure.heat.relay import DeadMan, Outputs, Switch, drive_off
from nightcure.oven.wires import BenchFactory, BenchPin, read_pin
from nightcure.records import Decision, Phase, all_off
from nightcure.settings import Output
from tests.nights import SETTINGS, changed
from tests.workshop import wait_for

OUTPUTS = ("heater", "contactor", "fan")
ON = all_off(4)._replace(heater_on=True, contactor_on=True, fan_on=True, phase=Phase.SOAK)


@pytest.fixture
def pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("NIGHTCURE_BENCH", str(tmp_path))
    before = Device.pin_factory
    Device.pin_factory = BenchFactory()
    yield tmp_path
    Device.pin_factory = before


class Told:
    """A clock that is told the time; sleeping lets real time pass a little."""

    def __init__(self) -> None:
        self.now_s = 0.0

    def monotonic(self) -> float:
        return self.now_s

    wall = monotonic

    def sleep(self, duration_s: float) -> None:
        del duration_s
        MachineClock.sleep(0.005)

    def join(self) -> None: ...

    def leave(self) -> None: ...


@pytest.mark.parametrize("active_high", [True, False])
def test_a_switch_never_blips(pins: Path, active_high: bool) -> None:
    (pins / "gpio17").write_bytes(b"0" if active_high else b"1")  # its resting level
    switch = Switch(Output(pin=17, active_high=active_high), "heater")
    pin = Device.pin_factory.pin(17)
    assert [s.state for s in pin.states] == [not active_high], "claimed at its resting level"
    assert not switch.on
    switch.set(True)
    assert switch.on
    assert read_pin(pins, 17) is active_high
    switch.close()
    assert read_pin(pins, 17) is not active_high


def test_a_line_left_driven_is_driven_off(pins: Path) -> None:
    for number in (17, 22, 27):
        (pins / f"gpio{number}").write_bytes(b"1")
    drive_off(SETTINGS)
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3


def test_one_switch_one_owner(pins: Path) -> None:
    code = (
        "import sys; from nightcure.heat.relay import Switch; from nightcure.settings import "
        "Output; s = Switch(Output(pin=17), 'heater'); print('claimed', flush=True); "
        "sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "GPIOZERO_PIN_FACTORY": "nightcure-bench"},
    )  # fmt: skip
    assert other.stdout is not None
    assert other.stdout.readline() == "claimed\n"
    with pytest.raises(NightcureError, match="pin 17 cannot be claimed"):
        Switch(Output(pin=17), "heater")
    other.communicate("", timeout=20)


def test_outputs_do_what_was_decided(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    outputs.apply(ON)
    assert [outputs.is_on(w) for w in ("heater", "contactor", "fan")] == [True] * 3
    # A decision that asks for the heater without the contactor gets neither.
    outputs.apply(ON._replace(contactor_on=False))
    assert not outputs.is_on("heater")
    outputs.apply(ON)
    outputs.close()
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    outputs.apply(ON)
    assert not read_pin(pins, 17), "closed outputs stay off"


def test_an_error_while_switching_leaves_everything_off(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    outputs.apply(ON)

    class Broken:
        on = False

        def set(self, on: bool) -> None:
            raise OSError("stuck")

        def close(self) -> None: ...

    outputs._switches["fan"] = Broken()  # type: ignore[assignment]
    with pytest.raises(OSError, match="stuck"):
        outputs.apply(ON)
    assert not read_pin(pins, 17)
    assert not read_pin(pins, 27)
    outputs.close()


def test_a_pin_that_cannot_be_claimed_gives_back_the_others(pins: Path) -> None:
    taken = Switch(Output(pin=27), "other")
    with pytest.raises(NightcureError, match="contactor: pin 27 cannot be claimed"):
        Outputs(SETTINGS, Told())
    Switch(Output(pin=17), "heater").close()
    taken.close()


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


def test_without_a_contactor_the_heater_obeys_alone(pins: Path) -> None:
    settings = changed(SETTINGS.model_copy(update={"contactor": None}))
    outputs = Outputs(settings, Told())
    d: Decision = ON._replace(contactor_on=True)
    outputs.apply(d)
    assert outputs.is_on("heater")
    outputs.close()


def test_the_boards_own_pin_is_claimed_at_its_level() -> None:
    """On the real library a claim and its level are one request (lgpio's documentation)."""
    calls: list[tuple[str, tuple[int, ...]]] = []

    class Factory:
        _handle = 7

    pin_class = steady_pin_class()
    pin = pin_class.__new__(pin_class)
    pin._number, pin._factory = 17, Factory()
    pin_class.factory = property(lambda self: self._factory)
    plain = lgpio.gpio_claim_output
    lgpio.gpio_claim_output = lambda *a: calls.append(("output", a))
    try:
        pin.output_with_state(True)
    finally:
        lgpio.gpio_claim_output = plain
    assert calls == [("output", (7, 17, 1))]


def states_of(pin: int) -> list[bool]:
    return [bool(s.state) for s in Device.pin_factory.pin(pin).states]


@pytest.mark.parametrize("active_high", [True, False])
def test_outputs_never_blip_from_start_to_close(pins: Path, active_high: bool) -> None:
    on = active_high
    for number in (17, 22, 27):
        (pins / f"gpio{number}").write_bytes(b"0" if active_high else b"1")
    settings = changed(SETTINGS, **{w: {"active_high": active_high} for w in OUTPUTS})
    outputs = Outputs(settings, Told())
    assert states_of(17) == [not on]
    outputs.apply(ON)
    outputs.apply(ON._replace(heater_on=False))
    outputs.all_off()
    outputs.close()
    assert states_of(17) == [not on, on, not on]
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [not on] * 3, "left driven off"


def test_the_heater_goes_on_last_and_off_first(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    thrown: list[tuple[int, bool]] = []
    plain = Switch.set

    def watched(self: Switch, on: bool) -> None:
        thrown.append((self.pin, on))
        plain(self, on)

    outputs = Outputs(SETTINGS, Told())
    monkeypatch.setattr(Switch, "set", watched)
    heater, contactor = SETTINGS.heater.pin, SETTINGS.contactor.pin  # type: ignore[union-attr]
    outputs.apply(ON)
    assert thrown[0] == (contactor, True)
    assert thrown[-1] == (heater, True)
    thrown.clear()
    outputs.apply(all_off(4))
    assert thrown[0] == (heater, False)
    assert (contactor, False) in thrown
    outputs.apply(ON)
    thrown.clear()
    outputs.all_off()
    assert thrown[0] == (heater, False)
    outputs.close()


def test_heater_switchings_count_both_ways_and_nothing_twice(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    for _ in range(3):
        outputs.apply(ON)
    assert outputs.heater_switchings == 1
    outputs.apply(ON._replace(heater_on=False))
    outputs.apply(ON._replace(heater_on=False, fan_on=False))
    assert outputs.heater_switchings == 2
    outputs.apply(ON)
    outputs.all_off()
    outputs.all_off()
    assert outputs.heater_switchings == 4
    outputs.close()


def test_a_signal_in_the_middle_of_a_decision_wins(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A handler runs between two switches of the same thread, as a real SIGTERM may."""
    outputs = Outputs(SETTINGS, Told())
    plain = Switch.set
    contactor = SETTINGS.contactor.pin  # type: ignore[union-attr]

    def struck(self: Switch, on: bool) -> None:
        plain(self, on)
        if on and self.pin == contactor:
            signal.raise_signal(signal.SIGUSR1)

    before = signal.signal(signal.SIGUSR1, lambda *_: outputs.all_off())
    monkeypatch.setattr(Switch, "set", struck)
    try:
        outputs.apply(ON)
    finally:
        signal.signal(signal.SIGUSR1, before)
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    assert outputs.heater_switchings == 0
    monkeypatch.setattr(Switch, "set", plain)
    outputs.apply(ON)
    assert outputs.is_on("heater"), "a fresh decision counts again"
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


def test_all_off_from_many_threads_while_decisions_come(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    stop = threading.Event()

    def panics() -> None:
        while not stop.is_set():
            outputs.all_off()

    threads = [threading.Thread(target=panics, daemon=True) for _ in range(3)]
    for thread in threads:
        thread.start()
    for _ in range(200):
        outputs.apply(ON)
    stop.set()
    for thread in threads:
        thread.join(10)
    outputs.all_off()
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    assert outputs.heater_switchings % 2 == 0, "every on has its off"
    outputs.close()


HOLDS = (
    "import sys; from nightcure.heat.relay import Switch; from nightcure.settings import Output; "
    "s = Switch(Output(pin=17), 'heater'); s.set(True); print('on', flush=True); sys.stdin.read()"
)


def test_kill_9_leaves_the_line_driven_and_drive_off_brings_it_down(pins: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "GPIOZERO_PIN_FACTORY": "nightcure-bench"},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    assert read_pin(pins, 17)
    with pytest.raises(NightcureError, match="pin 17 cannot be claimed"):
        drive_off(SETTINGS)
    process.kill()
    process.communicate(timeout=20)
    assert read_pin(pins, 17), "the Pi's kernel keeps a dead process's output driven"
    drive_off(SETTINGS)
    assert not read_pin(pins, 17)


def test_drive_off_does_the_others_when_one_is_held(pins: Path) -> None:
    for number in (22, 27):
        (pins / f"gpio{number}").write_bytes(b"1")
    taken = Switch(Output(pin=17), "other")
    with pytest.raises(NightcureError) as caught:
        drive_off(SETTINGS)
    assert str(caught.value).count("\n") == 0, "one sentence for the one pin"
    assert [read_pin(pins, n) for n in (22, 27)] == [False] * 2
    taken.close()


def test_drive_off_goes_on_when_a_pin_cannot_be_written(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in (17, 22, 27):
        (pins / f"gpio{number}").write_bytes(b"1")
    plain = Switch.close

    def stuck(self: Switch) -> None:
        plain(self)
        if self.pin == 17:
            raise OSError("stuck")

    monkeypatch.setattr(Switch, "close", stuck)
    with pytest.raises(NightcureError, match="heater: pin 17 cannot be driven off"):
        drive_off(SETTINGS)
    assert [read_pin(pins, n) for n in (22, 27)] == [False] * 2


def test_the_board_librarys_own_error_becomes_a_sentence(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """lgpio raises `lgpio.error`, which is neither an OSError nor gpiozero's (lgpio 0.2.2)."""

    def busy(self: BenchPin) -> None:
        raise lgpio.error("GPIO busy")

    monkeypatch.setattr(BenchPin, "claim", busy)
    with pytest.raises(NightcureError, match=r"heater: pin 17 cannot be claimed .*GPIO busy"):
        Outputs(SETTINGS, Told())
