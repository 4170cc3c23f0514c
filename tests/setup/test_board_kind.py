"""Which board it is, and what of its system matters, from a tree as the kernel shows it."""

from __future__ import annotations

from pathlib import Path

import pytest

from nightcure.setup.board_kind import look_at_board, look_at_letting_go, look_at_memory
from nightcure.setup.finding import Rating

LOOK, OK = Rating.LOOK, Rating.OK


def test_it_is_named_with_what_drives_its_bus(tmp_path: Path) -> None:
    (tmp_path / "bus/platform/drivers/w1-gpio/onewire@0").mkdir(parents=True)
    found = look_at_board(tmp_path, "Raspberry Pi 4 Model B Rev 1.4")
    assert found.rating is OK
    assert found.sentence == "Raspberry Pi 4 Model B Rev 1.4; 1-Wire by GPIO."
    assert look_at_board(tmp_path / "none", "").rating is OK


@pytest.mark.parametrize("model", ["Raspberry Pi 5 Model B Rev 1.0", "Raspberry Pi 500 Rev 1.0"])
def test_a_pi_5_loses_thermometers_but_not_with_a_bus_master(model: str, tmp_path: Path) -> None:
    """raspberrypi/linux issues 6917 and 5846 (read, not tried)."""
    (tmp_path / "bus/platform/drivers/w1-gpio/onewire@4").mkdir(parents=True)
    found = look_at_board(tmp_path, model)
    assert found.rating is LOOK
    assert "loses thermometers" in found.sentence
    (tmp_path / "bus/i2c/drivers/ds2482/1-0018").mkdir(parents=True)
    found = look_at_board(tmp_path, model)
    assert found.rating is OK
    assert "a DS2482 at I²C 1-0018" in found.sentence


@pytest.mark.parametrize(("said", "rating"), [("Y", LOOK), ("N", OK), (None, OK)])
def test_whether_lines_of_a_dead_process_are_let_go(
    said: str | None, rating: Rating, tmp_path: Path
) -> None:
    """The drivers' parameter: raspberrypi/linux pull request 6150."""
    if said is not None:
        file = tmp_path / "module/pinctrl_bcm2835/parameters/persist_gpio_outputs"
        file.parent.mkdir(parents=True)
        file.write_text(f"{said}\n")
    found = look_at_letting_go(tmp_path)
    assert found.rating is rating
    assert ("strict_gpiod" in found.sentence) is (said is not None)


def test_memory_that_nobody_is_held_to(tmp_path: Path) -> None:
    """A stock Raspberry Pi boots with cgroup_disable=memory: MemoryMax does nothing there."""
    file = tmp_path / "fs/cgroup/cgroup.controllers"
    file.parent.mkdir(parents=True)
    file.write_text("cpuset cpu io pids\n")
    assert look_at_memory(tmp_path).rating is LOOK
    file.write_text("cpuset cpu io memory pids\n")
    assert look_at_memory(tmp_path).rating is OK
    assert look_at_memory(tmp_path / "none").rating is OK
