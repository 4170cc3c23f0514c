"""Recorded nights for the record's tests: one of each kind, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.nights import COARSE, SETTINGS, SHORT, changed, word
from tests.recording import RecordedOven
from tests.verify_campaign import RESIN


def _until_over(oven: RecordedOven, most_s: float = 12_000.0) -> None:
    while oven.loop.phase.value in ("ramp", "soak", "cool") and oven.t_s < most_s:
        oven.run(oven.t_s + 200.0)


@pytest.fixture(scope="session")
def shelf(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Ledgers with one night each: done, cards, tripped, stopped, cut, no-ambient."""
    folder = tmp_path_factory.mktemp("shelf")
    made: dict[str, Path] = {}

    def path(name: str) -> Path:
        (folder / name).mkdir()  # an oven's latch lies beside its ledger
        made[name] = folder / name / f"{name}.ledger"
        return made[name]

    with RecordedOven(path("done"), COARSE) as oven:
        oven.run(200.0)
        _until_over(oven)
    with RecordedOven(path("cards"), COARSE, faults=["heater-weak@20min+8min"]) as oven:
        oven.run(200.0, {}, RESIN)
        _until_over(oven)
    with RecordedOven(path("tripped"), faults=["sensor-crc@20min"]) as oven:
        oven.run(1700.0)
        oven.tick(word("acknowledge", 2))
        oven.run(oven.t_s + 20.0)
    with RecordedOven(path("stopped")) as oven:
        oven.run(900.0)
        oven.tick(word("stop", 3))
        oven.run(oven.t_s + 10.0)
    cut = RecordedOven(path("cut"))
    cut.run(900.0)
    cut.close()
    cut.t_s += 120.0
    cut.open()
    cut.run(cut.t_s + 400.0)
    cut.close()
    data = SETTINGS.model_dump(mode="json")
    bare = [t for t in data["thermometers"] if t["role"] == "air"]
    settings = type(SETTINGS).model_validate({**data, "thermometers": bare})
    with RecordedOven(path("bare"), settings) as oven:
        oven.run(600.0, {}, SHORT)
    fahrenheit = changed(SETTINGS)
    fahrenheit = fahrenheit.model_copy(update={"units": "F"})
    with RecordedOven(path("fahrenheit"), fahrenheit) as oven:
        oven.run(600.0)
    return made
