"""Lines and gpiozero's pins on them: the stand-in chip is held to the real binding's interface."""

from __future__ import annotations

import dataclasses
import errno
import importlib.metadata
import inspect
from pathlib import Path
from typing import Any

import gpiod
import pytest
from gpiozero import Device, InputDevice, OutputDevice
from gpiozero.exc import PinFixedPull, PinInvalidFunction, PinSetInput
from gpiozero.pins.mock import MockFactory

from nightcure.board import lines
from nightcure.board.lines import LABELS, Line, LineBusy, LineError, find_chip
from nightcure.board.pin_factory import BoardFactory, board_pins
from nightcure.simulate import bench_chip
from nightcure.simulate.wires import bench_environment, read_pin


# ---- the stand-in says what the binding says -----------------------------------------------------
@pytest.mark.parametrize("kind", ["Value", "Direction", "Bias"])
def test_the_stand_ins_words_are_the_bindings(kind: str) -> None:
    """gpiod 2.5, line.py: the stand-in has some of its words, none of its own."""
    ours, theirs = getattr(bench_chip.line, kind), getattr(gpiod.line, kind)
    assert {m.name: m.value for m in ours}.items() <= {m.name: m.value for m in theirs}.items()


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (bench_chip.request_lines, gpiod.request_lines),
        (bench_chip.Chip.__init__, gpiod.Chip.__init__),
        (bench_chip.Chip.get_info, gpiod.Chip.get_info),
        (bench_chip.Chip.get_line_info, gpiod.Chip.get_line_info),
        (bench_chip.LineRequest.get_value, gpiod.LineRequest.get_value),
        (bench_chip.LineRequest.set_value, gpiod.LineRequest.set_value),
        (bench_chip.LineRequest.release, gpiod.LineRequest.release),
    ],
    ids=lambda f: f.__qualname__,
)
def test_what_the_stand_in_takes_the_binding_takes(ours: Any, theirs: Any) -> None:
    """Same names of arguments, in the same order, as far as the stand-in goes."""
    mine = list(inspect.signature(ours).parameters)
    real = inspect.signature(theirs).parameters
    assert list(real)[: len(mine)] == mine
    rest = list(real.values())[len(mine) :]
    assert all(p.default is not inspect.Parameter.empty for p in rest)


@pytest.mark.parametrize(
    ("ours", "theirs"),
    [
        (bench_chip.LineSettings, gpiod.LineSettings),
        (bench_chip.ChipInfo, gpiod.ChipInfo),
        (bench_chip.LineInfo, gpiod.LineInfo),
    ],
)
def test_the_stand_ins_fields_are_the_bindings(ours: Any, theirs: Any) -> None:
    fields = {f.name: f for f in dataclasses.fields(theirs)}
    assert set(ours._fields) <= fields.keys()
    for name, default in ours._field_defaults.items():
        assert default.name == fields[name].default.name, name


def test_the_real_binding_takes_what_is_asked_of_it() -> None:
    """As far as a machine without a chip goes: settings are made, a wrong device is refused."""
    out = gpiod.LineSettings(
        direction=gpiod.line.Direction.OUTPUT, output_value=gpiod.line.Value.ACTIVE
    )
    assert out.active_low is False, "levels are meant, and gpiozero does the turning"
    with pytest.raises(OSError):
        gpiod.request_lines("/dev/null", config={17: out}, consumer="nightcure")


# ---- the chip ------------------------------------------------------------------------------------


