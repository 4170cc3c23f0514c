"""What the controller may cost a small board: memory, processor time, no numerics."""

from __future__ import annotations

from pathlib import Path

import psutil

from tests.workshop import Workshop, wait_for

MOST_RESIDENT_BYTES = 60e6
#: Of one core, at a tick of 2 s.
MOST_PROCESSOR_SHARE = 0.02
TICKS = 8


def test_the_controller_stays_small_while_it_heats(tmp_path: Path) -> None:
    with Workshop(tmp_path) as workshop:
        process = psutil.Process(workshop.controller().pid)
        workshop.start_heating()
        first = workshop.live()
        assert first is not None
        assert first["tick_s"] == 2.0
        spent_s = sum(process.cpu_times()[:2])

        def ticks() -> int:
            return int((workshop.live() or first)["seq"] - first["seq"])

        wait_for(lambda: ticks() >= TICKS, 60, f"{TICKS} ticks")
        spent_s = sum(process.cpu_times()[:2]) - spent_s
        assert spent_s / (ticks() * first["tick_s"]) < MOST_PROCESSOR_SHARE
        assert process.memory_info().rss < MOST_RESIDENT_BYTES
        libraries = {m.path for m in process.memory_maps()}
        assert not [path for path in libraries if "numpy" in path or "scipy" in path]
