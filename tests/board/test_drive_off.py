"""Driving every declared output off, from outside the controller."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from nightcure.board.relay import Switch, drive_off
from nightcure.errors import NightcureError
from nightcure.settings import Output
from nightcure.simulate.wires import read_pin
from tests.nights import SETTINGS

HOLDS = (
    "import sys; from nightcure.board.relay import Switch; from nightcure.settings import Output; "
    "s = Switch(Output(pin=17), 'heater'); s.set(True); print('on', flush=True); sys.stdin.read()"
)


def test_kill_9_leaves_the_line_driven_and_drive_off_brings_it_down(pins: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-c", HOLDS], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True,
        env={**os.environ, "GPIOZERO_PIN_FACTORY": "nightcure-bench"},
    )  # fmt: skip
    assert process.stdout is not None
    assert process.stdout.readline() == "on\n"
    assert read_pin(pins, 17)
    with pytest.raises(NightcureError, match="pin 17 cannot be claimed"):
        drive_off(SETTINGS)
    process.kill()
    process.communicate(timeout=20)
    assert read_pin(pins, 17), "the Pi's kernel keeps a dead process's output driven"
    drive_off(SETTINGS)
    assert not read_pin(pins, 17)


def test_drive_off_does_the_others_when_one_is_held(pins: Path) -> None:
    for number in (22, 27):
        (pins / f"gpio{number}").write_bytes(b"1")
    taken = Switch(Output(pin=17), "other")
    with pytest.raises(NightcureError) as caught:
        drive_off(SETTINGS)
    assert str(caught.value).count("\n") == 0, "one sentence for the one pin"
    assert [read_pin(pins, n) for n in (22, 27)] == [False] * 2
    taken.close()


def test_drive_off_goes_on_when_a_pin_cannot_be_written(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    for number in (17, 22, 27):
        (pins / f"gpio{number}").write_bytes(b"1")
    plain = Switch.close

    def stuck(self: Switch) -> None:
        plain(self)
        if self.pin == 17:
            raise OSError("stuck")

    monkeypatch.setattr(Switch, "close", stuck)
    with pytest.raises(NightcureError, match="heater: pin 17 cannot be driven off"):
        drive_off(SETTINGS)
    assert [read_pin(pins, n) for n in (22, 27)] == [False] * 2
