"""The ledger survives kill -9 at any moment, a full disk and one that does not sync."""

from __future__ import annotations

import contextlib
import random
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerInUse, LedgerLost, LedgerWriter

from .rows import WRITE_ON, begin, event, row


def test_a_second_writer_is_refused_until_the_first_is_gone(path: Path) -> None:
    code = (
        "import sys; from pathlib import Path; from nightcure.ledger.writer import LedgerWriter; "
        "w = LedgerWriter(Path(sys.argv[1])); print('held', flush=True); sys.stdin.read()"
    )
    first = subprocess.Popen(
        [sys.executable, "-c", code, str(path)],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
    )  # fmt: skip
    assert first.stdout is not None
    assert first.stdout.readline() == "held\n"
    with pytest.raises(LedgerInUse, match="in use by another controller"):
        LedgerWriter(path)
    first.kill()
    first.wait(10)
    LedgerWriter(path).close()


def test_kill_9_at_any_moment_loses_no_event_that_was_written(path: Path) -> None:
    rng = random.Random(1)
    told: list[int] = []
    for _ in range(25):
        process = subprocess.Popen(
            [sys.executable, "-c", WRITE_ON, str(path)], stdout=subprocess.PIPE, text=True
        )
        assert process.stdout is not None
        told.append(int(process.stdout.readline()))
        time.sleep(rng.uniform(0.0, 0.25))
        process.kill()
        told += [int(line) for line in process.stdout.read().splitlines(keepends=True)
                 if line.endswith("\n")]  # fmt: skip
        process.wait(10)
        with contextlib.closing(sqlite3.connect(path)) as db:
            assert db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    kept = {int(e["message"]) for e in LedgerReader(path).events(1, limit=10**6)}
    assert len(told) > 100
    assert set(told) <= kept
    seqs = [t.seq for t in LedgerReader(path).ticks(1)]
    assert seqs == list(range(len(seqs))), "no tick is missing or twice"


def test_a_full_disk_is_said_and_got_over(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=True):
        begin(writer)
    pages = writer._db.execute("PRAGMA page_count").fetchone()[0]
    writer._db.execute(f"PRAGMA max_page_count={pages + 3}")
    written = 0

    def fill() -> None:
        nonlocal written
        for seq in range(400):
            with writer.transaction(durable=False):
                writer.tick(row(seq))
                writer.event(event("e" * 200, seq))
            written += 1

    with pytest.raises(LedgerLost, match="cannot be written: database or disk is full"):
        fill()
    lost = written
    assert 0 < lost < 400
    writer._db.execute("PRAGMA max_page_count=1000000")
    with writer.transaction(durable=True):
        writer.tick(row(lost))
        writer.event(event("back", lost))
    reader = LedgerReader(path)
    assert [t.seq for t in reader.ticks(1)] == list(range(lost + 1))
    assert reader.events(1, limit=1000)[-1]["message"] == "back"
    writer.close()


def test_events_kept_by_the_caller_are_neither_lost_nor_doubled_by_a_full_disk(path: Path) -> None:
    """Space comes and goes; the caller tries each batch again until it is taken."""
    writer = LedgerWriter(path)
    with writer.transaction(durable=True):
        begin(writer)
    refused = 0
    for seq in range(300):
        pages = writer._db.execute("PRAGMA page_count").fetchone()[0]
        writer._db.execute(f"PRAGMA max_page_count={pages + seq % 2}")
        while True:
            try:
                with writer.transaction(durable=seq % 5 == 0):
                    writer.tick(row(seq))
                    writer.event(event(f"{seq} " + "e" * 900, seq))
                    writer.live(float(seq), "x" * (50 * seq))
                break
            except LedgerLost:
                refused += 1
                writer._db.execute("PRAGMA max_page_count=1000000")
    assert refused > 50
    events = LedgerReader(path).events(1, limit=1000)
    assert [int(e["message"].split()[0]) for e in events] == list(range(300))
    assert [t.seq for t in LedgerReader(path).ticks(1)] == list(range(300))
    assert writer._db.execute("PRAGMA integrity_check").fetchone() == ("ok",)
    writer.close()


REAL_FULL = """
import resource, signal, sys
from pathlib import Path
from nightcure.ledger.writer import *
signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
w = LedgerWriter(Path(sys.argv[1]))
with w.transaction(durable=True):
    w.begin_night(oven="O", profile="{}", settings="{}", version="0", opening="{}", started_s=1e9)
resource.setrlimit(resource.RLIMIT_FSIZE, (120_000, resource.RLIM_INFINITY))
lost = 0
for seq in range(3000):
    try:
        with w.transaction(durable=True):
            w.tick(TickRow(1, seq, 0.0, 1e9, "{}", 1, 1, "ramp", 0, 1.0, 1.0, 0.5, "[]", "x" * 300))
    except LedgerLost:
        lost += 1
        if lost == 3:
            resource.setrlimit(resource.RLIMIT_FSIZE, (-1, -1))
            with w.transaction(durable=True):
                w.event(EventRow(1, seq, 0.0, 1e9, "note", "n", None, "again"))
            break
print(lost, w._db.execute("PRAGMA integrity_check").fetchone()[0])
"""


