"""The real adapter, through w1thermsensor, on a tree as the kernel shows it."""

from __future__ import annotations

import os
import shutil
import threading
import time
from pathlib import Path

import pytest

from nightcure.clock import MachineClock
from nightcure.measure.ds18b20 import CONVERSION_S, Bus, Reader
from nightcure.measure.reading import Fault, Reading
from nightcure.oven.wires import W1Tree

IDS = tuple(f"28-0000000000{i:02x}" for i in range(1, 9))


class CountingClock:
    """Time that passes only in sleep."""

    def __init__(self) -> None:
        self.now_s = 100.0

    def monotonic(self) -> float:
        return self.now_s

    def wall(self) -> float:
        return self.now_s

    def sleep(self, duration_s: float) -> None:
        self.now_s += duration_s

    def join(self) -> None: ...

    def leave(self) -> None: ...


@pytest.fixture
def tree(tmp_path: Path) -> W1Tree:
    return W1Tree(tmp_path, list(IDS))


def bus(tree: W1Tree, clock: CountingClock | None = None) -> Bus:
    return Bus(IDS, clock or CountingClock(), tree.root)


def test_eight_sensors_take_one_conversion(tree: W1Tree) -> None:
    clock = CountingClock()
    for i, sensor_id in enumerate(IDS):
        tree.set_c(sensor_id, 20.0 + i)
    found = bus(tree, clock).read_all()
    assert [r.value_c for r in found] == [20.0 + i for i in range(8)]
    assert {r.taken_s for r in found} == {100.0}, "stamped by the conversion that made them"
    assert clock.now_s == pytest.approx(100.0 + CONVERSION_S)
    assert (tree.root / "w1_bus_master1" / "therm_bulk_read").read_text() == "trigger\n"


def test_without_bulk_conversion_they_are_read_one_by_one(tree: W1Tree) -> None:
    (tree.root / "w1_bus_master1" / "therm_bulk_read").unlink()
    clock = CountingClock()
    assert [r.fault for r in bus(tree, clock).read_all()] == [None] * 8
    assert clock.now_s == 100.0


@pytest.mark.parametrize("value_c", [-54.9375, -10.125, -0.5, 0.0, 25.0625, 38.0, 85.0625, 124.0])
def test_values_come_through(tree: W1Tree, value_c: float) -> None:
    tree.set_c(IDS[0], value_c)
    read = bus(tree).read(IDS[0], 1.0)
    assert read.fault is None
    assert read.value_c == pytest.approx(value_c, abs=0.001)  # the kernel gives m°C


def test_a_true_85_is_told_from_a_power_on_85(tree: W1Tree) -> None:
    tree.set_c(IDS[0], 85.0)
    assert bus(tree).read(IDS[0], 1.0) == Reading(85.0, 1.0)
    tree.power_on(IDS[0])
    assert bus(tree).read(IDS[0], 1.0) == Reading(85.0, 1.0, Fault.POWER_ON)


def test_a_failed_checksum_gives_no_value_though_an_old_one_is_shown(tree: W1Tree) -> None:
    tree.set_c(IDS[0], 31.0)
    tree.crc(IDS[0])
    assert "t=31000" in (tree.root / IDS[0] / "w1_slave").read_text()
    assert bus(tree).read(IDS[0], 1.0) == Reading(None, 1.0, Fault.CRC)


def test_an_all_zero_frame_passes_the_checksum_and_is_refused(tree: W1Tree) -> None:
    zeros = "00 00 00 00 00 00 00 00 00"
    (tree.root / IDS[0] / "w1_slave").write_text(f"{zeros} : crc=00 YES\n{zeros} t=0\n")
    assert bus(tree).read(IDS[0], 1.0).fault is Fault.CRC


@pytest.mark.parametrize(
    "text", ["", "50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n", "rubbish\nmore t=abc\n"]
)
def test_half_a_file_or_none_is_a_fault(tree: W1Tree, text: str) -> None:
    (tree.root / IDS[0] / "w1_slave").write_text(text)
    read = bus(tree).read(IDS[0], 1.0)
    assert read.value_c is None
    assert read.fault in (Fault.BUS, Fault.CRC)


def test_disconnect_garbage_is_out_of_range(tree: W1Tree) -> None:
    frame = "ff 07 ff ff ff ff ff ff 00"
    (tree.root / IDS[0] / "w1_slave").write_text(f"{frame} : crc=00 YES\n{frame} t=127937\n")
    assert bus(tree).read(IDS[0], 1.0).fault is Fault.RANGE


def test_a_missing_sensor_and_an_unreadable_one(tree: W1Tree) -> None:
    tree.missing(IDS[0])
    (tree.root / IDS[1] / "w1_slave").unlink()
    found = bus(tree).read_all()
    assert found[0].fault is Fault.MISSING
    assert found[1].fault is Fault.BUS
    assert [r.fault for r in found[2:]] == [None] * 6


def test_a_vanished_bus_is_a_fault_of_every_sensor(tree: W1Tree) -> None:
    shutil.rmtree(tree.root)
    assert {r.fault for r in bus(tree).read_all()} == {Fault.MISSING}


def test_the_reader_never_blocks_while_the_bus_hangs(tree: W1Tree) -> None:
    slave = tree.root / IDS[0] / "w1_slave"
    slave.unlink()
    os.mkfifo(slave)  # a read that never ends
    (tree.root / "w1_bus_master1" / "therm_bulk_read").unlink()
    reader = Reader(Bus(IDS, MachineClock(), tree.root), MachineClock(), len(IDS))
    reader.start()
    answers: list[object] = []
    asker = threading.Thread(target=lambda: answers.append(reader.latest()), daemon=True)
    asker.start()
    asker.join(5.0)
    assert len(answers) == 1
    assert all(r.value_c is None for r in reader.latest())
    slave.write_text("")  # lets the thread go
    reader.stop()


def test_the_reader_survives_anything_the_bus_throws() -> None:
    rounds: list[int] = []

    class Bad:
        def read_all(self) -> tuple[Reading, ...]:
            rounds.append(1)
            if len(rounds) == 2:
                raise RuntimeError("boom")
            return (Reading(21.0, float(len(rounds))),)

    reader = Reader(Bad(), MachineClock(), 1, period_s=0.02)  # type: ignore[arg-type]
    reader.start()
    end_s = time.monotonic() + 10
    seen: set[Fault | None] = set()
    while len(rounds) < 60 and time.monotonic() < end_s:
        seen.add(reader.latest()[0].fault)
        time.sleep(0.002)
    reader.stop()
    assert Fault.BUS in seen
    assert reader.latest()[0].value_c == 21.0
