"""The commissioning step to its end, at speed: the real daemon, adapters, pins and ledger, on
virtual ovens of two structures behind the same wires. It is asked for as a person's command does.
"""

from __future__ import annotations

import threading
from collections.abc import Iterator, Sequence
from pathlib import Path

import pytest
from gpiozero import Device

from nightcure.cli.check_switches import OwnController, refuse_anothers_ledger
from nightcure.clock import PacedClock
from nightcure.daemon.daemon import Daemon
from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.oven.thermal import Network
from nightcure.replay.verify import verify
from nightcure.settings import Settings
from nightcure.setup.finding import Finding, Rating
from nightcure.setup.pulse_results import ANSWER_K
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.scenario import BOX
from nightcure.simulate.virtual import VirtualOven
from nightcure.simulate.wired_oven import WiredOven
from nightcure.simulate.wires import bench_environment, read_pin
from nightcure.simulate.zoned import ZonedOven
from tests.loop.test_switch_test import DEAD, PROBED, STUCK, WELDED, ZONED, ZONED_SETTINGS
from tests.nights import SETTINGS

LOOK, OK, WRONG = Rating.LOOK, Rating.OK, Rating.WRONG
SPEED = 400.0


class Bench:
    """A virtual oven whose time runs fast, and a test of its switches."""

    def __init__(
        self,
        folder: Path,
        settings: Settings = SETTINGS,
        network: Network | ZonedOven = BOX,
        faults: Sequence[FaultAt] = (),
    ) -> None:
        self.settings = settings.model_copy(update={"ledger": folder / "test.ledger"})
        self.clock = PacedClock(SPEED, 1.7e9)
        self.oven = VirtualOven(
            network, settings.thermometers, lambda _: 9.0, faults=faults, start_c=9.0
        )
        self.wired = WiredOven(
            folder, self.oven, settings.thermometers, settings.heater, settings.contactor
        )
        self.said: list[str] = []
        self.pins_seen: set[tuple[bool, bool]] = set()
        """Heater and contactor as they were driven."""
        self._stopping = threading.Event()

    def _live(self, ready: threading.Event) -> None:
        self.clock.join()
        ready.set()
        while not self._stopping.is_set():
            self.pins_seen.add((self.wired.heater_switched_on(), self.wired.contactor_closed()))
            self.wired.step(1.0)
            self.wired.put()
            self.clock.sleep(1.0)
        self.clock.leave()

    def run(self) -> dict[str, Finding]:
        """The findings by name; everything is off afterwards."""
        own = OwnController(Daemon(self.settings, self.clock, SPEED))
        ready = threading.Event()
        life = threading.Thread(target=self._live, args=(ready,), daemon=True)
        life.start()
        ready.wait(5)
        try:
            found = own.test(self.said.append)
        finally:
            self._stopping.set()
            life.join(10)
            for pin in (17, 22, 27):
                assert not read_pin(self.wired.pins, pin), "whatever happened, everything is off"
        assert all(f.sentence.endswith((".", "?")) for f in found)
        return {f.check: f for f in found}


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    for name, value in bench_environment(tmp_path / "pins").items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("NIGHTCURE_W1_ROOT", str(tmp_path / "w1"))
    monkeypatch.chdir(tmp_path)
    before, Device.pin_factory = Device.pin_factory, None
    yield tmp_path
    Device.pin_factory = before


@pytest.mark.parametrize(
    ("settings", "network"), [(SETTINGS, BOX), (ZONED_SETTINGS, ZONED)], ids=["lumped", "zoned"]
)
def test_sound_switches(folder: Path, settings: Settings, network: Network | ZonedOven) -> None:
    bench = Bench(folder, settings, network)
    found = bench.run()
    assert found["switches"].rating is OK
    assert found["Air answers"].rating is OK
    assert found["Shed answers"].rating is OK
    assert found["heater off"].rating in (OK, LOOK)
    assert bench.pins_seen == {(False, False), (False, True), (True, False), (True, True)}
    power_w = settings.heater.power_w
    assert bench.oven.energy_j == pytest.approx(
        power_w * found["pulse"].figures["heated_s"], rel=0.06
    ), "heat flowed in the last pulse alone"
    meters = [line for line in bench.said if "a meter at the plug" in line]
    assert [f"{power_w:g} W" in line for line in meters] == [False, False, True]
    reader = LedgerReader(bench.settings.ledger)
    (night,) = reader.nights()
    assert night["outcome"] == "done"
    assert "no heat came" in night["reason"]
    assert verify(reader, night["id"]).same, "its record decides the same, to the bit"


