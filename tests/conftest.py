"""Bench pins in place of the board's."""

from __future__ import annotations

import gc
from collections.abc import Iterator
from pathlib import Path

import pytest
from gpiozero import Device

from nightcure.simulate.wires import bench_environment

#: Nights of twenty thousand ticks are kept to be looked at: looking through them for circles each
#: time 700 more objects are there takes a seventh of a rehearsal's time.
gc.set_threshold(20_000, 20, 20)


@pytest.fixture
def pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder that this process and its children drive; the present one, so it takes all files."""
    for name, value in bench_environment(tmp_path).items():
        monkeypatch.setenv(name, value)
    monkeypatch.chdir(tmp_path)
    before, Device.pin_factory = Device.pin_factory, None
    yield tmp_path
    Device.pin_factory = before
