"""What a morning's commands take beside 500 nights, against the same beside one night.

`pytest tests/bench/test_many_nights.py --benchmark-only`; making the ledger takes two minutes.
"""

from __future__ import annotations

import sqlite3
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.report.facts import gather
from nightcure.report.html import page
from nightcure.report.sheet import Extras, sheet
from tests.many_nights import many_nights, one_night

NIGHTS = 500


@pytest.fixture(scope="module")
def few(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One night."""
    path = tmp_path_factory.mktemp("few") / "n.ledger"
    one_night(path)
    return path


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """500 nights."""
    path = tmp_path_factory.mktemp("many") / "n.ledger"
    many_nights(path, NIGHTS)
    return path


def command(path: Path, *words: str) -> float:
    """How long a command takes, s; what was kept of refits is forgotten first."""
    with sqlite3.connect(path) as db:
        db.execute("DELETE FROM refits")
    began_s = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-m", "nightcure", *words, "--ledger", str(path)],
        capture_output=True, text=True, timeout=120, check=False,
    )  # fmt: skip
    took_s = time.perf_counter() - began_s
    assert done.returncode == 0, done.stderr
    return took_s


@pytest.mark.parametrize(
    "words",
    [("record", "last"), ("nights", "check", "last"), ("nights",)],
    ids=lambda words: " ".join(words),
)
def test_a_command_beside_many_nights(
    benchmark: Any, few: Path, many: Path, words: tuple[str, ...]
) -> None:
    """Wanted: 2 s for the record and the check, and no more than beside one night."""
    benchmark.pedantic(lambda: command(many, *words), rounds=3)
    alone_s = min(command(few, *words) for _ in range(3))
    benchmark.extra_info["times one night's"] = round(benchmark.stats["min"] / alone_s, 2)


def test_the_pages_record_beside_many_nights(benchmark: Any, few: Path, many: Path) -> None:
    """Wanted: 2 s."""

    def made(path: Path) -> str:
        reader = LedgerReader(path)
        newest = int(reader.nights(1)[0]["id"])
        return page(sheet(gather(reader, newest), Extras(None, [], None, "", 0.0)))

    assert "</html>" in benchmark.pedantic(lambda: made(many), rounds=3)
    began_s = time.perf_counter()
    made(few)
    alone_s = time.perf_counter() - began_s
    benchmark.extra_info["times one night's"] = round(benchmark.stats["min"] / alone_s, 2)
