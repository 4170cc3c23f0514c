"""A night of three parts keeps the record small; what it costs a board: `faults.test_budget`."""

from __future__ import annotations

import json

from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.record.codec import decision_fields
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import TickInputs
from tests.nights import SETTINGS, start

from .demould_night import UNTIL_DEMOULD


def three_parts() -> Profile:
    third = {**UNTIL_DEMOULD.parts[1].model_dump(mode="json"), "name": "Spare", "start_h": 1.0}
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["parts"].append(third)
    return parse_profile(data)


def test_three_parts_leave_the_record_small() -> None:
    """What is written every tick: the snapshot, and the cure in a decision once a minute."""
    loop, oven = Loop(SETTINGS), VirtualOven(BOX, SETTINGS.thermometers, ambient_c)
    sizes = []
    for k in range(2000):
        commands = (start(three_parts()),) if k == 0 else ()
        inputs = TickInputs(2.0 * k, 1e9 + 2.0 * k, tuple(oven.sense(2.0 * k)), commands)
        decision = loop.tick(inputs)
        sizes.append(len(decision_fields(decision)["decision"]))
        oven.step(2.0, decision.heater_on, decision.contactor_on)
    assert loop.run is not None
    assert len(json.dumps(loop.snapshot())) < 12_000
    assert sum(sizes) / len(sizes) < 150
