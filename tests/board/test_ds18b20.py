"""The real adapter, through w1thermsensor, on a tree as the kernel shows it."""

from __future__ import annotations

import itertools
import os
import shutil
import threading
import time
from collections.abc import Callable
from pathlib import Path

import pytest

from nightcure.board.ds18b20 import ALIKE_ROUNDS, CONVERSION_S, Bus
from nightcure.board.sensor_reader import Reader
from nightcure.clock import MachineClock, PacedClock
from nightcure.simulate.wires import W1Tree
from nightcure.tick import Fault, Reading
from tests.board.kernel_files import TimedFiles

Seen = Callable[[int, Reading], None]
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


class Kernel(TimedFiles):
    """Converts with what `on_look` says; answers in `therm_bulk_read` as it is told."""

    def __init__(self, tree: W1Tree, clock: CountingClock, writable: bool = True) -> None:
        super().__init__(tree, clock, writable)
        self.on_look = lambda sensor_id: None
        self.answer: str | None = None

    def converts(self, sensor_id: str) -> None:
        self.on_look(sensor_id)

    def read(self, path: Path) -> str:
        if path.name == "therm_bulk_read" and self.answer is not None:
            return f"{self.answer}\n"
        return super().read(path)


def bus(tree: W1Tree, clock: CountingClock | None = None, files: TimedFiles | None = None) -> Bus:
    return Bus(IDS, clock or CountingClock(), tree.root, files)


def test_eight_sensors_take_one_conversion(tree: W1Tree) -> None:
    clock = CountingClock()
    for i, sensor_id in enumerate(IDS):
        tree.set_c(sensor_id, 20.0 + i)
    found = bus(tree, clock).read_all()
    assert [r.value_c for r in found] == [20.0 + i for i in range(8)]
    assert {r.taken_s for r in found} == {100.0}, "stamped by the conversion that made them"
    assert clock.now_s == pytest.approx(100.0 + CONVERSION_S)
    assert (tree.root / "w1_bus_master1" / "therm_bulk_read").read_text() == "trigger\n"


def test_on_the_kernels_file_eight_sensors_take_one_conversion_too(tree: W1Tree) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    found = bus(tree, clock, kernel).read_all()
    assert clock.now_s == pytest.approx(100.0 + CONVERSION_S), "the write has waited already"
    assert kernel.looks == list(IDS), "one look each: a second one converts anew"
    assert {(r.taken_s, r.fault) for r in found} == {(100.0, None)}


