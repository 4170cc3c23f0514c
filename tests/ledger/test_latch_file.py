"""The trip latch on the disk: torn writes, a full disk, a folder that is gone."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from pathlib import Path

import pytest

from nightcure.ledger.file import LedgerInUse
from nightcure.ledger.latch_file import (
    NAME,
    SLOT,
    Latch,
    LatchFile,
    LatchLost,
    read_latch,
    state_folder,
)

ARMED = Latch("armed", "t1", 1000.0)
TRIPPED = Latch("tripped", "t2", 2000.0, "over-temperature", "The air is at 62.0 °C.")
CLEAR = Latch("clear", "t3", 3000.0)


@pytest.fixture
def latch(tmp_path: Path) -> LatchFile:
    return LatchFile(tmp_path)


def test_what_is_written_is_read_back_by_whoever_asks(latch: LatchFile, tmp_path: Path) -> None:
    assert latch.says == Latch("missing")
    for said in (ARMED, TRIPPED, CLEAR, ARMED, CLEAR):
        latch.write(said)
        assert read_latch(tmp_path) == said
        assert latch.stands()
    latch.close()
    assert LatchFile(tmp_path).says == CLEAR


def test_a_write_torn_at_any_byte_leaves_what_was_said_before_or_what_is_said_now(
    latch: LatchFile, tmp_path: Path
) -> None:
    """At every byte where the slots differ, and with the rest of the block lost."""
    file = tmp_path / NAME
    latch.write(CLEAR)
    latch.write(ARMED)
    before = file.read_bytes()
    latch.write(TRIPPED)
    after = file.read_bytes()
    changed = [i for i in range(len(after)) if before[i] != after[i]]
    assert changed
    assert max(changed) // SLOT == min(changed) // SLOT, "one slot, one block"
    for cut in range(min(changed), max(changed) + 2):
        file.write_bytes(after[:cut] + before[cut:])
        said = read_latch(tmp_path)
        assert said.state in ("armed", "tripped")
        assert said._replace(torn=False) in (ARMED, TRIPPED)
        whole = cut <= min(changed) or cut > max(changed)
        assert said.torn is not whole
        block = min(changed) // SLOT * SLOT
        file.write_bytes(after[:block] + os.urandom(SLOT) + after[block + SLOT :])
        assert read_latch(tmp_path) == ARMED._replace(torn=True)


def test_after_a_torn_write_it_is_whole_again(latch: LatchFile, tmp_path: Path) -> None:
    file = tmp_path / NAME
    for _ in range(2):  # either slot
        latch.write(ARMED)
        at = file.read_bytes()
        newest = at.rindex(b"t1") // SLOT
        latch.write(TRIPPED)
        data = bytearray(file.read_bytes())
        data[(1 - newest) * SLOT] ^= 0xFF
        file.write_bytes(bytes(data))
        assert read_latch(tmp_path).torn
        latch.write(CLEAR)
        assert read_latch(tmp_path) == CLEAR


@pytest.mark.parametrize("data", [b"", b"{}", b"\0" * 8192, os.urandom(8192), b"clear\n" * 2000])
def test_a_file_that_is_no_latch_is_unreadable_and_is_made_anew(
    latch: LatchFile, tmp_path: Path, data: bytes
) -> None:
    (tmp_path / NAME).write_bytes(data)
    assert read_latch(tmp_path).state == "unreadable"
    latch.write(TRIPPED)
    assert read_latch(tmp_path) == TRIPPED


def test_a_sentence_of_any_length_and_letters_fits(latch: LatchFile, tmp_path: Path) -> None:
    latch.write(TRIPPED._replace(message="\U0001f525°" * 1000, trip="x" * 60))
    assert read_latch(tmp_path).state == "tripped"
    assert (tmp_path / NAME).stat().st_size == 2 * SLOT


FULL = """
import resource, signal, sys
from pathlib import Path
from nightcure.ledger.latch_file import *
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
folder = Path(sys.argv[1])
if sys.argv[2] == "made before":
    first = LatchFile(folder)
    first.write(Latch("armed", "t1", 1.0))
    first.close()
# No file may grow beyond one slot from here on, as on a full disk.
resource.setrlimit(resource.RLIMIT_FSIZE, (4096 if sys.argv[2] == "new" else 8192, -1))
latch = LatchFile(folder)
for state in ("tripped", "clear", "armed"):
    try:
        latch.write(Latch(state, "t", 2.0))
        print(read_latch(folder).state)
    except LatchLost as error:
        print("lost")
"""


@pytest.mark.parametrize(
    ("when", "said"), [("made before", ["tripped", "clear", "armed"]), ("new", ["lost"] * 3)]
)
def test_changing_it_takes_no_room_on_the_disk(when: str, said: list[str], tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", FULL, str(tmp_path), when],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.stdout.split() == said, done.stderr
    assert when == "made before" or read_latch(tmp_path).state == "missing"


def test_what_cannot_be_synced_is_lost(
    latch: LatchFile, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    latch.write(CLEAR)

    def broken(fd: int) -> None:
        raise OSError(errno.EIO, os.strerror(errno.EIO))

    monkeypatch.setattr(os, "fsync", broken)
    with pytest.raises(LatchLost, match="cannot be written: Input/output error"):
        latch.write(ARMED)


def test_what_does_not_read_as_it_was_written_is_lost(
    latch: LatchFile, monkeypatch: pytest.MonkeyPatch
) -> None:
    latch.write(CLEAR)
    monkeypatch.setattr(os, "pwrite", lambda fd, data, at: len(data))
    with pytest.raises(LatchLost, match="does not read as it was written"):
        latch.write(ARMED)


def test_a_file_that_is_removed_no_longer_stands_and_is_made_anew(
    latch: LatchFile, tmp_path: Path
) -> None:
    latch.write(ARMED)
    (tmp_path / NAME).unlink()
    assert not latch.stands()
    latch.write(ARMED)
    assert latch.stands()


def test_without_its_folder_there_is_no_latch(tmp_path: Path) -> None:
    folder = tmp_path / "state"
    with pytest.raises(LatchLost, match="cannot be used: No such file"):
        LatchFile(folder)
    folder.mkdir()
    latch = LatchFile(folder)
    latch.write(ARMED)
    folder.rename(tmp_path / "elsewhere")
    assert not latch.stands()
    with pytest.raises(LatchLost):
        latch.write(ARMED)


def test_one_controller_to_a_folder(latch: LatchFile, tmp_path: Path) -> None:
    with pytest.raises(LedgerInUse, match="in use by another controller"):
        LatchFile(tmp_path)
    latch.close()
    LatchFile(tmp_path).close()


def test_it_lies_in_the_services_folder_else_beside_the_ledger(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """STATE_DIRECTORY: systemd.exec(5), a list separated by colons."""
    monkeypatch.delenv("STATE_DIRECTORY", raising=False)
    assert state_folder(tmp_path / "n.ledger") == tmp_path
    monkeypatch.setenv("STATE_DIRECTORY", "/var/lib/nightcure:/var/lib/other")
    assert state_folder(tmp_path / "n.ledger") == Path("/var/lib/nightcure")
