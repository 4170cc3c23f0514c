"""Reading a ledger: while it is written, thinned, by many threads."""

from __future__ import annotations

import contextlib
import os
import subprocess
import sys
import time
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader, thin
from nightcure.ledger.writer import LedgerLost, LedgerWriter

from .rows import WRITE_ON, begin, row


def test_reading_while_writing_is_never_locked_out(path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", WRITE_ON, str(path)], stdout=subprocess.DEVNULL
    )
    try:
        end_s = time.monotonic() + 20
        reader = None
        while reader is None and time.monotonic() < end_s:
            with contextlib.suppress(BadInput, LedgerLost):
                reader = LedgerReader(path)
        assert reader is not None
        newest, news = -1.0, 0
        while news < 40:
            assert time.monotonic() < end_s + 60, "the writer goes on"
            live = reader.live()
            if live is not None:
                assert live["host_s"] >= newest
                news += live["host_s"] > newest
                newest = live["host_s"]
            reader.samples(1, 100)
    finally:
        process.kill()
        process.wait(10)


@given(
    st.one_of(
        st.lists(st.tuples(*[st.one_of(st.none(), st.floats(-40, 120))] * 3), max_size=20),
        st.lists(
            st.tuples(*[st.one_of(st.none(), st.floats(-40, 120))] * 3), min_size=30, max_size=200
        ),
    ),
    st.integers(2, 24),
)
@hypo(deadline=None)
def test_thinning_keeps_every_peak(rows: list[tuple[float | None, ...]], points: int) -> None:
    series = [list(column) for column in zip(*rows, strict=True)]
    kept = thin(series, points)
    assert kept == sorted(set(kept))
    if not rows:
        assert kept == []
        return
    assert {0, len(rows) - 1} <= set(kept)
    for k in range(3):
        everything = [v for v in series[k] if v is not None]
        left = [series[k][i] for i in kept if series[k][i] is not None]
        if everything:
            assert max(left) == max(everything)  # type: ignore[type-var]
            assert min(left) == min(everything)  # type: ignore[type-var]
    assert len(kept) <= max(points, 2 * len(series)) + 2


def test_samples_come_in_columns_of_one_length(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=False):
        begin(writer)
        for i in range(5000):
            writer.tick(row(i, air_c=90.0 if i == 2345 else 20.0 + i % 7))
    found = LedgerReader(path).samples(1, 200)
    lengths = {len(v) for k, v in found.items() if k != "believed"} | {
        len(v) for v in found["believed"]
    }
    assert len(lengths) == 1
    assert lengths.pop() < 500
    assert max(found["control_c"]) == 90.0
    assert LedgerReader(path).samples(1, 200, after_seq=4990)["seq"] == list(range(4991, 5000))
    writer.close()
    assert not os.path.exists(f"{path}-wal") or os.path.getsize(f"{path}-wal") == 0


def test_samples_of_a_night_without_ticks(path: Path) -> None:
    LedgerWriter(path).close()
    found = LedgerReader(path).samples(1, 100)
    assert set(found) == {
        "seq", "wall_s", "setpoint_c", "control_c", "duty", "heater", "phase", "believed",
    }  # fmt: skip
    assert all(column == [] for column in found.values())


def test_a_reader_serves_many_threads(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=False):
        begin(writer)
        for i in range(2500):
            writer.tick(row(i))
    reader = LedgerReader(path)

    def read(_: int) -> int:
        reader.samples(1, 50)
        return sum(t.seq for t in reader.ticks(1))

    with ThreadPoolExecutor(4) as pool:
        assert list(pool.map(read, range(12))) == [2500 * 2499 // 2] * 12
    writer.close()


def test_a_replay_in_progress_does_not_make_the_wal_grow(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=False):
        begin(writer)
        for i in range(1500):
            writer.tick(row(i))
    ticks = LedgerReader(path).ticks(1)
    assert next(ticks).seq == 0
    with writer.transaction(durable=True):
        writer.live(1.0, "{}")
    assert writer._fold()
    assert [t.seq for t in ticks] == list(range(1, 1500))
    writer.close()


def test_a_ledger_not_yet_made_is_said(path: Path) -> None:
    path.touch()
    with pytest.raises(LedgerLost, match="not made it yet"):
        LedgerReader(path)
    LedgerWriter(path).close()
    assert LedgerReader(path).live() is None


def test_a_ledger_that_is_damaged_later_is_said(path: Path) -> None:
    writer = LedgerWriter(path)
    with writer.transaction(durable=True):
        begin(writer)
        for i in range(500):
            writer.tick(row(i))
    writer.close()
    content = bytearray(path.read_bytes())
    content[8192:] = b"?" * len(content[8192:])
    path.write_bytes(content)
    with pytest.raises((LedgerLost, BadInput), match="ledger"):
        list(LedgerReader(path).ticks(1))
