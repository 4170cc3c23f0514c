"""Bench pins in place of the board's."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from gpiozero import Device

from nightcure.simulate.wires import BenchFactory


@pytest.fixture
def pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    monkeypatch.setenv("NIGHTCURE_BENCH", str(tmp_path))
    before = Device.pin_factory
    Device.pin_factory = BenchFactory()
    yield tmp_path
    Device.pin_factory = before