def test_who_answers_how_far_and_how_late(folder: Path) -> None:
    found = Bench(folder, PROBED).run()
    # The same oven, stepped without wires, threads or controller: when does it show ANSWER_K?
    plain = VirtualOven(BOX, PROBED.thermometers, lambda _: 9.0)
    dead_s, most_k, pulse_s = 0.0, 0.0, found["pulse"].figures["heated_s"]
    for second in range(500):
        plain.step(1.0, second < pulse_s)
        most_k = max(most_k, plain.state_c[1] - 9.0)
        if not dead_s and plain._probes_c[0] - 9.0 >= ANSWER_K:
            dead_s = second + 1.0
    air = found["Air answers"].figures
    assert air["dead_time_s"] == pytest.approx(dead_s, abs=8.0)
    assert air["rise_k"] == pytest.approx(most_k, abs=0.2)
    assert found["Lid answers"].figures["dead_time_s"] > air["dead_time_s"]
    assert found["Shield answers"].figures["dead_time_s"] < air["dead_time_s"]


@pytest.mark.parametrize(
    ("settings", "network", "fault", "said", "pins"),
    [
        (
            *(SETTINGS, BOX, WELDED, "the relay is off and the air was heated"),
            {(False, False), (False, True)},
        ),
        (
            *(ZONED_SETTINGS, ZONED, STUCK, "Contactor stuck on"),
            {(False, False), (False, True), (True, False)},
        ),
    ],
    ids=["relay", "contactor"],
)
def test_a_weld_is_told_and_stays_tripped(
    folder: Path,
    settings: Settings,
    network: Network | ZonedOven,
    fault: FaultAt,
    said: str,
    pins: set[tuple[bool, bool]],
) -> None:
    bench = Bench(folder, settings, network, (fault,))
    found = bench.run()
    assert found["switches"].rating is WRONG
    assert said in found["switches"].sentence
    assert "Pull the heater's plug" in found["switches"].sentence
    assert bench.pins_seen == pins, "and both were never closed together"
    again = Daemon(bench.settings, PacedClock(SPEED, 1.7e9), SPEED)
    assert again.loop.latch.trip == "heater-stuck-on", "until a person resets it"
    again.outputs.close()


def test_no_heat_at_all_proves_nothing(folder: Path) -> None:
    found = Bench(folder, faults=(DEAD,)).run()
    assert found["switches"].rating is WRONG
    assert "Nothing is proven" in found["switches"].sentence
    assert found["Air answers"].rating is WRONG
    assert "Has the heater power" in found["Air answers"].sentence


def test_limits_that_nothing_may_be_heated_with_are_refused(folder: Path) -> None:
    limits = SETTINGS.limits.model_copy(update={"heater_c": 200.0})
    bench = Bench(folder, SETTINGS.model_copy(update={"limits": limits}))
    with pytest.raises(BadInput, match=r"limits\.heater_c is 200"):
        bench.run()
    assert bench.pins_seen == {(False, False)}
    assert bench.oven.energy_j == 0.0


def test_it_is_no_controller_on_anothers_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Root's files would keep the service out of its own ledger."""
    ledger = tmp_path / "nightcure.ledger"
    refuse_anothers_ledger(ledger)
    ledger.touch()
    refuse_anothers_ledger(ledger)
    other = ledger.stat().st_uid + 1
    monkeypatch.setattr("os.geteuid", lambda: other)
    with pytest.raises(BadInput, match="systemctl start nightcure-controller"):
        refuse_anothers_ledger(ledger)
    ledger.unlink()
    with pytest.raises(BadInput, match="belongs to"):
        refuse_anothers_ledger(ledger)
