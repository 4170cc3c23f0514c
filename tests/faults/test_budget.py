"""What the controller may cost a small board: memory, processor time, no numerics."""

from __future__ import annotations

from pathlib import Path

import psutil

from tests.loop.test_three_parts import three_parts
from tests.nights import start
from tests.workshop import Workshop, wait_for

MOST_RESIDENT_BYTES = 60e6
#: Of one core, at a tick of 2 s.
MOST_PROCESSOR_SHARE = 0.02
#: A look ahead at the cure, once a minute, is among them.
TICKS = 34


def test_the_controller_stays_small_through_a_night_of_three_parts(tmp_path: Path) -> None:
    with Workshop(tmp_path) as workshop:
        process = psutil.Process(workshop.controller().pid)
        workshop.command("start", start(three_parts()).args)
        wait_for(lambda: len((workshop.live() or {}).get("cure", [])) == 3, 60, "three parts")
        wait_for(workshop.heater_on, 60, "it heats")
        first = workshop.live()
        assert first is not None
        assert first["tick_s"] == 2.0
        spent_s = sum(process.cpu_times()[:2])

        def ticks() -> int:
            return int((workshop.live() or first)["seq"] - first["seq"])

        wait_for(lambda: ticks() >= TICKS, 120, f"{TICKS} ticks")
        spent_s = sum(process.cpu_times()[:2]) - spent_s
        share = spent_s / (ticks() * first["tick_s"])
        assert share < MOST_PROCESSOR_SHARE, f"{100 * share:.2f} %"
        assert process.memory_info().rss < MOST_RESIDENT_BYTES
        libraries = {m.path for m in process.memory_maps()}
        assert not [path for path in libraries if "numpy" in path or "scipy" in path]
