"""The arrays and the real Loop must not drift apart (50 nights: python -m tests.plan.agreement)."""

from __future__ import annotations

import pytest

from tests.plan.agreement import MOST_K, MOST_S, compare


@pytest.mark.parametrize(
    ("seed", "what"),
    [
        (8, "ramp"),  # a ramp that waits for the gel, then for a heater that gives all it has
        (12, ""),  # a soak until demould
        (27, "ramp"),  # a soak that counts only within its band, by the thermometer's sixteenths
        (4, "ramp"),  # windows of two minutes, no feed-forward
        (144, ""),  # bang-bang: an oven of PID whose profile asks for it
        (79, ""),  # a part too hot by its own heat, and the trip
        (1000, "ramp"),  # a post-cure whose ramp stays below the parts' glass transition
        (1003, "ramp"),  # one that ends at a glass transition
        (18, ""),  # a soak whose parts leave the band by their own heat, and come back slowly
    ],
)
def test_the_same_night_twice(seed: int, what: str) -> None:
    apart = compare(seed)
    assert apart.outcome == ("tripped over-temperature" if seed == 79 else "done")
    assert apart.air_k <= MOST_K, apart.what
    assert apart.part_k <= MOST_K, apart.what
    assert apart.milestones >= 4
    assert apart.milestone_s <= MOST_S, apart.what
    assert abs(apart.energy_share) < 0.02
    assert apart.waited_s > 600.0 or what != "ramp"
