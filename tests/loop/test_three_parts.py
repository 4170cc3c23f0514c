"""A night of three parts keeps the record small; what it costs a board: `faults.test_budget`."""

from __future__ import annotations

import json

from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.record.codec import decision_fields
from tests.nights import SETTINGS

from .demould_night import UNTIL_DEMOULD, night


def three_parts() -> Profile:
    third = {**UNTIL_DEMOULD.parts[1].model_dump(mode="json"), "name": "Spare", "start_h": 1.0}
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["parts"].append(third)
    return parse_profile(data)


def test_three_parts_leave_the_record_small() -> None:
    """What is written every tick: the snapshot, and the cure in a decision once a minute."""
    _, ticks = night(three_parts())
    loop = Loop(SETTINGS)
    sizes = [len(decision_fields(loop.tick(inputs))["decision"]) for inputs, _ in ticks[:2000]]
    assert len(json.dumps(loop.snapshot())) < 12_000
    assert sum(sizes) / len(sizes) < 150
