"""A pulse of heat on the virtual oven, at speed, through the real adapters, pins and dead-man."""

from __future__ import annotations

import math
import threading
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from gpiozero import Device

from nightcure.board.ds18b20 import Bus
from nightcure.board.relay import Outputs
from nightcure.clock import PacedClock
from nightcure.measure.screening import STALE_S
from nightcure.oven.thermal import Network
from nightcure.scenario import BOX, scenario
from nightcure.settings import Settings
from nightcure.setup.finding import Finding, Rating
from nightcure.setup.pulse import ANSWER_K, Pulse
from nightcure.setup.pulse_results import pulse_findings
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.virtual import VirtualOven
from nightcure.simulate.wired_oven import WiredOven
from nightcure.simulate.wires import bench_environment, read_pin
from tests.setup.board import AIR, LID

SETTINGS, _ = scenario()
LOOK, OK, WRONG = Rating.LOOK, Rating.OK, Rating.WRONG
SPEED = 300.0


class Trial:
    """A virtual oven whose time runs fast, and one pulse on it."""

    def __init__(
        self,
        folder: Path,
        settings: Settings = SETTINGS,
        network: Network = BOX,
        faults: tuple[FaultAt, ...] = (),
        start_c: float = 9.0,
    ) -> None:
        self.settings = settings
        self.clock = PacedClock(SPEED, 0.0)
        self.oven = VirtualOven(
            network, settings.thermometers, lambda _: 9.0, faults=faults, start_c=start_c
        )
        self.wired = WiredOven(
            folder, self.oven, settings.thermometers, settings.heater, settings.contactor
        )
        self.said: list[str] = []
        self.at: list[tuple[float, Callable[[], None]]] = []
        """What happens at which second of heat."""
        self.heat_s = 0.0
        self.hand: Callable[[float], dict[str, float]] = lambda _: {}
        """K that a hand adds, by thermometer, at a time (s)."""
        self._stopping = threading.Event()
        self.given: Pulse

    def _live(self, ready: threading.Event) -> None:
        self.clock.join()
        ready.set()
        while not self._stopping.is_set():
            self.wired.step(0.5)
            self.heat_s += 0.5 * self.oven.heating
            self.wired.put(self.hand(self.clock.monotonic()))
            for due_s, happens in list(self.at):
                if self.heat_s >= due_s:
                    happens()
            self.clock.sleep(0.5)
        self.clock.leave()

    def run(self, seconds: float = 60.0, watch_s: float = 300.0) -> dict[str, Finding]:
        """The pulse's findings by name; everything is off afterwards."""
        pins = self.wired.pins
        outputs = Outputs(self.settings, self.clock)
        self.given = Pulse(
            self.settings,
            outputs,
            self.clock,
            self.wired.bus,
            seconds,
            watch_s,
            60.0,
            self.said.append,
        )
        ready = threading.Event()
        life = threading.Thread(target=self._live, args=(ready,), daemon=True)
        life.start()
        ready.wait(5)
        try:
            self.given.run()
        finally:
            self._stopping.set()
            life.join(10)
        for pin in (17, 22, 27):
            assert not read_pin(pins, pin), "whatever happened, everything is off"
        found = pulse_findings(self.settings, self.given)
        assert all(f.sentence.endswith((".", "?")) for f in found)
        return {f.check: f for f in found}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    for name, value in bench_environment(tmp_path / "pins").items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    before, Device.pin_factory = Device.pin_factory, None
    yield tmp_path
    Device.pin_factory = before


def test_who_answers_how_far_and_how_late(folder: Path) -> None:
    trial = Trial(folder)
    found = trial.run()
    assert {name: f.rating for name, f in found.items()} == {
        "pulse": OK, "Air answers": OK, "Lid answers": OK, "Rim answers": OK,
        "Shed answers": OK, "heater off": OK,
    }  # fmt: skip
    assert trial.oven.energy_j == pytest.approx(300.0 * 60.0, rel=0.03), "a minute of 300 W"
    # The same oven, stepped without wires, threads or pulse: when does it show ANSWER_K?
    plain = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 9.0)
    dead_s, most_k = 0.0, 0.0
    for second in range(360):
        plain.step(1.0, second < 60)
        rise_k = plain.state_c[1] - 9.0
        most_k = max(most_k, rise_k)
        if not dead_s and plain._probes_c[0] - 9.0 >= ANSWER_K:
            dead_s = second + 1.0
    figures = found["Air answers"].figures
    assert figures["dead_time_s"] == pytest.approx(dead_s, abs=6.0)
    assert figures["rise_k"] == pytest.approx(most_k, abs=0.2)
    assert found["Lid answers"].figures["dead_time_s"] > 2 * figures["dead_time_s"]
    assert "fall" in found["heater off"].sentence
    assert any("heater on" in line and "Air +0." in line for line in trial.said)


def test_a_thermometer_that_comes_from_a_hand_is_waited_for(folder: Path) -> None:
    plain = Trial(folder).run()["Air answers"].figures
    trial = Trial(folder)
    trial.hand = lambda t_s: {AIR: 15.0 * math.exp(-t_s / 60.0)}
    warm = trial.run()["Air answers"]
    assert any(line == "Air still falls; the heater waits" for line in trial.said)
    assert warm.rating is OK
    assert warm.figures["rise_k"] == pytest.approx(plain["rise_k"], abs=0.2)
    assert warm.figures["dead_time_s"] == pytest.approx(plain["dead_time_s"], abs=6.0)


