"""The trips of a plan's nights: a heater on without a pause, and what is too hot."""

from __future__ import annotations

import numpy as np
import pytest

from nightcure.plan.trips import NAMES, OVER_TEMPERATURE, Trips
from tests.nights import SETTINGS, changed

STEP_S = 20.0
LONGEST_H = 1.0


def tripped_after_s(pause_every_s: float | None, hours: float) -> float | None:
    """When the first night trips whose heater pauses for one step so often; the second rests."""
    settings = changed(SETTINGS, limits={"longest_heater_on_h": LONGEST_H})
    trips = Trips(settings, (1, 2))
    air_c = np.full((1, 2), 30.0)
    for k in range(round(3600.0 * hours / STEP_S)):
        pauses = pause_every_s is not None and k % round(pause_every_s / STEP_S) == 0
        trips.look(STEP_S, air_c, [air_c], np.array([[0.0 if pauses else 1.0, 0.0]]))
        assert NAMES[trips.why[0, 1]] == ""
        if trips.tripped[0, 0]:
            assert NAMES[trips.why[0, 0]] == "heater-on-too-long"
            return STEP_S * (k + 1)
    return None


def test_a_heater_trips_when_it_was_on_without_a_pause_for_longer_than_it_may() -> None:
    assert tripped_after_s(None, 2.0) == pytest.approx(3600.0 * LONGEST_H, abs=2 * STEP_S)


def test_a_pause_begins_its_time_anew() -> None:
    assert tripped_after_s(0.9 * 3600.0, 8.0) is None


@pytest.mark.parametrize("hot", ["air", "part"])
def test_what_is_too_hot_trips_and_the_first_reason_stays(hot: str) -> None:
    trips = Trips(SETTINGS, (1, 1))
    cool = np.full((1, 1), 30.0)
    limits = SETTINGS.limits
    for over_k in (0.0, 0.1, -5.0):
        air_c = cool if hot == "part" else np.full((1, 1), limits.air_c + over_k)
        part_c = cool if hot == "air" else np.full((1, 1), limits.part_c + over_k)
        trips.look(STEP_S, air_c, [cool, part_c], np.ones((1, 1)))
        assert bool(trips.why[0, 0] == OVER_TEMPERATURE) is (over_k != 0.0)
    trips.look(1e6, cool, [cool], np.ones((1, 1)))
    assert trips.why[0, 0] == OVER_TEMPERATURE
