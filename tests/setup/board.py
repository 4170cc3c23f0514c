"""A virtual bench for tests: the virtual oven as the process a person starts, and its wires."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from types import TracebackType
from typing import Self

from nightcure.simulate.wires import read_pin
from tests.workshop import wait_for

AIR, LID, RIM, SHED = (f"28-0000000000{x}" for x in ("a1", "b1", "b2", "c1"))


class VirtualBoard:
    """`nightcure demo board` in `folder / "board"`."""

    def __init__(self, folder: Path, *options: str) -> None:
        self.folder = folder / "board"
        self.oven_file = self.folder / "oven.toml"
        self.process = subprocess.Popen(
            [sys.executable, "-m", "nightcure", "demo", "board", str(self.folder), *options],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        )
        self.environment: dict[str, str] = {}
        self.said = ""

    def __enter__(self) -> Self:
        assert self.process.stdout is not None
        for line in self.process.stdout:
            self.said += line
            if "Ctrl-C ends it" in line:
                break
        for line in (self.folder / "env").read_text().splitlines():
            if line.startswith("export "):
                key, _, value = line.removeprefix("export ").partition("=")
                self.environment[key] = value
        sensors = self.folder / "w1"
        wait_for(lambda: any(sensors.glob("28-*/w1_slave")), 20, "the virtual bus")
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        if self.process.poll() is None:
            self.process.kill()
        self.process.communicate(timeout=10)

    def hand(self, which: int) -> None:
        """Take the thermometer of that number in the hand; 0 lets go."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{which}\n")
        self.process.stdin.flush()

    def heater_on(self) -> bool:
        """The heater's pin, seen from outside."""
        return read_pin(self.folder / "pins", 17)