def test_a_thermometer_that_never_rests_gets_no_heat(folder: Path) -> None:
    trial = Trial(folder)
    trial.hand = lambda t_s: {LID: 3.0 * math.sin(t_s / 40.0)}
    found = trial.run()
    assert "No heat was given: Lid still " in found["pulse"].sentence
    assert "after 15 min" in found["pulse"].sentence
    assert trial.heat_s == 0.0


@pytest.mark.parametrize("how", ["crc", "missing", "power_on", "empty"])
def test_a_sensor_that_fails_switches_off(folder: Path, how: str) -> None:
    trial = Trial(folder)
    tree = trial.wired._tree
    trial.at = [(20.0, lambda: getattr(tree, how)(LID))]
    found = trial.run()
    assert trial.given.doubt is not None
    assert "Lid" in trial.given.doubt
    assert 20.0 <= trial.heat_s <= 25.0, "of the 60 s asked for"
    (pulse,) = found.values()
    assert pulse.rating is WRONG
    assert pulse.sentence.startswith("Cut short, the heater is off: Lid")


def test_a_sensor_that_has_failed_gets_no_heat(folder: Path) -> None:
    trial = Trial(folder, faults=(FaultAt("sensor-crc", 0.0),))
    found = trial.run()
    assert found["pulse"].sentence.startswith("No heat was given: Air")
    assert (trial.heat_s, trial.given.heated_s) == (0.0, 0.0)


def test_a_limit_ends_it(folder: Path) -> None:
    limits = SETTINGS.limits.model_copy(update={"air_c": 20.0})
    settings = SETTINGS.model_copy(update={"limits": limits})
    trial = Trial(folder, settings, replace(BOX, power_w=3000.0), start_c=14.5)
    trial.run(seconds=120.0)
    assert trial.given.doubt is not None
    assert "Air" in trial.given.doubt
    assert "past its limit of 20.0 °C" in trial.given.doubt
    assert 0.0 < trial.heat_s < 90.0


def test_limits_that_nothing_may_be_heated_with_give_no_pulse(folder: Path) -> None:
    limits = SETTINGS.limits.model_copy(update={"heater_c": 200.0})
    trial = Trial(folder, SETTINGS.model_copy(update={"limits": limits}))
    found = trial.run()
    assert "limits.heater_c is 200" in found["pulse"].sentence
    assert trial.heat_s == 0.0


def test_an_oven_that_is_hot_already_gets_no_heat(folder: Path) -> None:
    trial = Trial(folder, start_c=56.0)
    found = trial.run()
    assert "too little room" in found["pulse"].sentence
    assert trial.heat_s == 0.0


def test_a_strong_heater_needs_no_whole_pulse(folder: Path) -> None:
    trial = Trial(folder, network=replace(BOX, power_w=6000.0))
    found = trial.run(seconds=300.0)
    assert trial.given.doubt is None
    assert trial.heat_s < 120.0
    assert found["Air answers"].rating is OK


def test_a_welded_relay_is_told(folder: Path) -> None:
    settings = SETTINGS.model_copy(update={"contactor": None})
    trial = Trial(folder, settings, faults=(FaultAt("relay-welded", 90.0),))
    found = trial.run()
    assert trial.heat_s > 200.0, "it heats whatever the pin says"
    assert found["heater off"].rating is WRONG
    assert "PULL THE PLUG" in found["heater off"].sentence


def test_a_heater_without_power(folder: Path) -> None:
    found = Trial(folder, faults=(FaultAt("relay-stuck-open", 0.0),)).run(watch_s=60.0)
    assert found["Air answers"].rating is WRONG
    assert "Has the heater power" in found["Air answers"].sentence
    assert found["Lid answers"].rating is LOOK
    assert found["heater off"].rating is LOOK


def test_an_air_sensor_outside_the_box(folder: Path) -> None:
    found = Trial(folder, faults=(FaultAt("sensor-out-of-box", 0.0),)).run(watch_s=60.0)
    assert found["Air answers"].rating is WRONG
    assert "is it in the oven?" in found["Air answers"].sentence


def test_told_to_stop_it_is_off_at_once(folder: Path) -> None:
    trial = Trial(folder)
    seen: list[bool] = []

    def stop() -> None:
        trial.given.stop()
        seen.append(read_pin(trial.wired.pins, 17))

    trial.at = [(10.0, stop)]
    found = trial.run()
    assert seen[0] is False, "off before stop() has returned"
    assert found["pulse"].sentence == "Cut short, the heater is off: Told to stop."
    assert trial.heat_s <= 11.0


def test_a_loop_that_hangs_meets_the_dead_man(folder: Path) -> None:
    trial = Trial(folder)

    def hang(line: str) -> None:
        if "heater on" in line:
            trial.clock.sleep(40.0)

    trial.said = type("Hanging", (list,), {"append": staticmethod(hang)})()
    trial.run()
    assert trial.given.doubt is not None
    assert "dead-man" in trial.given.doubt
    assert trial.heat_s <= SETTINGS.timing.dead_man_s + 2.0


def test_a_bus_that_hangs_is_no_ground_to_heat_on(
    folder: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    trial = Trial(folder)
    plain = Bus.read_round

    def slow(bus: Bus, seen: Any) -> None:
        if trial.heat_s > 10.0:
            trial.clock.sleep(60.0)
        plain(bus, seen)

    monkeypatch.setattr(Bus, "read_round", slow)
    trial.run()
    assert trial.given.doubt is not None
    assert "(stale)" in trial.given.doubt
    assert trial.heat_s <= 10.0 + STALE_S + 4.0
