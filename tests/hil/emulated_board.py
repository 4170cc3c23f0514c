"""One emulated board in an oven that is not in it: wires, commands, and what its lines do."""

from __future__ import annotations

import threading
import time
from contextlib import suppress
from typing import Any

from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.simulate.scenario import BOX, scenario
from nightcure.simulate.virtual import VirtualOven
from tests.hil.machine import Machine
from tests.workshop import wait_for

CONTROLLER = "nightcure-controller"
OVEN = "/etc/nightcure/oven.toml"
#: A soak that the oven does not reach in the time of a trial: it heats without a pause.
HOT = {
    "name": "Hot", "lag_c": 30.0, "band_c": 2.0,
    "segments": [{"kind": "soak", "at_c": 50.0, "hours": 8.0}],
}  # fmt: skip
START_C, AMBIENT_C = 36.0, 15.0


class Board:
    """One emulated board in the scenario's oven, which lives on when the board does not."""

    def __init__(self, machine: Machine) -> None:
        self.machine = machine
        self.settings, _ = scenario()
        self.ids = [t.id for t in self.settings.thermometers]
        self.modes = dict.fromkeys(self.ids, "ok")
        self.cool()
        self._ending = threading.Event()
        self._thread = threading.Thread(target=self._live, daemon=True)
        self._thread.start()

    def cool(self) -> None:
        """The oven as it was at the start."""
        self.oven = VirtualOven(
            BOX, self.settings.thermometers, lambda _: AMBIENT_C, start_c=START_C
        )

    def close(self) -> None:
        """Pull the plug, and let the oven be."""
        self._ending.set()
        self._thread.join(10)
        self.machine.cut()

    def _live(self) -> None:
        last_s = time.monotonic()
        while not self._ending.is_set():
            now_s = time.monotonic()
            self.oven.step(max(now_s - last_s, 0.01), *self.machine.lines)
            last_s = now_s
            self.machine.tell("control", lines=self.wires())
            self._ending.wait(1.0)

    def wires(self) -> list[str]:
        """Every thermometer as the simulated bus master is told of it."""
        return [
            f"sensor 1 {i.removeprefix('28-')} {round((said.value_c or 0.0) * 16)} {self.modes[i]}"
            for i, said in zip(self.ids, self.oven.sense(), strict=True)
        ]

    # ---- asked and done --------------------------------------------------------------------------

    def sh(self, text: str, check: bool = True) -> str:
        return self.machine.sh(text, check)

    def command(self, word: str, **args: Any) -> None:
        """Ask the controller, which must do it."""
        outcome = self.machine.ask("command", word=word, args=args)
        assert outcome[0] == "done", outcome

    def start(self, profile: dict[str, Any]) -> None:
        """A night, with every confirmation."""
        self.command("start", profile=profile, **ALL_CONFIRMED)

    def status(self) -> dict[str, Any]:
        """What the controller shows of itself."""
        told: dict[str, Any] = self.machine.ask("status") or {"phase": "none", "thermometers": []}
        return told

    def phase(self) -> str:
        return str(self.status()["phase"])

    def until_off(self, text: str, within_s: float) -> float:
        """From a command to the heater's line being low, s by the board's own clock."""
        took_s = float(self.machine.ask("until", level=False, within_s=within_s, text=text))
        assert took_s >= 0.0, f"not off within {within_s:g} s: {text}"
        return took_s

    def heats(self, within_s: float = 300.0) -> None:
        """Wait until the heater's line is high, whatever it takes: a start, a reset first."""

        def on() -> bool:
            if self.machine.lines == (True, True):
                return True
            self.sh(f"systemctl reset-failed {CONTROLLER}; systemctl start {CONTROLLER}", False)
            with suppress(AssertionError):  # it may have no ledger still, or be about to end
                phase = self.phase()
                if phase == "tripped":
                    self.command("reset")
                elif phase in ("idle", "done"):
                    self.cool()
                    self.start(HOT)
            time.sleep(1.0)
            return False

        wait_for(on, within_s, "the heater on")

    def offs(self) -> int:
        """How often the off command has said that everything is off."""
        return self.sh(f"journalctl -u {CONTROLLER} --no-pager").count("Off: heater (GPIO17)")
