"""The plan's arrays wait for the oven as the loop's profile run does, and give up where it does."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from nightcure.loop.profile_run import Oven, ProfileRun
from nightcure.plan.course import Courses
from nightcure.profile import parse_profile
from nightcure.settings import Limits

STEP_S = 20.0
LIMITS = Limits()
SEGMENTS: list[dict[str, Any]] = [
    {"kind": "ramp", "to_c": 38.0, "rate_c_per_h": 15.0},
    {"kind": "soak", "at_c": 38.0, "hours": 2.0},
    {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0},
]


def hours_by_segment(segments: list[dict[str, Any]], air: Any, part: Any) -> tuple[Any, Any]:
    """How long each segment lasts, by the loop's run and by the plan's arrays, h.

    `air` and `part`: °C at a time (s), known to both.
    """
    profile = parse_profile({"name": "N", "segments": segments})
    longest_s = LIMITS.longest_night_h * 3600.0
    run = ProfileRun(profile, air(0.0), LIMITS.ramp_c_per_h, longest_s)
    courses = Courses([profile], LIMITS, np.array([[air(0.0)]]))
    ours, plans = np.zeros(len(segments)), np.zeros(len(segments))
    never = np.zeros((1, 1), dtype=bool)
    for i in range(int(longest_s / STEP_S)):
        air_c, part_c = air(i * STEP_S), part(i * STEP_S)
        if not run.finished:
            ours[run.index] += STEP_S / 3600.0
            run.advance(STEP_S, Oven(air_c, min(air_c, part_c), max(air_c, part_c), 8.0))
        if not courses.over[0, 0]:
            plans[int(courses._index[0, 0])] += STEP_S / 3600.0
            courses.advance(
                STEP_S, np.array([[air_c]]), [np.array([[part_c]])], np.array([[8.0]]),
                lambda _: never, never,
            )  # fmt: skip
    return ours, plans


@pytest.mark.parametrize(
    ("air", "part"),
    [
        (lambda t: min(10.0 + t / 400.0, 38.0), lambda t: min(10.0 + t / 500.0, 37.0)),
        (lambda t: min(10.0 + t / 400.0, 38.0), lambda t: min(10.0 + t / 400.0, 42.0)),
        (lambda t: min(10.0 + t / 400.0, 34.9), lambda t: min(10.0 + t / 500.0, 34.0)),
        (lambda t: min(10.0 + t / 1400.0, 60.0), lambda t: min(10.0 + t / 1500.0, 60.0)),
    ],
    ids=["in time", "a part too warm", "never there", "creeping all night"],
)
def test_the_arrays_wait_as_the_loop_does(air: Any, part: Any) -> None:
    ours, plans = hours_by_segment(SEGMENTS, air, part)
    assert plans == pytest.approx(ours, abs=0.06)
    assert ours[1] >= 2.0 - STEP_S / 1800.0
    assert ours.sum() < LIMITS.longest_night_h
