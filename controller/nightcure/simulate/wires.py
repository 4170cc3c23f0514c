"""Stand-in wires: a 1-Wire-like tree for the real sensor adapter, pins for the real relay.

What the adapters see is what the kernel would show them; what stands behind is a virtual oven.
"""

from __future__ import annotations

import os
import shutil
from functools import lru_cache
from pathlib import Path

from . import bench_chip


def crc8(data: bytes) -> int:
    """Dallas/Maxim CRC-8: x^8 + x^5 + x^4 + 1, reflected, from 0 (application note 27)."""
    crc = 0
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc >> 1) ^ 0x8C if crc & 1 else crc >> 1
    return crc


@lru_cache(maxsize=2048)
def scratchpad(value_c: float) -> bytes:
    """The nine bytes a DS18B20 at 12 bit holds after converting `value_c` (data sheet)."""
    code = round(value_c * 16.0) & 0xFFFF
    remain = 0x10 - (code & 0x0F)
    data = bytes((code & 0xFF, code >> 8, 0x4B, 0x46, 0x7F, 0xFF, remain, 0x10))
    return data + bytes((crc8(data),))


POWER_ON = bytes((0x50, 0x05, 0x4B, 0x46, 0x7F, 0xFF, 0x0C, 0x10, 0x1C))


class W1Tree:
    """The kernel's 1-Wire device tree under `root`, as w1_therm shows it.

    Args:
        buses: over which the sensors are spread, one after the other.
        bulk: whether the kernel offers bulk conversions.
    """

    def __init__(
        self, root: Path, sensor_ids: list[str], buses: int = 1, bulk: bool = True
    ) -> None:
        self.root = root
        self._folder = os.fspath(root)
        self._last: dict[str, bytes] = {}
        self._shown: dict[str, str] = {}
        for number in range(buses):
            master = root / f"w1_bus_master{number + 1}"
            master.mkdir(parents=True, exist_ok=True)
            if bulk:
                (master / "therm_bulk_read").write_text("0\n", encoding="ascii")
            on_bus = "".join(f"{i}\n" for i in sensor_ids[number::buses])
            (master / "w1_master_slaves").write_text(on_bus, encoding="ascii")
        for sensor_id in sensor_ids:
            self.set_c(sensor_id, 20.0)

    def set_c(self, sensor_id: str, value_c: float) -> None:
        """A good reading, rounded to the sensor's 1/16 °C."""
        self._write(sensor_id, scratchpad(value_c))

    def power_on(self, sensor_id: str) -> None:
        """The 85 °C a sensor answers with when it lost its supply and has not converted."""
        self._write(sensor_id, POWER_ON)

    def crc(self, sensor_id: str) -> None:
        """A failed checksum; as the kernel does, the second line keeps the old value."""
        good = self._last.get(sensor_id, scratchpad(20.0))
        bad = bytes((good[0] ^ 0x20, *good[1:]))
        self._put(sensor_id, _lines(bad, good, "NO"))

    def empty(self, sensor_id: str) -> None:
        """What 6.x kernels show on a failed checksum or a dead bus: nothing."""
        self._put(sensor_id, "")

    def missing(self, sensor_id: str) -> None:
        """Gone from the bus."""
        shutil.rmtree(self.root / sensor_id, ignore_errors=True)

    def _write(self, sensor_id: str, data: bytes) -> None:
        self._last[sensor_id] = data
        self._put(sensor_id, _lines(data, data, "YES"))

    def _put(self, sensor_id: str, text: str) -> None:
        """Replace the file in one step, so that no reader sees half of it; one that says so
        already stays."""
        folder = f"{self._folder}/{sensor_id}"
        shown, fresh = f"{folder}/w1_slave", f"{folder}/w1_slave.new"
        if self._shown.get(sensor_id) == text and os.path.exists(shown):
            return
        os.makedirs(folder, exist_ok=True)
        with open(fresh, "w", encoding="ascii") as file:
            file.write(text)
        os.replace(fresh, shown)
        self._shown[sensor_id] = text


@lru_cache(maxsize=2048)
def _lines(first: bytes, second: bytes, crc_word: str) -> str:
    code = int.from_bytes(second[:2], "little", signed=True)
    return (
        f"{first.hex(' ')} : crc={crc8(first[:8]):02x} {crc_word}\n"
        f"{second.hex(' ')} t={int(code * 1000 / 16)}\n"
    )


def bench_environment(pins: Path) -> dict[str, str]:
    """What makes a process drive the files of `pins` instead of the board; the folder is made."""
    pins.mkdir(parents=True, exist_ok=True)
    (pins / "gpiochip0").touch()
    return {"NIGHTCURE_GPIOD": bench_chip.__name__, "NIGHTCURE_BENCH": str(pins.absolute())}


def read_pin(root: Path, number: int) -> bool:
    """Whether pin `number` is driven high, seen from outside its process."""
    try:
        return (root / f"gpio{number}").read_bytes() == b"1"
    except FileNotFoundError:
        return False