def test_the_chip_is_found_by_its_label_whatever_its_number(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A Pi 5 numbers its chips from 11 on, and has others before the header's."""
    labels = {"gpiochip0": "raspberrypi-exp-gpio", "gpiochip11": "pinctrl-rp1"}
    for name in labels:
        (pins / name).touch()

    class Several(bench_chip.Chip):
        def get_info(self) -> bench_chip.ChipInfo:
            return super().get_info()._replace(label=labels[self._path.name])

    monkeypatch.setattr(bench_chip, "Chip", Several)
    assert find_chip(bench_chip) == (str(pins / "gpiochip11"), "pinctrl-rp1")
    labels["gpiochip11"] = "a keypad"
    with pytest.raises(LineError, match="no GPIO chip that is known here") as caught:
        Line(17, False)
    assert "gpiochip0 is 'raspberrypi-exp-gpio'" in str(caught.value)
    assert "gpiochip11 is 'a keypad'" in str(caught.value)
    assert not (pins / "gpio17").exists()


def test_the_labels_are_the_kernels() -> None:
    """Linux, drivers/pinctrl: pinctrl-rp1.c (Raspberry Pi's tree), bcm/pinctrl-bcm2835.c."""
    assert LABELS == ("pinctrl-rp1", "pinctrl-bcm2711", "pinctrl-bcm2835")


def test_a_machine_without_a_chip_says_so(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NIGHTCURE_GPIOD", "nightcure.simulate.bench_chip")
    monkeypatch.setenv("NIGHTCURE_BENCH", str(tmp_path))
    with pytest.raises(LineError, match="no gpiochip in"):
        Line(17, False)


def test_a_chip_that_may_not_be_opened_says_so(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def denied(path: str) -> None:
        raise PermissionError(errno.EACCES, "Permission denied", path)

    monkeypatch.setattr(bench_chip, "Chip", denied)
    with pytest.raises(LineError, match="gpiochip0: Permission denied"):
        Line(17, False)


def test_without_the_binding_the_extra_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("NIGHTCURE_GPIOD", raising=False)
    monkeypatch.setitem(__import__("sys").modules, "gpiod", None)
    with pytest.raises(LineError, match="install nightcure with its extra 'pi'"):
        Line(17, False)


# ---- a line --------------------------------------------------------------------------------------


@pytest.mark.parametrize("level", [True, False])
def test_direction_level_and_consumer_go_into_one_request(
    pins: Path, monkeypatch: pytest.MonkeyPatch, level: bool
) -> None:
    asked: list[tuple[Any, ...]] = []
    plain = bench_chip.request_lines

    def watched(path: str, config: Any, consumer: str | None = None) -> Any:
        asked.append((path, config, consumer))
        return plain(path, config, consumer)

    monkeypatch.setattr(bench_chip, "request_lines", watched)
    line = Line(17, level)
    value = bench_chip.Value.ACTIVE if level else bench_chip.Value.INACTIVE
    settings = bench_chip.LineSettings(bench_chip.Direction.OUTPUT, output_value=value)
    assert asked == [(str(pins / "gpiochip0"), {17: settings}, "nightcure")]
    assert line.level is level
    line.release()


def test_a_line_that_is_held_names_its_holder(pins: Path) -> None:
    first = Line(17, False, "an onewire bus")
    with pytest.raises(LineBusy, match=r"^held by 'an onewire bus'$"):
        Line(17, True)
    assert not read_pin(pins, 17)
    first.release()
    Line(17, True).release()
    assert read_pin(pins, 17)


@pytest.mark.parametrize(
    ("error", "said"),
    [
        (OSError(errno.EIO, "Input/output error"), "Input/output error"),
        (ValueError("line offset of out range"), "line offset of out range"),
        (NotImplementedError("no such pull"), "no such pull"),
    ],
)
def test_what_the_binding_raises_becomes_words(
    pins: Path, monkeypatch: pytest.MonkeyPatch, error: Exception, said: str
) -> None:
    """gpiod 2.5 (ext/internal.c) turns EINVAL into ValueError, EOPNOTSUPP into another."""

    def refuse(*_: Any, **__: Any) -> None:
        raise error

    monkeypatch.setattr(bench_chip, "request_lines", refuse)
    with pytest.raises(LineError, match=said):
        Line(17, False)


# ---- gpiozero's pins -----------------------------------------------------------------------------
def test_gpiozero_finds_the_factory_by_its_name(
    pins: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (entry,) = importlib.metadata.entry_points(group="gpiozero_pin_factories", name="nightcure")
    assert entry.load() is BoardFactory
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "nightcure")
    device = OutputDevice(17)
    assert isinstance(Device.pin_factory, BoardFactory)
    device.on()
    assert read_pin(pins, 17)
    device.close()


def test_no_other_factory_drives_an_output(pins: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """One that is named in the environment, or made before, may blip or not be exclusive."""
    monkeypatch.setenv("GPIOZERO_PIN_FACTORY", "mock")
    monkeypatch.setattr(Device, "pin_factory", MockFactory())
    assert isinstance(board_pins(), BoardFactory)
    assert board_pins() is board_pins()


@pytest.mark.parametrize("active_high", [True, False])
def test_an_output_is_claimed_off_and_follows(pins: Path, active_high: bool) -> None:
    device = OutputDevice(17, active_high=active_high, pin_factory=board_pins())
    assert read_pin(pins, 17) is not active_high
    device.on()
    assert read_pin(pins, 17) is active_high
    assert device.value == 1
    device.close()
    again = OutputDevice(17, active_high=active_high, pin_factory=board_pins())
    assert again.value == 0
    again.close()


def test_an_input_is_pulled_up_and_read(pins: Path) -> None:
    button = InputDevice(23, pull_up=True, pin_factory=board_pins())
    assert not button.is_active
    (pins / "gpio23").write_bytes(b"0")  # a finger on the button
    assert button.is_active
    with pytest.raises(PinSetInput):
        button.pin.state = True
    button.close()


def test_what_the_factory_does_not_do_it_refuses(pins: Path) -> None:
    with pytest.raises(PinInvalidFunction, match="together with its level"):
        OutputDevice(17, initial_value=None, pin_factory=board_pins())
    with pytest.raises(PinFixedPull):
        InputDevice(23, pull_up=False, pin_factory=board_pins())


def test_the_bench_is_asked_for_by_the_environment_alone(tmp_path: Path) -> None:
    named = bench_environment(tmp_path / "pins")
    assert set(named) == {lines.BINDING_VARIABLE, lines.BENCH_VARIABLE}
    assert (tmp_path / "pins" / "gpiochip0").exists()
