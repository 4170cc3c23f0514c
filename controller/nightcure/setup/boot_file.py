"""config.txt, the firmware's settings of a Raspberry Pi: what is in force, and what we write there.

Standard library only: the installer runs it before the program is installed.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

BEGIN, END = "# nightcure begin\n", "# nightcure end\n"
#: Where it is; before Debian 12 it was the second.
PLACES = ("boot/firmware/config.txt", "boot/config.txt")
#: Tells the kernel to make a line an input again when the process that drives it has died; without
#: it a Raspberry Pi's kernel keeps the line driven (raspberrypi/linux pull requests 6117 and 6150).
STRICT = "dtparam=strict_gpiod"
#: The annunciator's outputs (nightcure.settings.ANNUNCIATOR, which needs more than this may).
TELL = ("siren", "running", "waiting", "ready", "alarm")
BUS = "dtoverlay=w1-gpio"
#: The bus's pin where nothing says otherwise (the overlay's own default).
BUS_PIN = 4

_SECTION = re.compile(r"\[([^\]]*)\]")
#: A section's name -> the board's name, as in /proc/device-tree/model (the firmware's
#: documentation of config.txt, "Conditional filters").
_BOARDS = {
    "pi0": r"Zero(?! 2)",
    "pi0w": r"Zero W",
    "pi02": r"Zero 2",
    "pi1": r"Pi (Model|1)",
    "pi2": r"Pi 2",
    "pi3": r"Pi 3|Zero 2",
    "pi3+": r"Pi 3 Model . Plus",
    "pi4": r"Pi 4|Compute Module 4|Pi 400",
    "pi400": r"Pi 400",
    "pi5": r"Pi 5|Compute Module 5",
    "cm4": r"Compute Module 4",
    "cm5": r"Compute Module 5",
}


MODEL = Path("/proc/device-tree/model")


def board_model() -> str:
    """The board's name as the firmware tells it; empty on another machine."""
    try:
        return MODEL.read_text("utf-8", errors="replace").strip("\0\n ")
    except OSError:
        return ""


class BootFileError(ValueError):
    """What is wrong with config.txt, and what to do."""


def in_force(text: str, model: str = "") -> list[str]:
    """The lines that count on a board of this model: no comment, no other board's section.

    Args:
        model: as /proc/device-tree/model has it; without one only what is for all boards counts.
    """
    found, counts = [], True
    for raw in text.splitlines():
        line = raw.partition("#")[0].strip()
        section = _SECTION.fullmatch(line)
        if section:
            name = section[1].strip().lower()
            board = _BOARDS.get(name)
            counts = name == "all" or bool(board and model and re.search(board, model))
        elif line and counts:
            found.append(line.replace(" ", ""))
    return found


def bus_pins(text: str, model: str = "") -> list[int]:
    """The pins of every 1-Wire bus that config.txt sets up on this board."""
    pins = []
    for line in in_force(text, model):
        name, *options = line.split(",")
        if name in (BUS, f"{BUS}-pi5", f"{BUS}-pullup"):
            named = [o.partition("=")[2] for o in options if o.startswith("gpiopin=")]
            pins.append(int(named[-1]) if named and named[-1].isdecimal() else BUS_PIN)
    return pins


def without_block(text: str) -> str:
    """config.txt as it was before our lines.

    Raises:
        BootFileError: the end of our lines is missing.
    """
    before, begin, rest = text.partition(BEGIN)
    if not begin:
        return text
    _, end, after = rest.partition(END)
    if not end:
        raise BootFileError(
            "config.txt: '# nightcure begin' has no '# nightcure end'; mend it by hand."
        )
    return before + after


def with_block(text: str, oven: dict[str, Any], model: str = "") -> str:
    """config.txt with every output driven to off early in the boot, lines of a dead process let go,
    the board's watchdog and the bus on.

    A parameter that follows an overlay would be that overlay's, so an empty one comes first.
    """
    text = without_block(text)
    off: dict[str, list[str]] = {"dl": [], "dh": []}
    told = oven.get("annunciator", {})
    outputs = [oven[name] for name in ("heater", "contactor", "fan") if name in oven]
    outputs += [told[name] for name in told if name in TELL]
    for output in outputs:
        level = "dl" if output.get("active_high", True) else "dh"
        off[level].append(str(output["pin"]))
    lines = ["[all]", *(f"gpio={','.join(pins)}=op,{at}" for at, pins in off.items() if pins)]
    lines += ["dtoverlay=", STRICT, "dtparam=watchdog=on"]
    if not bus_pins(text, model):
        lines.append(f"{BUS},gpiopin={BUS_PIN}")
    gap = "" if not text or text.endswith("\n") else "\n"
    return f"{text}{gap}{BEGIN}" + "".join(f"{line}\n" for line in lines) + END