def test_the_kernels_own_refusal_to_write_more_is_got_over(path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", REAL_FULL, str(path)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.stdout.split() == ["3", "ok"], done.stderr
    assert LedgerReader(path).events(1)[-1]["message"] == "again"


def test_only_a_durable_transaction_asks_for_the_sync(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=True):
        begin(writer)
    assert writer._db.execute("PRAGMA synchronous").fetchone()[0] == 2
    with writer.transaction(durable=False):
        writer.tick(row(0))
        assert writer._db.execute("PRAGMA synchronous").fetchone()[0] == 1
    assert writer._db.execute("PRAGMA journal_mode").fetchone()[0] == "wal"
    writer.close()


NO_SYNC = """
import ctypes, os, platform, struct, sys
from pathlib import Path
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import *

path = Path(sys.argv[1])
w = LedgerWriter(path)
def write(seq, durable):
    with w.transaction(durable=durable):
        w.tick(TickRow(1, seq, 0.0, 1e9, "{}", 1, 1, "ramp", 0, 1.0, 1.0, 0.5, "[]", "{}"))
        w.event(EventRow(1, seq, 0.0, 1e9, "note", "n", None, str(seq)))
with w.transaction(durable=True):
    w.begin_night(oven="O", profile="{}", settings="{}", version="0", opening="{}", started_s=1e9)
reader = LedgerReader(path)
told = lambda: [e["message"] for e in reader.events(1)]

# From here on the kernel answers fsync and fdatasync with EIO (man 2 seccomp; the numbers are from
# the kernel's tables of system calls).
calls = {"x86_64": (74, 75), "aarch64": (82, 83), "armv7l": (118, 148)}[platform.machine()]
code = b"".join(struct.pack("HBBI", *line) for line in (
    (0x20, 0, 0, 0),                 # load the number of the call
    (0x15, 1, 0, calls[0]),
    (0x15, 0, 1, calls[1]),
    (0x06, 0, 0, 0x00050000 | 5),    # SECCOMP_RET_ERRNO, EIO
    (0x06, 0, 0, 0x7FFF0000),        # SECCOMP_RET_ALLOW
))
hold = ctypes.create_string_buffer(code)
class Program(ctypes.Structure):
    _fields_ = [("length", ctypes.c_ushort), ("code", ctypes.c_void_p)]
libc = ctypes.CDLL(None, use_errno=True)
prctl = libc.prctl
prctl.argtypes = [ctypes.c_int] + [ctypes.c_ulong] * 4
assert prctl(38, 1, 0, 0, 0) == 0, "no new privileges"
program = Program(5, ctypes.addressof(hold))
assert prctl(22, 2, ctypes.addressof(program), 0, 0) == 0, "filter"
try:
    os.fsync(1)
    sys.exit("the filter does not work")
except OSError as error:
    assert error.errno == 5

write(0, durable=False)
print(told())
for _ in range(3):
    try:
        write(1, durable=True)
        print("no sync was asked for")
    except LedgerLost as error:
        print(error)
print(told())
write(1, durable=False)
print(told(), flush=True)
os._exit(0)
"""


def test_a_durable_commit_syncs_and_fails_if_the_sync_does_and_no_other_does(path: Path) -> None:
    """That a sync takes all that was written to the file before with it: man 2 fdatasync."""
    done = subprocess.run(
        [sys.executable, "-c", NO_SYNC, str(path)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    lost = f"The ledger {path} cannot be written: disk I/O error."
    expected = ["['0']", lost, lost, lost, "['0']", "['0', '1']"]
    assert done.stdout.splitlines() == expected, done.stderr
    writer = LedgerWriter(path)
    assert [e["message"] for e in LedgerReader(path).events(1)] == ["0", "1"]
    assert writer.last_seq(1) == 1
    writer.close()


def test_after_an_error_the_wal_is_emptied_at_the_next_durable_commit(path: Path) -> None:
    """A sync that failed may have left a hole in it, behind which nothing is found again."""
    writer = LedgerWriter(path)
    wal = Path(f"{path}-wal")
    with writer.transaction(durable=True):
        begin(writer)
    assert wal.stat().st_size > 0
    with pytest.raises(LedgerLost), writer.transaction(durable=False):
        raise sqlite3.OperationalError("disk I/O error")
    with writer.transaction(durable=False):
        writer.tick(row(0))
    assert wal.stat().st_size > 0
    with writer.transaction(durable=True):
        writer.tick(row(1))
    assert wal.stat().st_size == 0
    with writer.transaction(durable=True):
        writer.tick(row(2))
    assert wal.stat().st_size > 0, "once only"
    assert [t.seq for t in LedgerReader(path).ticks(1)] == [0, 1, 2]
    writer.close()
