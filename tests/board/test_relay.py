"""The relay on bench pins: it never blips, it is off unless everything says on."""

from __future__ import annotations

import itertools
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from nightcure.board import relay
from nightcure.board.relay import Outputs, Switch
from nightcure.errors import NightcureError
from nightcure.settings import Output
from nightcure.simulate import bench_chip
from nightcure.simulate.wires import read_pin
from nightcure.tick import Decision, OffCode, WhyOff, all_off
from tests.nights import SETTINGS, changed

from .wiring import ON, OUTPUTS, Told


@pytest.fixture
def driven(pins: Path, monkeypatch: pytest.MonkeyPatch) -> list[tuple[int, bool]]:
    """Every level that a line is driven to, in order."""
    seen: list[tuple[int, bool]] = []
    plain = bench_chip.LineRequest.set_value

    def watched(self: bench_chip.LineRequest, line: int, value: bench_chip.Value) -> None:
        seen.append((line, value is bench_chip.Value.ACTIVE))
        plain(self, line, value)

    monkeypatch.setattr(bench_chip.LineRequest, "set_value", watched)
    return seen


@pytest.mark.parametrize("active_high", [True, False])
def test_a_switch_never_blips(
    pins: Path, driven: list[tuple[int, bool]], active_high: bool
) -> None:
    (pins / "gpio17").write_bytes(b"0" if active_high else b"1")  # its resting level
    switch = Switch(Output(pin=17, active_high=active_high), "heater")
    assert driven == [(17, not active_high)], "claimed at its resting level"
    assert not switch.on
    switch.set(True)
    assert switch.on
    assert read_pin(pins, 17) is active_high
    switch.close()
    assert read_pin(pins, 17) is not active_high


def test_one_switch_one_owner(pins: Path) -> None:
    code = (
        "import sys; from nightcure.board.relay import Switch; from nightcure.settings import "
        "Output; s = Switch(Output(pin=17), 'heater'); print('claimed', flush=True); "
        "sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert other.stdout is not None
    assert other.stdout.readline() == "claimed\n"
    with pytest.raises(NightcureError, match=r"GPIO17 cannot be claimed \(held by 'nightcure'\)"):
        Switch(Output(pin=17), "heater")
    other.communicate("", timeout=20)


def test_outputs_do_what_was_decided(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    outputs.apply(ON)
    assert [outputs.is_on(w) for w in ("heater", "contactor", "fan")] == [True] * 3
    # A decision that asks for the heater without the contactor gets neither.
    outputs.apply(ON._replace(contactor_on=False))
    assert not outputs.is_on("heater")
    # Nor one that bears a reason against heat.
    outputs.apply(ON._replace(why_off=WhyOff(OffCode.AIR_DOUBTED)))
    assert [outputs.is_on(w) for w in ("heater", "contactor", "fan")] == [False, True, True]
    outputs.apply(ON)
    outputs.close()
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    outputs.apply(ON)
    assert not read_pin(pins, 17), "closed outputs stay off"


def test_the_relay_closes_alone_only_where_that_was_decided(pins: Path) -> None:
    """In a test of the switches, to see that an open contactor lets nothing through."""
    outputs = Outputs(SETTINGS, Told())
    alone = ON._replace(contactor_on=False, relay_alone=True)
    outputs.apply(alone)
    assert [outputs.is_on(w) for w in ("heater", "contactor")] == [True, False]
    outputs.apply(alone._replace(why_off=WhyOff(OffCode.TRIPPED)))
    assert not outputs.is_on("heater"), "the gate comes first"
    outputs.apply(alone)
    outputs.apply(alone._replace(relay_alone=False))
    assert not outputs.is_on("heater")
    outputs.close()


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
    with pytest.raises(NightcureError, match="contactor: GPIO27 cannot be claimed"):
        Outputs(SETTINGS, Told())
    Switch(Output(pin=17), "heater").close()
    taken.close()


def test_without_a_contactor_the_heater_obeys_alone(pins: Path) -> None:
    settings = changed(SETTINGS.model_copy(update={"contactor": None}))
    outputs = Outputs(settings, Told())
    d: Decision = ON._replace(contactor_on=True)
    outputs.apply(d)
    assert outputs.is_on("heater")
    outputs.close()


@pytest.mark.parametrize("active_high", [True, False])
def test_outputs_never_blip_from_start_to_close(
    pins: Path, driven: list[tuple[int, bool]], active_high: bool
) -> None:
    on = active_high
    for number in (17, 22, 27):
        (pins / f"gpio{number}").write_bytes(b"0" if active_high else b"1")
    settings = changed(SETTINGS, **{w: {"active_high": active_high} for w in OUTPUTS})
    outputs = Outputs(settings, Told())
    assert [level for pin, level in driven if pin == 17] == [not on]
    outputs.apply(ON)
    outputs.apply(ON._replace(heater_on=False))
    outputs.all_off()
    outputs.close()
    levels = [level for pin, level in driven if pin == 17]
    assert [level for level, _ in itertools.groupby(levels)] == [not on, on, not on]
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


def test_off_for_good_is_for_good(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    outputs.apply(ON)
    outputs.all_off(for_good=True)
    outputs.apply(ON)
    assert [read_pin(pins, n) for n in (17, 22, 27)] == [False] * 3
    assert not outputs.is_on("heater")
    outputs.close()


def test_closing_does_not_wait_for_a_thread_that_hangs(pins: Path) -> None:
    outputs = Outputs(SETTINGS, Told())
    outputs.apply(ON)
    holding, release = threading.Event(), threading.Event()

    def hang() -> None:
        with outputs._lock:
            holding.set()
            release.wait(30)

    hung = threading.Thread(target=hang, daemon=True)
    hung.start()
    assert holding.wait(5)
    closing = threading.Thread(target=outputs.close, daemon=True)
    closing.start()
    closing.join(10)
    ended = not closing.is_alive()
    release.set()
    hung.join(5)
    assert ended
    assert not read_pin(pins, 17)


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


def test_the_pin_librarys_own_error_becomes_a_sentence(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its errors are neither OSErrors nor of one family."""

    class Odd(Exception):
        pass

    def broken(*_: object, **__: object) -> None:
        raise Odd("no such thing")

    monkeypatch.setattr(relay, "OutputDevice", broken)
    with pytest.raises(NightcureError, match=r"heater: GPIO17 cannot be claimed .*no such thing"):
        Outputs(SETTINGS, Told())
