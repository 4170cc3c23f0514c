"""A night of three parts keeps the record small and the controller within its budgets."""

from __future__ import annotations

import json
from pathlib import Path

import psutil

from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.record.codec import decision_fields
from tests.faults.test_budget import MOST_PROCESSOR_SHARE, MOST_RESIDENT_BYTES
from tests.nights import SETTINGS, start
from tests.workshop import Workshop, wait_for

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


def test_the_controller_with_three_parts_keeps_its_budgets(tmp_path: Path) -> None:
    """60 MB resident and 2 % of a core at a tick of 2 s, as without parts; no numerics."""
    with Workshop(tmp_path) as workshop:
        process = psutil.Process(workshop.controller().pid)
        workshop.command("start", start(three_parts()).args)
        wait_for(lambda: len((workshop.live() or {}).get("cure", [])) == 3, 60, "three parts")
        first = workshop.live()
        assert first is not None
        spent_s = sum(process.cpu_times()[:2])

        def ticks() -> int:
            return int((workshop.live() or first)["seq"] - first["seq"])

        wait_for(lambda: ticks() >= 34, 120, "34 ticks, a look ahead among them")
        spent_s = sum(process.cpu_times()[:2]) - spent_s
        share = spent_s / (ticks() * 2.0)
        assert share < MOST_PROCESSOR_SHARE, f"{100 * share:.2f} %"
        assert process.memory_info().rss < MOST_RESIDENT_BYTES
        libraries = {m.path for m in process.memory_maps()}
        assert not [path for path in libraries if "numpy" in path or "scipy" in path]
