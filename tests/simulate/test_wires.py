"""The stand-in wires: bench pins as the board's, a 1-Wire tree as the kernel's."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from gpiozero import OutputDevice

from nightcure.board.lines import LineBusy
from nightcure.board.pin_factory import board_pins
from nightcure.simulate.wires import W1Tree, crc8, read_pin

ID = "28-000000000001"
FRAME = re.compile(r"(?:[0-9a-f]{2} ){9}")


def test_a_pin_is_seen_from_outside(pins: Path) -> None:
    device = OutputDevice(17, pin_factory=board_pins())
    assert not read_pin(pins, 17)
    device.on()
    assert read_pin(pins, 17)
    assert (pins / "gpio17").read_bytes() == b"1"
    device.off()
    assert (pins / "gpio17").read_bytes() == b"0"
    device.close()


def test_a_pin_nobody_drove_is_low(tmp_path: Path) -> None:
    assert not read_pin(tmp_path, 17)


def test_a_closed_pin_stays_as_driven(pins: Path) -> None:
    device = OutputDevice(17, pin_factory=board_pins())
    device.on()
    device.close()
    assert read_pin(pins, 17), "the Pi's kernel keeps a line as it was driven"


def test_a_pin_is_held_by_one_process_at_a_time(pins: Path) -> None:
    code = (
        "import sys; from nightcure.board.lines import Line; line = Line(17, True, 'a lamp'); "
        "print('claimed', flush=True); sys.stdin.read()"
    )
    other = subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    )
    assert other.stdout is not None
    assert other.stdout.readline() == "claimed\n"
    with pytest.raises(LineBusy, match=r"^held by 'a lamp'$"):
        OutputDevice(17, pin_factory=board_pins())
    assert read_pin(pins, 17), "a refused claim drives nothing"
    other.kill()
    other.communicate(timeout=20)
    assert read_pin(pins, 17), "nor does its owner's death"
    device = OutputDevice(17, pin_factory=board_pins())
    assert not read_pin(pins, 17), "free again"
    device.close()


def test_a_watcher_never_sees_the_file_empty(pins: Path) -> None:
    device = OutputDevice(17, pin_factory=board_pins())
    seen: set[bytes] = set()
    stop = threading.Event()

    def watch() -> None:
        while not stop.is_set():
            seen.add((pins / "gpio17").read_bytes())

    thread = threading.Thread(target=watch, daemon=True)
    thread.start()
    for _ in range(3000):
        device.toggle()
    stop.set()
    thread.join(5)
    assert seen <= {b"0", b"1"}
    assert seen
    device.close()


def lines(tree: W1Tree) -> list[str]:
    return (tree.root / ID / "w1_slave").read_text().splitlines()


def test_a_good_reading_is_shown_as_the_kernel_shows_it(tmp_path: Path) -> None:
    """Format and truncation towards zero: Linux, drivers/w1/slaves/w1_therm.c, w1_slave_show."""
    tree = W1Tree(tmp_path, [ID])
    for value_c, shown in ((25.0625, 25062), (-10.125, -10125), (-0.0625, -62), (38.02, 38000)):
        tree.set_c(ID, value_c)
        first, second = lines(tree)
        frame = bytes.fromhex(first[:26])
        assert crc8(frame) == 0, "a frame with its checksum appended gives 0"
        assert first == f"{frame.hex(' ')} : crc={frame[8]:02x} YES"
        assert second == f"{frame.hex(' ')} t={shown}"
        assert FRAME.match(first)


def test_a_failed_checksum_shows_no_and_the_old_value(tmp_path: Path) -> None:
    tree = W1Tree(tmp_path, [ID])
    tree.set_c(ID, 31.0)
    good = lines(tree)[1]
    tree.crc(ID)
    first, second = lines(tree)
    frame = bytes.fromhex(first[:26])
    assert crc8(frame) != 0
    assert first.endswith(f"crc={crc8(frame[:8]):02x} NO"), "the checksum computed, not the sent"
    assert second == good


def test_power_on_missing_and_empty(tmp_path: Path) -> None:
    tree = W1Tree(tmp_path, [ID])
    tree.power_on(ID)
    assert lines(tree) == [
        "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES",
        "50 05 4b 46 7f ff 0c 10 1c t=85000",
    ]
    tree.empty(ID)
    assert lines(tree) == []
    tree.missing(ID)
    assert not (tmp_path / ID).exists()
    tree.set_c(ID, 20.0)
    assert lines(tree)[1].endswith("t=20000"), "plugged in again"


def test_the_master_lists_its_sensors(tmp_path: Path) -> None:
    W1Tree(tmp_path, [ID, "28-0000000000ff"])
    master = tmp_path / "w1_bus_master1"
    assert (master / "w1_master_slaves").read_text() == f"{ID}\n28-0000000000ff\n"
    assert (master / "therm_bulk_read").read_text() == "0\n"
    assert os.access(master / "therm_bulk_read", os.W_OK)


def test_a_reader_never_sees_half_a_file(tmp_path: Path) -> None:
    tree = W1Tree(tmp_path, [ID])
    slave = tmp_path / ID / "w1_slave"
    sizes: set[int] = set()
    stop = threading.Event()

    def look() -> None:
        while not stop.is_set():
            sizes.add(slave.read_text().count("\n"))

    thread = threading.Thread(target=look, daemon=True)
    thread.start()
    for i in range(1500):
        tree.set_c(ID, 20.0 + i / 16)
    stop.set()
    thread.join(5)
    assert sizes == {2}
