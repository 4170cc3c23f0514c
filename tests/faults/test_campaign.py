"""A sample of the long campaign (python -m tests.campaign): no trip in fault-free nights."""

from __future__ import annotations

from tests.campaign import run


def test_no_trip_in_a_sample_of_fault_free_nights() -> None:
    figures = run(16)
    assert [f.trip for f in figures] == [None] * 16
    assert [f.outcome for f in figures] == ["done"] * 16
