"""Which board it is, and what of its system matters: letting go of lines, bus master, memory."""

from __future__ import annotations

import re
from contextlib import suppress
from pathlib import Path

from .boot_file import board_model
from .finding import Finding, Rating

#: Its 1-Wire is made by software over a chip that answers late (raspberrypi/linux issues 6917,
#: 5846): thermometers come and go.
LOSES_SENSORS = re.compile(r"Pi 5|Compute Module 5|Pi 500")


def look_at_board(sys: Path, model: str | None = None) -> Finding:
    """The board's name, and how it drives the 1-Wire bus."""
    model = board_model() if model is None else model
    masters = bus_masters(sys)
    figures = {"model": model or None, "bus_masters": masters}
    name = model or "Not a Raspberry Pi, as far as it tells"
    if LOSES_SENSORS.search(model) and "DS2482" not in " ".join(masters):
        return Finding(
            "board",
            Rating.LOOK,
            f"{name}: its 1-Wire by GPIO loses thermometers now and then. Take a Zero 2 W, 3 or 4, "
            f"or an I²C bus master (hardware-notes/board.md).",
            figures,
        )
    shown = f"; 1-Wire by {', '.join(masters)}" if masters else ""
    return Finding("board", Rating.OK, f"{name}{shown}.", figures)


def bus_masters(sys: Path) -> list[str]:
    """What drives 1-Wire here, by the kernel's drivers."""
    found = []
    with suppress(OSError):
        for device in sorted((sys / "bus/i2c/drivers/ds2482").glob("*-00*")):
            found.append(f"a DS2482 at I²C {device.name}")
    with suppress(OSError):
        if any((sys / "bus/platform/drivers/w1-gpio").glob("*onewire*")):
            found.append("GPIO")
    return found


def look_at_letting_go(sys: Path) -> Finding:
    """Does the kernel let go of the lines of a process that has died?

    A Raspberry Pi's keeps them driven unless it is told otherwise (its drivers' parameter
    `persist_gpio_outputs`; raspberrypi/linux pull request 6150).
    """
    said = None
    for file in sorted((sys / "module").glob("*/parameters/persist_gpio_outputs")):
        with suppress(OSError):
            said = file.read_text(encoding="ascii").strip() in ("Y", "1")
    figures = {"persist_gpio_outputs": said}
    if said is None:
        sentence = "This kernel does not say whether it lets go of a dead process's pins."
        return Finding("dead process", Rating.OK, sentence, figures)
    if said:
        sentence = (
            "The kernel keeps a dead process's pins driven until nightcure off has run: "
            "dtparam=strict_gpiod in config.txt (nightcure setup writes it), then reboot."
        )
        return Finding("dead process", Rating.LOOK, sentence, figures)
    sentence = "The kernel lets go of a dead process's pins (strict_gpiod)."
    return Finding("dead process", Rating.OK, sentence, figures)


def look_at_memory(sys: Path) -> Finding:
    """Can the page be held to its share of memory?"""
    with suppress(OSError):
        there = (sys / "fs/cgroup/cgroup.controllers").read_text(encoding="ascii").split()
        if "memory" not in there:
            return Finding(
                "memory",
                Rating.LOOK,
                "The kernel holds nobody to a share of memory, so the page's MemoryMax does "
                "nothing; the controller is the last to be ended all the same. "
                "cgroup_enable=memory in cmdline.txt changes that.",
                {"limited": False},
            )
        return Finding("memory", Rating.OK, "The page is held to its share.", {"limited": True})
    return Finding("memory", Rating.OK, "Nobody says whether shares are held.", {"limited": None})
