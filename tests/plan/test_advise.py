"""The search against a small grid; the whole one: python -m tests.plan_campaign advise."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest

from nightcure.plan.advise import KINDS, RAMP_PER_DEGREE, Search, advise
from nightcure.plan.pool import WorkerPool
from nightcure.plan.sampling import Spreads, draw
from tests.nights import SETTINGS
from tests.plan.grid import WITHIN, a_night, against


def test_as_good_as_a_grid() -> None:
    figures, _, tried = against(a_night("demould", 3.5), (4, 3, 3), nights=10)
    assert tried < 1200
    for kind, (ours, theirs) in figures.items():
        assert np.isfinite(theirs), kind
        assert ours <= theirs * (1.0 + WITHIN), kind


def test_three_kinds_that_run_here_and_differ_as_they_should(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    t = a_night("demould", 3.5)
    monkeypatch.setattr("nightcure.plan.advise.SEARCH_NIGHTS", 12)
    with ThreadPoolExecutor(1) as one:
        found = advise(t, nights=60, executor=one)
    assert [a.kind for a in found] == list(KINDS)
    mildest, thriftiest, earliest = (a.plan for a in found)
    for a in found:
        assert a.sure
        assert a.plan.probability >= 0.9
        assert a.plan.profile.refusals(SETTINGS.limits, to_start=False) == ()
    mild = [
        p.profile.highest_c + p.profile.segments[0].rate_c_per_h / RAMP_PER_DEGREE
        for p in (mildest, thriftiest, earliest)
    ]
    assert mild[0] == min(mild)
    assert mild[2] > mild[0] + 5.0, "the earliest is not gentle"
    assert thriftiest.energy_kwh()["p50"] <= 1.02 * mildest.energy_kwh()["p50"]
    late = [p.quantiles_s(p.nights.goal_s)[2] for p in (mildest, thriftiest, earliest)]
    assert all(s is not None for s in late)
    assert late[2] == min(late)  # type: ignore[type-var]


def test_nothing_leaves_what_oven_and_cards_allow() -> None:
    t = a_night()
    search = Search(t, draw(t, Spreads(), 4, 1), WorkerPool(None), None)
    from nightcure.plan.shapes import Shape

    for wild in (Shape(500.0, 900.0, 90.0), Shape(-9.0, 0.0, 0.0), Shape(44.4, 7.3, 6.66)):
        shape = search.allowed(wild)
        assert 20.0 <= shape.soak_c <= 59.0
        assert 3.0 <= shape.ramp_c_per_h <= 20.0
        assert shape.hours > 0.0
        from nightcure.plan.shapes import build

        assert build(t, search.room, shape).refusals(SETTINGS.limits, to_start=False) == ()
