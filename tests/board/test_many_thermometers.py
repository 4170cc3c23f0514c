"""One to sixteen thermometers, on one bus or two, with and without bulk conversions: a night runs.

Through the real adapter, reader, screening and loop, in the kernel's own times.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from nightcure.board.ds18b20 import Bus
from nightcure.board.sensor_reader import Reader
from nightcure.clock import PacedClock
from nightcure.loop.loop import Loop
from nightcure.measure.screening import STALE_S, stale_after_s
from nightcure.settings import Settings
from nightcure.simulate.wires import W1Tree
from nightcure.tick import Phase, TickInputs
from tests.board.kernel_files import TimedFiles
from tests.nights import SETTINGS, start

NIGHT_S = 240.0


def oven_of(count: int) -> Settings:
    data = SETTINGS.model_dump(mode="json")
    roles = ["air", *["part"] * (count - 2), "ambient"] if count > 1 else ["air"]
    data["thermometers"] = [
        {"id": f"28-0000000000{i:02x}", "role": role, "name": f"{role} {i}"}
        for i, role in enumerate(roles)
    ]
    return Settings.model_validate(data)


@pytest.mark.parametrize("bulk", ["bulk", "read-only", "absent"])
@pytest.mark.parametrize("buses", [1, 2])
@pytest.mark.parametrize("count", [1, 4, 8, 14, 16])
def test_a_night_runs_and_every_reading_is_believed(
    count: int, buses: int, bulk: str, tmp_path: Path
) -> None:
    settings = oven_of(count)
    ids = tuple(t.id for t in settings.thermometers)
    tree = W1Tree(tmp_path, list(ids), buses, bulk != "absent")
    for sensor_id in ids:
        tree.set_c(sensor_id, 12.0)
    clock = PacedClock(1e5, 1.7e9)
    files = TimedFiles(tree, clock, writable=bulk == "bulk")
    reader = Reader(Bus(ids, clock, tmp_path, files), clock, count)
    loop = Loop(settings)
    clock.join()
    reader.start()
    try:
        clock.sleep(stale_after_s(count))  # as the daemon waits for the first round
        begun_s, oldest_s = clock.monotonic(), 0.0
        while (now_s := clock.monotonic()) < begun_s + NIGHT_S:
            readings = reader.latest()
            oldest_s = max(oldest_s, *(now_s - r.taken_s for r in readings))
            commands = (start(),) if now_s == begun_s else ()
            d = loop.tick(TickInputs(now_s, clock.wall(), readings, commands))
            assert d.faults == (None,) * count, (now_s, oldest_s)
            assert d.phase is Phase.RAMP, d.outcomes
            clock.sleep(2.0)
    finally:
        clock.leave()
        reader.stop()
    assert oldest_s <= stale_after_s(count)


def test_how_old_a_reading_may_be_follows_from_how_many_there_are() -> None:
    assert [stale_after_s(n) for n in (1, 4, 8)] == [STALE_S] * 3
    assert stale_after_s(16) == 20.0
