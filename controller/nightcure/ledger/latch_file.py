"""The trip latch on the disk: a small file of its own that outlasts the ledger and a full disk.

It says `clear`, `armed` (a night is under way) or `tripped`, with the trip's name and sentence. Two
slots of a block each are written in turn, each with a number and a checksum, so that a write that a
power cut tears leaves the one before it whole. Both are there from the beginning: to change what it
says takes no room on the disk.
"""

from __future__ import annotations

import errno
import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import NamedTuple

from ..errors import NightcureError
from .checksum import MARK, intact, with_checksum
from .file import LedgerInUse, sync_folder

NAME = "nightcure.latch"
#: Bytes of a slot: what flash and file systems write at once is seldom larger.
SLOT = 4096
#: Longest sentence kept, characters.
LONGEST = 400

CLEAR, ARMED, TRIPPED = "clear", "armed", "tripped"
#: There is no such file; it is there and cannot be read.
MISSING, UNREADABLE = "missing", "unreadable"


class LatchLost(NightcureError):
    """The latch cannot be written, or does not read as it was written."""


class Latch(NamedTuple):
    """What the file says.

    Attributes:
        state: `clear`, `armed`, `tripped`, `missing` or `unreadable`.
        token: of the night it was armed for; the ledger's snapshot bears the same.
        trip: the interlock's name, and `message` its sentence.
        torn: a write was broken off after this one; what it was to say is not known.
    """

    state: str
    token: str = ""
    wall_s: float = 0.0
    trip: str = ""
    message: str = ""
    torn: bool = False


def state_folder(ledger: Path) -> Path:
    """Where the controller keeps what must outlast the ledger: the service's folder, else its own.

    `STATE_DIRECTORY` is systemd's (systemd.exec, StateDirectory=).
    """
    named = os.environ.get("STATE_DIRECTORY", "").split(":")[0]
    return Path(named) if named else ledger.absolute().parent


def read_latch(folder: Path) -> Latch:
    """What the file in `folder` says; never raises."""
    return _newest(_slots(folder / NAME))[1]


class LatchFile:
    """The latch of one controller, which holds its folder for life.

    Raises:
        LedgerInUse: another controller keeps its latch there.
        LatchLost: there is no such folder, or it cannot be locked.
    """

    def __init__(self, folder: Path) -> None:
        self.path = folder / NAME
        try:
            self._lock = os.open(folder, os.O_RDONLY | os.O_DIRECTORY | os.O_CLOEXEC)
        except OSError as error:
            raise LatchLost(f"The folder {folder} cannot be used: {error.strerror}.") from None
        try:
            fcntl.flock(self._lock, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(self._lock)
            if isinstance(error, BlockingIOError):
                raise LedgerInUse(
                    f"The folder {folder} is in use by another controller; stop that one first, "
                    f"or give each oven's ledger a folder of its own."
                ) from None
            raise LatchLost(f"The folder {folder} cannot be locked: {error.strerror}.") from None
        self.says = read_latch(folder)
        """What it said when it was last read or written."""

    def write(self, latch: Latch) -> None:
        """Say this from now on: written, synced and read back.

        Raises:
            LatchLost: it was not, or nobody knows; what it said before may still stand.
        """
        try:
            number, before = _newest(_slots(self.path))
            if before.state in (MISSING, UNREADABLE):
                self._create(latch)
            else:
                self._put(number + 1, latch)
        except OSError as error:
            raise LatchLost(f"The latch {self.path} cannot be written: {error.strerror}.") from None
        self.says = read_latch(self.path.parent)
        if self.says._replace(torn=False) != _kept(latch):
            raise LatchLost(f"The latch {self.path} does not read as it was written.")

    def stands(self) -> bool:
        """Whether the file is there and says what was written last."""
        return read_latch(self.path.parent) == self.says

    def close(self) -> None:
        """Let go of the folder."""
        os.close(self._lock)

    def _put(self, number: int, latch: Latch) -> None:
        with _opened(self.path, os.O_WRONLY) as fd:
            os.pwrite(fd, _slot(number, latch), (number % 2) * SLOT)
            os.fsync(fd)
            # So that reading it back asks the disk, not the memory.
            with suppress(OSError):
                os.posix_fadvise(fd, 0, 0, os.POSIX_FADV_DONTNEED)

    def _create(self, latch: Latch) -> None:
        beside = self.path.with_name(f".{NAME}.part")
        with _opened(beside, os.O_WRONLY | os.O_CREAT | os.O_TRUNC) as fd:
            both = _slot(0, latch) + _slot(1, latch)
            if os.write(fd, both) < len(both):
                raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
            os.fsync(fd)
        os.replace(beside, self.path)
        sync_folder(self.path)


@contextmanager
def _opened(path: Path, flags: int) -> Iterator[int]:
    fd = os.open(path, flags | os.O_CLOEXEC, 0o640)
    try:
        yield fd
    finally:
        os.close(fd)


def _kept(latch: Latch) -> Latch:
    return latch._replace(message=latch.message[:LONGEST], torn=False)


def as_json(latch: Latch, number: int = 0) -> str:
    """One line of ASCII with a checksum."""
    values = {"number": number, **_kept(latch)._asdict()}
    del values["torn"]
    return with_checksum(0.0, 0.0, json.dumps(values))


def from_json(text: str) -> Latch:
    """What `as_json` wrote; `unreadable` if it is anything else."""
    said = _parsed(text.encode())
    return Latch(UNREADABLE) if said is None else said[1]


def _slot(number: int, latch: Latch) -> bytes:
    return as_json(latch, number).encode("ascii").ljust(SLOT - 1) + b"\n"


def _slots(path: Path) -> list[bytes] | None:
    """The file's slots as they are; None where there is no file."""
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return None
    except OSError:
        return []
    return [data[:SLOT], data[SLOT : 2 * SLOT]]


def _newest(slots: list[bytes] | None) -> tuple[int, Latch]:
    """The newest whole slot's number, and what it says."""
    if slots is None:
        return 0, Latch(MISSING)
    found = [said for slot in slots if (said := _parsed(slot)) is not None]
    if not found:
        return 0, Latch(UNREADABLE)
    number, latch = max(found, key=lambda said: said[0])
    return number, latch._replace(torn=len(found) < 2)


def _parsed(slot: bytes) -> tuple[int, Latch] | None:
    try:
        text = slot.decode("ascii").rstrip()
        if MARK not in text or not intact(0.0, 0.0, text):
            return None
        values = json.loads(text)
        del values["k"]
        number = int(values.pop("number"))
        latch = Latch(**values)
    except (ValueError, KeyError, TypeError):
        return None
    return (number, latch) if latch.state in (CLEAR, ARMED, TRIPPED) else None
