"""The ledger's and the replay's speed, measured: `pytest tests/bench --benchmark-only`."""

from __future__ import annotations

import sqlite3
from pathlib import Path
from typing import Any

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.replay.verify import verify
from nightcure.report.facts import gather
from tests.many_nights import one_night

NIGHTS = 1000


@pytest.fixture(scope="module")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The shipped night, whole."""
    path = tmp_path_factory.mktemp("bench") / "n.ledger"
    one_night(path)
    return path


@pytest.fixture(scope="module")
def many(ledger: Path) -> Path:
    """999 more nights' rows beside it."""
    with sqlite3.connect(ledger) as db:
        names = "label, oven, profile, settings, version, opening, started_s, ended_s, outcome"
        for _ in range(NIGHTS - 1):
            db.execute(f"INSERT INTO nights ({names}) SELECT {names} FROM nights WHERE id = 1")
    return ledger


def test_verify_a_whole_night(benchmark: Any, ledger: Path) -> None:
    """Wanted: 10 000 times real time. And what a night takes on the disk: 5 MB at the most."""
    found = benchmark.pedantic(lambda: verify(LedgerReader(ledger), 1), rounds=3)
    assert found.same
    benchmark.extra_info["times real time"] = round(found.length_s / benchmark.stats["min"])
    benchmark.extra_info["ledger of one night, MB"] = round(ledger.stat().st_size / 1e6, 2)


def test_list_a_thousand_nights(benchmark: Any, many: Path) -> None:
    """Wanted: 100 ms."""
    reader = LedgerReader(many)
    assert len(benchmark(lambda: reader.nights(limit=NIGHTS))) == NIGHTS


def test_open_one_night_of_a_thousand(benchmark: Any, many: Path) -> None:
    """The ledger opened, the night's row, its samples and events. Wanted: 1 s."""

    def opened() -> int:
        reader = LedgerReader(many)
        assert reader.night(1) is not None
        return len(reader.samples(1, 600)["seq"]) + len(reader.events(1))

    assert benchmark(opened) > 300


def test_gather_a_record(benchmark: Any, many: Path) -> None:
    """Everything on the morning record but the oven's refit."""
    assert benchmark.pedantic(lambda: gather(LedgerReader(many), 1), rounds=3).outcome == "done"
