"""A power cut at any write: at most ten seconds of samples, and no event, outcome or latch.

A sample; `python -m tests.torn_writes 500` is the whole.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest

from nightcure.ledger.writer import LedgerWriter
from tests import write_log
from tests.torn_writes import MOST_LOST_S, campaign

CUTS = 40


def test_a_power_cut_costs_no_more_than_is_promised() -> None:
    found = [what for _, what in campaign(CUTS)]
    assert [fault for what in found for fault in what.faults] == []
    assert max(what.lost_s for what in found) <= MOST_LOST_S
    assert max(what.ticks for what in found) > 2000, "late cuts, too"
    assert len({what.lost_s for what in found}) > 2, "something is lost at most cuts"


def test_a_ledger_that_is_not_synced_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    real = LedgerWriter.transaction

    @contextmanager
    def never(self: LedgerWriter, durable: bool) -> Iterator[None]:
        with real(self, durable=False):
            yield

    monkeypatch.setattr(LedgerWriter, "transaction", never)
    faults: set[str] = set()
    for _, what in campaign(CUTS):
        faults |= set(what.faults)
        samples = any(fault.endswith("of samples are lost") for fault in faults)
        if samples and "an event is lost" in faults:
            return
    raise AssertionError(faults)


def test_a_latch_that_is_not_synced_is_found_out(monkeypatch: pytest.MonkeyPatch) -> None:
    real = write_log._logged_os

    def unsynced(log: write_log.WriteLog) -> Any:
        module = real(log)
        module.fsync = os.fsync  # the log does not see it
        return module

    monkeypatch.setattr(write_log, "_logged_os", unsynced)
    told = {"the trip is lost", "a night that was under way is forgotten",
            "an oven at rest starts tripped"}  # fmt: skip
    assert any(told & set(what.faults) for _, what in campaign(CUTS))
