"""The bench pins behave as the board's: seen from outside, exclusive, left as driven."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from gpiozero import Device

from nightcure.clock import MachineClock
from nightcure.errors import NightcureError
from nightcure.heat.relay import DeadMan, Outputs, Switch, drive_off
from nightcure.oven.wires import BenchFactory, read_pin
from nightcure.records import Decision, Phase, all_off
from nightcure.settings import Output
from tests.nights import SETTINGS, changed
from tests.workshop import wait_for

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
        "Output; s = Switch(Output(pin=17), 'heater'); print('claimed', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={"NIGHTCURE_BENCH": str(pins), "GPIOZERO_PIN_FACTORY": "nightcure-bench"},
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
    import threading

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
    from nightcure.heat.lines import steady_pin_class

    calls: list[tuple[str, tuple[int, ...]]] = []
    import lgpio

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
