"""A virtual bench in a folder: the scenario's box in real time behind a 1-Wire tree and pins.

Every other command, run with the folder's `env`, takes it for the board.
"""

from __future__ import annotations

import fcntl
import math
import shlex
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import IO

from ..errors import BadInput
from .faults import FaultAt
from .scenario import BOX, scenario
from .virtual import VirtualOven
from .wired_oven import WiredOven

STEP_S = 0.5
#: A hand warms a probe to this, with this time constant; it cools in air more slowly.
HAND_C, HAND_S, LET_GO_S = 33.0, 12.0, 25.0


class VirtualBoard:
    """The box, its wires and a hand, in `folder`.

    Args:
        sensors: how many of the scenario's thermometers are plugged in, from the first.
        contactor: whether one is wired in series, on the scenario's pin.
        ambient_c: of the shed, and of the box at first.
        on_switch: told when the heater begins or ends to draw power.

    Raises:
        BadInput: the folder cannot be used.
    """

    def __init__(
        self,
        folder: Path,
        sensors: int,
        contactor: bool,
        ambient_c: float,
        faults: tuple[FaultAt, ...] = (),
        on_switch: Callable[[bool], None] = lambda _: None,
    ) -> None:
        settings, _ = scenario()
        self.folder = folder
        self.heater_pin = settings.heater.pin
        self.contactor_pin = settings.contactor.pin if contactor and settings.contactor else None
        self.thermometers = settings.thermometers[:sensors]
        self.stopping = threading.Event()
        self._on_switch = on_switch
        self._added_k = dict.fromkeys((t.id for t in self.thermometers), 0.0)
        self._lock = _hold(folder)
        self._hand = folder / "hand"
        self._hand.write_text("0\n", encoding="ascii")
        oven = VirtualOven(BOX, self.thermometers, lambda _: ambient_c, faults=faults)
        self._wired = WiredOven(
            folder,
            oven,
            self.thermometers,
            settings.heater,
            settings.contactor if contactor else None,
        )
        exports = [f"export {k}={shlex.quote(v)}" for k, v in self._wired.environment.items()]
        env = "# Commands run in this shell take the virtual oven for the board.\n"
        (folder / "env").write_text(env + "\n".join(exports) + "\n", encoding="utf-8")

    def run(self) -> None:
        """Let the oven live in real time until `stopping` is set; then the sensors are unplugged.

        The folder and what others put there stay.
        """
        heating = False
        last_s = time.monotonic()
        try:
            while not self.stopping.is_set():
                now_s = time.monotonic()
                self._wired.step(max(now_s - last_s, 0.001))
                self._warm(now_s - last_s)
                last_s = now_s
                self._wired.put(self._added_k)
                if self._wired.oven.heating is not heating:
                    heating = not heating
                    self._on_switch(heating)
                self.stopping.wait(STEP_S)
        finally:
            shutil.rmtree(self._wired.bus, ignore_errors=True)
            self._lock.close()

    def take(self, which: str) -> None:
        """Take a thermometer in the hand: its number in the list, or 0 for none."""
        self._hand.write_text(f"{which}\n", encoding="utf-8")

    def _warm(self, dt_s: float) -> None:
        held = self._held()
        said_c = self._wired.oven.sense()
        for t, said in zip(self.thermometers, said_c, strict=True):
            goal_k = HAND_C - (said.value_c or HAND_C) if t.id == held else 0.0
            keep = math.exp(-dt_s / (HAND_S if t.id == held else LET_GO_S))
            self._added_k[t.id] = goal_k + keep * (self._added_k[t.id] - goal_k)

    def _held(self) -> str | None:
        """The id in the hand, by the folder's file `hand`; anything odd there is an empty hand."""
        try:
            number = int(self._hand.read_text(encoding="utf-8"))
        except (OSError, ValueError):
            return None
        return self.thermometers[number - 1].id if 0 < number <= len(self.thermometers) else None


def _hold(folder: Path) -> IO[bytes]:
    """The folder made and locked for this process."""
    try:
        folder.mkdir(parents=True, exist_ok=True)
        lock = open(folder / "virtual.lock", "ab")  # noqa: SIM115 (held for life)
    except OSError as error:
        raise BadInput(f"{folder} cannot be used: {error.strerror}; name another folder.") from None
    try:
        fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        lock.close()
        raise BadInput(
            f"{folder} has a virtual oven running already; use that one or name another folder."
        ) from None
    return lock
