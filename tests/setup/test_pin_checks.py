"""Each check of the pins fails for a real cause, and says what to do."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from gpiozero import Device

from nightcure.board import lines
from nightcure.settings import Button
from nightcure.setup import pin_checks
from nightcure.setup.board_checks import Board
from nightcure.setup.finding import Rating
from nightcure.setup.pin_checks import look_at_chip, look_at_holder, look_at_pins
from nightcure.simulate import bench_chip
from nightcure.simulate.scenario import scenario
from nightcure.simulate.wires import bench_environment, read_pin

SETTINGS, _ = scenario()
LOOK, OK, WRONG = Rating.LOOK, Rating.OK, Rating.WRONG


@pytest.fixture
def pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    for name, value in bench_environment(tmp_path / "pins").items():
        monkeypatch.setenv(name, value)
    before, Device.pin_factory = Device.pin_factory, None
    yield tmp_path / "pins"
    Device.pin_factory = before


def test_pins_that_are_free_are_left_off(pins: Path) -> None:
    (pins / "gpio17").write_bytes(b"1")
    found = {f.check: f for f in look_at_pins(SETTINGS)}
    assert {name: f.rating for name, f in found.items()} == {
        "heater": OK, "contactor": OK, "fan": OK
    }  # fmt: skip
    assert not read_pin(pins, 17), "a heater that a dead process left on is off now"


def test_a_pin_that_another_process_drives(pins: Path) -> None:
    code = (
        "import sys; from nightcure.board.lines import Line; line = Line(17, True, 'a lamp'); "
        "print('claimed', flush=True); sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as other:
        assert other.stdout is not None
        assert other.stdout.readline() == "claimed\n"
        found = {f.check: f for f in look_at_pins(SETTINGS)}
        other.communicate(timeout=20)
    assert found["heater"].rating is WRONG
    assert "GPIO17 cannot be claimed (held by 'a lamp')" in found["heater"].sentence
    assert found["contactor"].rating is OK


def test_a_stop_button_held_down(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    settings = SETTINGS.model_copy(update={"stop_button": Button(pin=23)})
    free = {f.check: f for f in look_at_pins(settings)}["stop button"]
    assert free.rating is OK
    monkeypatch.setattr("nightcure.board.button.PressButton.pressed", lambda _: True)
    held = {f.check: f for f in look_at_pins(settings)}["stop button"]
    assert held.rating is LOOK
    assert "No night starts" in held.sentence


def test_a_machine_without_pins(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv("NIGHTCURE_GPIOD", raising=False)
    monkeypatch.setenv("NIGHTCURE_BENCH", str(tmp_path))
    monkeypatch.setattr(lines, "binding", lambda: bench_chip)
    nothing = look_at_chip(Board(dev=tmp_path))
    assert nothing.rating is WRONG
    assert "not the oven's board" in nothing.sentence
    (tmp_path / "gpiochip0").touch()
    found = look_at_chip(Board(dev=tmp_path))
    assert found.rating is OK
    assert "pinctrl-bcm2835" in found.sentence
    monkeypatch.setattr(bench_chip, "LABEL", "a keypad")
    other = look_at_chip(Board(dev=tmp_path))
    assert other.rating is WRONG
    assert f"no GPIO chip that is known here: {tmp_path}/gpiochip0 is 'a keypad'" in other.sentence
    monkeypatch.setattr(pin_checks.os, "access", lambda *_: False)
    denied = look_at_chip(Board(dev=tmp_path))
    assert denied.rating is WRONG
    assert "usermod -aG gpio" in denied.sentence


def held_by(name: str, pin: int) -> subprocess.Popen[str]:
    """A process that holds a pin, as whatever name."""
    code = (
        f"import sys; from nightcure.board.lines import Line; line = Line({pin}, False, {name!r}); "
        "print('claimed', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "claimed\n"
    return other


@pytest.mark.parametrize(
    ("name", "rating", "word"),
    [("nightcure", OK, "left alone"), ("a lamp", WRONG, "held by 'a lamp'"), ("", WRONG, "nobody")],
)
def test_who_holds_the_heaters_line_while_a_controller_runs(
    pins: Path, name: str, rating: Rating, word: str
) -> None:
    other = held_by(name, SETTINGS.heater.pin) if name else None
    found = look_at_holder(SETTINGS)
    if other is not None:
        other.communicate(timeout=20)
    assert found.rating is rating
    assert word in found.sentence


def test_a_line_that_nobody_drives_must_not_close_the_relay(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without its resistor an active-low board is on at every boot. Fails before this."""
    pulls = {17: True, 22: False, 27: False}

    def at_its_pull(number: int) -> bool:
        return pulls[number]

    monkeypatch.setattr(lines, "idle_level", at_its_pull)
    found = {f.check: f for f in look_at_pins(SETTINGS)}
    assert found["heater"].rating is WRONG
    assert "pull it down" in found["heater"].sentence
    assert found["fan"].rating is OK
    assert not read_pin(pins, 17), "and it is driven off afterwards"
    heater = SETTINGS.heater.model_copy(update={"active_high": False})
    active_low = SETTINGS.model_copy(update={"heater": heater})
    assert look_at_pins(active_low)[0].rating is OK
    pulls[17] = False
    assert "pull it up" in look_at_pins(active_low)[0].sentence
