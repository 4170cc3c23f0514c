"""DS18B20 codes and checksums against the manufacturer's data sheet and application note 27."""

from __future__ import annotations

import pytest

from nightcure.simulate.wires import POWER_ON, crc8, scratchpad

#: Manufacturer's data sheet, table 1 (temperature / data relationship).
TABLE_1 = [
    (125.0, 0x07D0), (85.0, 0x0550), (25.0625, 0x0191), (10.125, 0x00A2), (0.5, 0x0008),
    (0.0, 0x0000), (-0.5, 0xFFF8), (-10.125, 0xFF5E), (-25.0625, 0xFE6F), (-55.0, 0xFC90),
]  # fmt: skip


@pytest.mark.parametrize(("value_c", "code"), TABLE_1)
def test_codes(value_c: float, code: int) -> None:
    data = scratchpad(value_c)
    assert data[0] | data[1] << 8 == code


def test_crc_example_of_application_note_27() -> None:
    rom = bytes.fromhex("021CB801000000")
    assert crc8(rom) == 0xA2
    assert crc8(rom + b"\xa2") == 0


@pytest.mark.parametrize(
    ("frame", "crc"),
    [
        ("50 05 4B 46 7F FF 0C 10", 0x1C),  # power-on 85: byte 6 is 0Ch (kernel's w1_therm)
        ("98 01 4B 46 7F FF 08 10", 0x22),  # 25.5 °C
        ("50 05 4B 46 7F FF 10 10", 0xBD),  # a true 85.0
    ],
)
def test_whole_frames(frame: str, crc: int) -> None:
    assert crc8(bytes.fromhex(frame)) == crc


def test_our_frames_are_those() -> None:
    assert scratchpad(25.5) == bytes.fromhex("98014B467FFF081022")
    assert scratchpad(85.0) == bytes.fromhex("50054B467FFF1010BD")
    assert bytes.fromhex("50054B467FFF0C101C") == POWER_ON
