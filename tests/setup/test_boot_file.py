"""config.txt: what is in force on a board, and what is written there.

Sections and parameters as the firmware's documentation of config.txt has them.
"""

from __future__ import annotations

import pytest

from nightcure.setup.boot_file import (
    BEGIN,
    END,
    STRICT,
    BootFileError,
    bus_pins,
    in_force,
    with_block,
    without_block,
)

OVEN = {"heater": {"pin": 17}, "contactor": {"pin": 27, "active_high": False}}
PI4, PI5 = "Raspberry Pi 4 Model B Rev 1.4", "Raspberry Pi 5 Model B Rev 1.0"
ZERO2 = "Raspberry Pi Zero 2 W Rev 1.0"


@pytest.mark.parametrize(
    ("text", "model", "pins"),
    [
        ("dtoverlay=w1-gpio", "", [4]),
        ("dtoverlay=w1-gpio,gpiopin=26,pullup=1", "", [26]),
        ("  dtoverlay = w1-gpio , gpiopin=26  # the oven's", PI4, [26]),
        ("#dtoverlay=w1-gpio", PI4, []),
        ("[pi5]\ndtoverlay=w1-gpio\n", PI4, []),
        ("[pi5]\ndtoverlay=w1-gpio\n", PI5, [4]),
        ("[pi5]\ndtoverlay=w1-gpio\n", "", []),
        ("[pi5]\nx=1\n[all]\ndtoverlay=w1-gpio\n", PI4, [4]),
        ("[pi02]\ndtoverlay=w1-gpio\n", ZERO2, [4]),
        ("[pi0]\ndtoverlay=w1-gpio\n", ZERO2, []),
        ("[none]\ndtoverlay=w1-gpio\n", PI4, []),
        ("[EDID=VSC-TD2220]\ndtoverlay=w1-gpio\n", PI4, []),
        ("dtoverlay=w1-gpio\ndtoverlay=w1-gpio,gpiopin=17\n", PI4, [4, 17]),
        ("dtoverlay=w1-gpio-other", PI4, []),
    ],
)
def test_which_bus_is_set_up(text: str, model: str, pins: list[int]) -> None:
    """A comment and another board's section passed for an overlay; fails before this."""
    assert bus_pins(text, model) == pins


def test_a_bus_in_a_comment_gets_one_of_its_own() -> None:
    """Fails before this: the words were looked for, wherever they stood."""
    for text in ("#dtoverlay=w1-gpio\n", "[pi5]\ndtoverlay=w1-gpio\n[all]\n"):
        assert bus_pins(with_block(text, OVEN, PI4), PI4) == [4]
    assert with_block("dtoverlay=w1-gpio,gpiopin=26\n", OVEN, PI4).count("w1-gpio") == 1


def test_lines_of_a_dead_process_are_let_go() -> None:
    """Fails before this: nothing asked for strict_gpiod. raspberrypi/linux pull request 6117.

    A parameter after an overlay would be the overlay's: an empty overlay ends its reach (the
    firmware's documentation of config.txt).
    """
    block = in_force(with_block("dtoverlay=vc4-kms-v3d\n", OVEN, PI4), PI4)
    assert STRICT in block
    assert (
        block.index("dtoverlay=") < block.index(STRICT) < block.index("dtoverlay=w1-gpio,gpiopin=4")
    )
    assert "gpio=17=op,dl" in block
    assert "gpio=27=op,dh" in block
    pi5 = with_block("[cm4]\notg_mode=1\n", OVEN, PI5)
    assert STRICT in in_force(pi5, PI5), "ours counts on every board"


def test_written_twice_is_written_once_and_taken_out_whole() -> None:
    for text in ("", "arm_64bit=1", "arm_64bit=1\n", "a=1\n[pi4]\nb=2\n"):
        once = with_block(text, OVEN)
        assert with_block(once, OVEN) == once
        assert without_block(once).rstrip("\n") == text.rstrip("\n")
        assert once.count(BEGIN) == once.count(END) == 1
    assert "gpio=" not in with_block("", {}), "a package without settings knows no pins yet"


def test_a_block_without_end_is_refused() -> None:
    with pytest.raises(BootFileError, match="mend it by hand"):
        with_block(BEGIN + "gpio=17=op,dl\n", OVEN)
