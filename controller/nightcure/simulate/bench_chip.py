"""A GPIO chip in a folder, at the interface of the kernel project's binding (gpiod 2).

The folder stands for /dev: `gpiochip0` is the chip, `gpio17` holds "0" or "1", what line 17 is
driven to, and stays so whatever becomes of the process, as on the Raspberry Pi's kernel. A line is
held by one process at a time. What the board's room uses of gpiod is here, no more.
"""

from __future__ import annotations

import errno
import fcntl
import os
from contextlib import suppress
from enum import Enum
from pathlib import Path
from types import SimpleNamespace, TracebackType
from typing import NamedTuple, Self

LABEL, LINES = "pinctrl-bcm2835", 54


class Value(Enum):
    """Logical states of a line."""

    INACTIVE = 0
    ACTIVE = 1


class Direction(Enum):
    """Directions of a line."""

    AS_IS = 1
    INPUT = 2
    OUTPUT = 3


class Bias(Enum):
    """Pulls of a line."""

    AS_IS = 1
    PULL_UP = 4


line = SimpleNamespace(Value=Value, Direction=Direction, Bias=Bias)


class LineSettings(NamedTuple):
    """What is asked of a line."""

    direction: Direction = Direction.AS_IS
    bias: Bias = Bias.AS_IS
    output_value: Value = Value.INACTIVE


class ChipInfo(NamedTuple):
    """What a chip is."""

    name: str
    label: str
    num_lines: int


class LineInfo(NamedTuple):
    """Who has a line."""

    offset: int
    used: bool
    consumer: str


class LineRequest:
    """Lines held by this process."""

    def __init__(
        self, folder: Path, config: dict[int, LineSettings | None], consumer: str | None
    ) -> None:
        self._folder = folder
        self._holds: list[int] = []
        self._pulled_up: set[int] = set()
        try:
            for offset, settings in config.items():
                self._hold(offset, consumer or "?")
                asked = settings or LineSettings()
                if asked.direction is Direction.OUTPUT:
                    self.set_value(offset, asked.output_value)
                elif asked.bias is Bias.PULL_UP:
                    self._pulled_up.add(offset)
        except OSError:
            self.release()
            raise

    def _hold(self, offset: int, consumer: str) -> None:
        if not 0 <= offset < LINES:
            raise ValueError("line offset of out range")
        lock = os.open(self._folder / f"gpio{offset}.lock", os.O_RDWR | os.O_CREAT, 0o644)
        try:
            fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError:
            os.close(lock)
            raise OSError(errno.EBUSY, os.strerror(errno.EBUSY)) from None
        os.ftruncate(lock, 0)
        os.pwrite(lock, consumer.encode(), 0)
        self._holds.append(lock)

    def set_value(self, line: int, value: Value) -> None:
        """Drive a line; one byte in place, so that a watcher never sees the file empty."""
        state = os.open(self._folder / f"gpio{line}", os.O_WRONLY | os.O_CREAT, 0o644)
        try:
            os.pwrite(state, b"1" if value is Value.ACTIVE else b"0", 0)
        finally:
            os.close(state)

    def get_value(self, line: int) -> Value:
        """What a line is at; one that nobody drives is at its pull."""
        try:
            high = (self._folder / f"gpio{line}").read_bytes() == b"1"
        except FileNotFoundError:
            high = line in self._pulled_up
        return Value.ACTIVE if high else Value.INACTIVE

    def release(self) -> None:
        """Let go of the lines; what they were driven to stays."""
        holds, self._holds = self._holds, []
        for lock in holds:
            os.close(lock)


class Chip:
    """The chip at `path`, which is a file in the folder of its lines."""

    def __init__(self, path: str) -> None:
        self._path = Path(path)
        if not self._path.is_file():
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), path)

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        self.close()

    def close(self) -> None:
        """Nothing is kept open."""

    def get_info(self) -> ChipInfo:
        """Its name, and the label by which a Raspberry Pi's is known."""
        return ChipInfo(self._path.name, LABEL, LINES)

    def get_line_info(self, line: int) -> LineInfo:
        """Who holds a line."""
        with suppress(FileNotFoundError), open(self._path.parent / f"gpio{line}.lock") as lock:
            try:
                fcntl.flock(lock, fcntl.LOCK_SH | fcntl.LOCK_NB)
            except OSError:
                return LineInfo(line, True, lock.read())
        return LineInfo(line, False, "")


def request_lines(
    path: str, config: dict[int, LineSettings | None], consumer: str | None = None
) -> LineRequest:
    """Take lines of the chip at `path` for this process alone."""
    with Chip(path):
        return LineRequest(Path(path).parent, config, consumer)