def test_a_kernel_that_converted_nothing_leaves_each_its_own_time(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    kernel.answer = "0"  # the write is never refused (w1_therm.c, therm_bulk_read_store)
    monkeypatch.setattr(kernel, "write", lambda path, text: None)
    found = bus(tree, clock, kernel).read_all()
    assert [r.taken_s for r in found] == [100.0 + i * CONVERSION_S for i in range(8)]


def test_a_conversion_of_somebody_else_is_waited_for(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    kernel.answer = "-1"
    bus(tree, clock, kernel).read_all()
    assert clock.now_s == pytest.approx(100.0 + 2 * CONVERSION_S)


def test_a_value_left_from_an_old_bulk_conversion_is_dropped(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock, writable=False)
    for sensor_id in IDS:
        tree.set_c(sensor_id, 60.0)
    kernel.pending = {*IDS, "28-undeclared"}  # converted an hour ago, never read
    kernel.on_look = lambda sensor_id: tree.set_c(sensor_id, 20.0)
    reading = bus(tree, clock, kernel)
    assert {r.value_c for r in reading.read_all()} == {20.0}
    assert len(kernel.looks) == 16
    reading.read_all()
    assert len(kernel.looks) == 24, "dropped once only"


def test_a_power_on_85_is_judged_by_the_look_that_showed_it(
    tree: W1Tree, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A second look is another conversion: its byte 6 says nothing of the first."""
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    tree.power_on(IDS[0])
    kernel.pending = {IDS[0]}
    kernel.on_look = lambda sensor_id: tree.set_c(sensor_id, 21.0)
    assert bus(tree, clock, kernel).read(IDS[0], 1.0) == Reading(85.0, 1.0, Fault.POWER_ON)
    assert kernel.looks == [IDS[0]]


def test_a_failed_look_is_not_repeated(tree: W1Tree, monkeypatch: pytest.MonkeyPatch) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    tree.crc(IDS[0])
    tree.empty(IDS[1])
    assert bus(tree, clock, kernel).read(IDS[0], 1.0).fault is Fault.CRC
    assert bus(tree, clock, kernel).read(IDS[1], 1.0).fault is Fault.BUS
    assert kernel.looks == [IDS[0], IDS[1]]


def test_the_environment_names_another_tree(tree: W1Tree, monkeypatch: pytest.MonkeyPatch) -> None:
    tree.set_c(IDS[0], 33.0)
    monkeypatch.setenv("NIGHTCURE_W1_ROOT", str(tree.root))
    assert Bus(IDS[:1], CountingClock()).read(IDS[0], 1.0) == Reading(33.0, 1.0)


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
    ("text", "fault"),
    [
        (b"", Fault.BUS),
        (b"50 05 4b 46 7f ff 0c 10 1c : crc=1c YES\n", Fault.BUS),
        (b"98 01 4b 46 7f ff 08 10 22 : crc=22 YES\nmore t=abc\n", Fault.BUS),
        (b"rubbish\nmore t=31000\n", Fault.CRC),
        (b"\xff\xfe\n", Fault.BUS),
    ],
)
def test_half_a_file_or_none_is_a_fault(tree: W1Tree, text: bytes, fault: Fault) -> None:
    (tree.root / IDS[0] / "w1_slave").write_bytes(text)
    assert bus(tree).read(IDS[0], 1.0) == Reading(None, 1.0, fault)


@pytest.mark.parametrize("value_c", [-55.0, 125.0])
def test_the_ends_of_the_range_are_values(tree: W1Tree, value_c: float) -> None:
    tree.set_c(IDS[0], value_c)
    assert bus(tree).read(IDS[0], 1.0) == Reading(value_c, 1.0)


@pytest.mark.parametrize("value_c", [-55.0625, 125.0625])
def test_past_the_ends_it_is_out_of_range(tree: W1Tree, value_c: float) -> None:
    tree.set_c(IDS[0], value_c)
    assert bus(tree).read(IDS[0], 1.0).fault is Fault.RANGE


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
        def read_round(self, seen: Seen) -> None:
            rounds.append(1)
            if len(rounds) == 2:
                raise RuntimeError("boom")
            seen(0, Reading(21.0, float(len(rounds))))

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


def test_before_the_first_round_every_sensor_is_missing() -> None:
    class Never:
        def read_round(self, seen: Seen) -> None:
            raise AssertionError("not started")

    reader = Reader(Never(), CountingClock(), 3)  # type: ignore[arg-type]
    assert reader.latest() == (Reading(None, 100.0, Fault.MISSING),) * 3


def test_a_failing_bus_is_logged_once_a_spell(caplog: pytest.LogCaptureFixture) -> None:
    rounds: list[int] = []

    class Bad:
        def read_round(self, seen: Seen) -> None:
            rounds.append(1)
            if len(rounds) % 10:
                raise RuntimeError("boom")
            seen(0, Reading(21.0, 0.0))

    reader = Reader(Bad(), MachineClock(), 1, period_s=0.001)  # type: ignore[arg-type]
    reader.start()
    end_s = time.monotonic() + 20
    while len(rounds) < 25 and time.monotonic() < end_s:
        time.sleep(0.005)
    reader.stop()
    assert len(rounds) >= 25
    spells = (len(rounds) - 1) // 10 + 1
    # The last round may or may not have opened a spell of its own.
    assert spells - 1 <= caplog.text.count("could not be read") <= spells


def test_on_a_paced_clock_a_round_starts_every_second(tree: W1Tree) -> None:
    clock = PacedClock(1e4, 1000.0)
    starts: list[float] = []

    class Watched(Bus):
        def read_round(self, seen: Seen) -> None:
            starts.append(clock.monotonic())
            super().read_round(seen)

    clock.join()
    reader = Reader(Watched(IDS, clock, tree.root), clock, len(IDS))
    reader.start()
    end_s = time.monotonic() + 20
    while len(starts) < 1 and time.monotonic() < end_s:
        time.sleep(0.002)
    for _ in range(12):
        clock.sleep(1.0)
    clock.leave()
    reader.stop()
    assert len(starts) >= 10
    gaps = [b - a for a, b in itertools.pairwise(starts)]
    assert gaps == pytest.approx([1.0] * len(gaps)), "one conversion within each second"
    assert reader.latest()[0].fault is None


def test_two_buses_are_read_each_in_its_way(tmp_path: Path) -> None:
    """One converts in bulk, the other (a bridge, an older kernel) one by one."""
    tree = W1Tree(tmp_path, list(IDS), buses=2)
    (tmp_path / "w1_bus_master2" / "therm_bulk_read").unlink()
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    found = bus(tree, clock, kernel).read_all()
    assert [r.fault for r in found] == [None] * 8
    first = 100.0 + CONVERSION_S
    assert [r.taken_s for r in found[0::2]] == [100.0] * 4
    assert [r.taken_s for r in found[1::2]] == [first + i * CONVERSION_S for i in range(4)]
    assert clock.now_s == pytest.approx(100.0 + 5 * CONVERSION_S)


def test_a_bulk_conversion_that_no_sensor_heard_is_found_out(
    tree: W1Tree, caplog: pytest.LogCaptureFixture
) -> None:
    """The kernel calls it done, and the old values have good checksums."""
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    true_c = 20.0
    kernel.on_look = lambda sensor_id: tree.set_c(sensor_id, true_c)
    reading = bus(tree, clock, kernel)
    for i in range(3 * ALIKE_ROUNDS):
        true_c = 20.0 + 0.02 * i
        found = reading.read_all()
    assert all(abs((r.value_c or 0.0) - true_c) < 0.2 for r in found)
    assert caplog.text.count("converts nothing") == 1


def test_values_that_stand_still_are_no_reason_to_distrust_bulk_conversions(tree: W1Tree) -> None:
    clock = CountingClock()
    kernel = Kernel(tree, clock)
    reading = bus(tree, clock, kernel)
    for _ in range(3 * ALIKE_ROUNDS):
        reading.read_all()
    looked_s = clock.now_s
    reading.read_all()
    assert clock.now_s == pytest.approx(looked_s + CONVERSION_S), "in bulk still"


def test_a_reading_counts_as_soon_as_it_is_there(tree: W1Tree) -> None:
    handed: list[tuple[int, float]] = []
    clock = CountingClock()
    kernel = Kernel(tree, clock, writable=False)
    bus(tree, clock, kernel).read_round(lambda i, r: handed.append((i, clock.now_s - r.taken_s)))
    assert handed == [(i, CONVERSION_S) for i in range(8)]
