"""A workshop for process tests: the virtual oven in real time behind real wires, and the real
controller as a process of its own, watched from outside.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from nightcure.errors import NightcureError
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.reader import LedgerReader
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.simulate.scenario import BOX, OVEN_FILE, scenario
from nightcure.simulate.virtual import VirtualOven
from nightcure.simulate.wires import W1Tree, bench_environment, read_pin
from tests.stalls import PATCH

HEATER_PIN, CONTACTOR_PIN = 17, 27
#: A steep ramp and a regulator without shades: the heater is on without a pause from a tenth of a
#: kelvin below the setpoint on, so that whatever puts it off is not the regulator.
WITHOUT_A_PAUSE = {
    "ramp_c_per_h = 25.0": "ramp_c_per_h = 120.0",
    'kind = "pid"': 'kind = "bang-bang"',
    "hysteresis_c = 0.5": "hysteresis_c = 0.1",
}


def wait_for(what: Callable[[], Any], within_s: float, why: str) -> float:
    """Poll until `what()` is true; how long it took (s)."""
    began_s = time.monotonic()
    while time.monotonic() - began_s < within_s:
        if what():
            return time.monotonic() - began_s
        time.sleep(0.01)
    raise AssertionError(f"not within {within_s:g} s: {why}")


class Workshop:
    """One oven, its wires and its processes, in a folder."""

    def __init__(self, folder: Path, start_c: float = 20.0) -> None:
        self.folder = folder
        settings, profile = scenario()
        self.settings = settings
        self.profile = profile.model_dump(mode="json")
        self.oven_file = folder / "oven.toml"
        text = OVEN_FILE.read_text()
        for plain, changed in WITHOUT_A_PAUSE.items():
            assert text.count(plain) == 1, plain
            text = text.replace(plain, changed)
        self.oven_file.write_text(text)
        self.ledger = folder / "nightcure.ledger"
        self.pins = folder / "pins"
        self.env = {
            **os.environ,
            "NIGHTCURE_W1_ROOT": str(folder / "w1"),
            **bench_environment(self.pins),
        }
        ids = [t.id for t in settings.thermometers]
        self.tree = W1Tree(folder / "w1", ids)
        self._start_c = start_c
        self.cool()
        self._reader: LedgerReader | None = None
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self.processes: list[subprocess.Popen[str]] = []

    def with_stalls(self) -> None:
        """From now on `stall` makes threads of a controller hang."""
        patch = self.folder / "patch"
        patch.mkdir()
        (patch / "sitecustomize.py").write_text(PATCH.replace("STALLS", str(self.folder)))
        self.env["PYTHONPATH"] = str(patch)

    def stall(self, thread: str) -> None:
        """A thread of the controller hangs: see `tests.stalls`."""
        (self.folder / f"stall-{thread}").touch()

    def cool(self) -> None:
        """The oven as it was at the start."""
        self._oven = VirtualOven(
            BOX, self.settings.thermometers, lambda _: 5.0, start_c=self._start_c
        )

    def __enter__(self) -> Self:
        self._thread.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        for process in self.processes:
            if process.poll() is None:
                process.send_signal(signal.SIGCONT)
                process.kill()
                process.wait(10)
        self._stopping.set()
        self._thread.join(5)

    def _live(self) -> None:
        ids = [t.id for t in self.settings.thermometers]
        while not self._stopping.is_set():
            self._oven.step(0.5, self.heater_on(), self.contactor_on())
            for sensor_id, said in zip(ids, self._oven.sense(), strict=True):
                if said.value_c is not None:
                    self.tree.set_c(sensor_id, said.value_c)
            self._stopping.wait(0.5)

    def heater_on(self) -> bool:
        """The heater's pin, seen from outside the controller."""
        return read_pin(self.pins, HEATER_PIN)

    def contactor_on(self) -> bool:
        """The contactor's pin, seen from outside the controller."""
        return read_pin(self.pins, CONTACTOR_PIN)

    def spawn(self, *arguments: str) -> subprocess.Popen[str]:
        """Start a process with the workshop's wires."""
        log = open(self.folder / f"log-{len(self.processes)}.txt", "w+")  # noqa: SIM115
        process = subprocess.Popen(
            arguments, env=self.env, cwd=self.folder, stdout=log, stderr=log, text=True
        )
        self.processes.append(process)
        return process

    def nightcure(self, *arguments: str) -> subprocess.Popen[str]:
        """Start a nightcure command."""
        return self.spawn(sys.executable, "-m", "nightcure", *arguments)

    def controller(self) -> subprocess.Popen[str]:
        """Start the controller and wait until it writes its live state."""
        process = self.nightcure("controller", str(self.oven_file))
        began = time.time()
        wait_for(lambda: process.poll() is not None or self.host_s() > began, 30, "a live state")
        assert process.poll() is None, self.log()
        return process

    def log(self) -> str:
        """What the last process said."""
        return (self.folder / f"log-{len(self.processes) - 1}.txt").read_text()

    def host_s(self) -> float:
        """When the controller wrote last."""
        live = self.live()
        return 0.0 if live is None else float(live["host_s"])

    def live(self) -> dict[str, Any] | None:
        """The live state."""
        try:
            if self._reader is None:
                self._reader = LedgerReader(self.ledger)
            return self._reader.live()
        except NightcureError:
            return None

    def command(self, word: str, args: dict[str, Any] | None = None) -> tuple[str, str]:
        """Ask the controller for something, as the page does."""
        inbox = Inbox(self.ledger)
        number = inbox.put(word, args or {}, "test", time.time())
        wait_for(lambda: inbox.outcome(number), 10, f"an answer to {word}")
        outcome = inbox.outcome(number)
        inbox.close()
        assert outcome is not None
        return outcome

    def start_heating(self, within_s: float = 30.0) -> None:
        """Start a night that heats at full power, and wait until the pin is on."""
        segments = [
            {"kind": "soak", "at_c": 45.0, "hours": 8.0},
        ]
        profile = {"name": "Hot", "lag_c": 30.0, "band_c": 2.0, "segments": segments}
        outcome, message = self.command("start", {"profile": profile, **ALL_CONFIRMED})
        assert outcome == "done", message
        wait_for(self.heater_on, within_s, "the heater's pin on")
