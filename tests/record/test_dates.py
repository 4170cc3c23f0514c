"""When a night began and how long it took, on a board whose clock is set amid it, or never."""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.rows import NightRow, passed_s
from nightcure.tick import Phase

from ..nights import SETTINGS, SHORT, changed, word
from ..recording import EVENING_S, RecordedOven, replay

#: From the evening back to the first minute of 1970.
TO_1970_S = 40.0 - EVENING_S


def night_in(path: Path) -> NightRow:
    night = LedgerReader(path).night(1)
    assert night is not None
    return night


def test_a_night_begun_in_1970_took_as_long_as_it_took(tmp_path: Path) -> None:
    path = tmp_path / "n.ledger"
    with RecordedOven(path) as oven:
        oven.wall_ahead_s, oven.wall_known = TO_1970_S, False
        oven.run(300.0)
        oven.wall_ahead_s, oven.wall_known = 0.0, True
        oven.run(600.0)
        oven.tick(word("stop"))
    night = night_in(path)
    assert night.started_s == pytest.approx(EVENING_S, abs=5.0)
    assert night.ended_s == pytest.approx(EVENING_S + 600.0, abs=5.0)
    assert replay(path)[1] == []


def test_a_night_without_any_clock_took_as_long_as_it_took(tmp_path: Path) -> None:
    """A cut in it; the board comes up with the time it saved an hour before the start."""
    path = tmp_path / "n.ledger"
    settings = changed(SETTINGS, timing={"resume_within_min": 240.0, "resume_lost_c": 40.0})
    with RecordedOven(path, settings) as oven:
        oven.wall_ahead_s, oven.wall_known, oven.boot = TO_1970_S, False, "one"
        oven.run(4200.0, profile=SHORT)
    for _ in range(600):
        oven.oven.step(2.0, False, False)
    oven.t_s = 20.0  # a board that comes up counts from nothing
    oven.wall_ahead_s, oven.boot = TO_1970_S - 3600.0, "two"
    oven.open()
    d = oven.run(oven.t_s + 600.0)
    assert d.phase is not Phase.TRIPPED, [a.message for a in oven.loop.alarms()]
    oven.tick(word("stop"))
    oven.close()
    night = night_in(path)
    assert night.ended_s is not None
    took_s = night.ended_s - night.started_s
    assert took_s == pytest.approx(4200.0 + 1200.0 + 600.0, abs=300.0), "by how far it fell"
    rows = list(LedgerReader(path).ticks(1))
    summed_s = sum(passed_s(a, b, 2.0) for a, b in itertools.pairwise(rows))
    assert summed_s == pytest.approx(took_s, abs=15.0)
    assert replay(path)[1] == []
