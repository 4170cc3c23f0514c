"""Tables as loggers, spreadsheets and pencils leave them: read right, or told, never misread."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.survey.read_log import Columns, read_log
from tests.survey.tables import ROWS, Read, refused, text

BEGAN = datetime.fromisoformat("2026-11-26 23:30")
STAMPS: dict[str, tuple[str, Callable[[float], str]]] = {
    "ISO 8601": ("time", lambda t: str(BEGAN + timedelta(seconds=t))),
    "ISO 8601 with its zone": (
        "Timestamp", lambda t: (BEGAN + timedelta(seconds=t)).isoformat() + "+01:00"
    ),
    "am and pm": ("time", lambda t: f"{BEGAN + timedelta(seconds=t):%I:%M %p}"),
    "milliseconds": ("time_ms", lambda t: str(1000 * t)),
    "a spreadsheet's days": ("time (days)", lambda t: f"{46352.9 + t / 86400:.9f}"),
}  # fmt: skip


@pytest.mark.parametrize("way", STAMPS)
def test_times_as_loggers_and_spreadsheets_write_them(read: Read, way: str) -> None:
    """ISO 8601's date and time over a midnight; a spreadsheet's serial days (1 d = 86 400 s)."""
    name, written = STAMPS[way]
    log = read(text([(written(t), a, h) for t, a, h in ROWS], f"{name},air,heater"))
    assert log.time_s - log.time_s[0] == pytest.approx([r[0] for r in ROWS], abs=1e-3)
    assert not log.assumed


def test_with_dates_the_heaters_times_may_be_of_the_clock(read: Read) -> None:
    rows = [(STAMPS["ISO 8601"][1](t), a) for t, a, _ in ROWS]
    log = read(text(rows, "timestamp,air"), off=["0:00"])
    assert list(log.heat_time_s - log.time_s[0]) == [0.0, 1800.0]
    assert list(read(text(rows, "timestamp,air"), off=["2026-11-27 00:00"]).heat) == [1.0, 0.0]


@pytest.mark.parametrize("encoding", ["utf-16", "cp1252", "utf-8-sig"])
def test_encodings_of_a_spreadsheet(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "log.csv"
    rows = [(f"{t / 60:g}", f"{a:.2f}".replace(".", ","), h) for t, a, h in ROWS]
    body = "sep=;\n" + text(rows, "min;air (°C);heater", ";")
    path.write_bytes(body.replace("\n", "\r\n").encode(encoding))
    log = read_log(path)
    assert log.air_c == pytest.approx([r[1] for r in ROWS], abs=0.006)
    path.write_bytes(body.replace("9,00", "warm", 1).encode(encoding))
    with pytest.raises(BadInput, match="line 3: air"):
        read_log(path)


def test_a_workbook_is_no_table(tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(
        b"PK\x03\x04" + bytes(100)
    )  # a zip archive's mark, which a workbook begins with
    with pytest.raises(BadInput, match="save its table as CSV"):
        read_log(path)


def test_a_decimal_comma_never_shifts_the_columns(read: Read) -> None:
    rows = [(f"{t / 60:g}", f"{a:.1f}".replace(".", ","), h) for t, a, h in ROWS]
    assert "line 2 has 4 values; the first line names 3" in refused(
        read, text(rows, "min,air,heater")
    )
    quoted = [(f'"{t}"', f'"{a}"', h) for t, a, h in rows]
    log = read(text(quoted, '"min","air, oven","heater"'), columns=Columns(air="air, oven"))
    assert log.air_c == pytest.approx([r[1] for r in ROWS], abs=0.06)
    assert list(log.heat) == [r[2] for r in ROWS]
    trailing = read(text([(*r, "", "") for r in ROWS]) + ",,,,\n")
    assert list(trailing.heat) == [r[2] for r in ROWS]


def test_a_heater_noted_only_when_it_is_switched(read: Read) -> None:
    rows = [(t, a, {0: "on", 1800: "off"}.get(t, "")) for t, a, _ in ROWS]
    log = read(text(rows))
    assert list(log.heat) == [r[2] for r in ROWS]
    assert any("as in the row before" in said for said in log.assumed)
    crosses = read(text([(t, a, "x" if h else "") for t, a, h in ROWS]))
    assert list(crosses.heat) == [r[2] for r in ROWS]


@pytest.mark.parametrize(
    ("on", "off", "power_w"),
    [("y", "n", None), ("100 %", "0 %", None), ("1 %", "0%", None), ("300 W", "0 W", 300.0)],
)
def test_a_heaters_cell_with_its_unit(read: Read, on: str, off: str, power_w: float | None) -> None:
    log = read(text([(t, a, on if h else off) for t, a, h in ROWS]))
    full = 0.01 if on == "1 %" else 1.0
    assert list(log.heat) == pytest.approx([full * r[2] for r in ROWS])
    assert log.power_w == power_w


def test_rows_without_air_and_rows_noted_twice(read: Read) -> None:
    """Switched between readings: the minute is noted again, or without a temperature."""
    rows: list[list[Any]] = [list(r) for r in ROWS]
    rows[30][2] = 1
    rows.insert(31, [1800, rows[30][1], 0])
    rows.insert(11, [610, "", 0])
    rows.insert(12, [640, "", 1])
    log = read(text([tuple(r) for r in rows]))
    assert log.time_s == pytest.approx([r[0] for r in ROWS])
    changes = log.heat_time_s[np.flatnonzero(np.diff(log.heat, prepend=0.0))]
    assert list(changes) == [0.0, 610.0, 640.0, 1800.0]
    assert any("without an air temperature are left out: 2" in said for said in log.assumed)
    assert any("the last is taken, 1 left out" in said for said in log.assumed)


def test_swapped_columns_are_told(read: Read) -> None:
    rows = [(t, 9 + 0.6 * (a - 9), a, h) for t, a, h in ROWS]
    assert "are the two columns swapped?" in refused(read, text(rows, "time_s,air,part,heater"))
    read(text(rows, "time_s,part,air,heater"))


def test_times_that_cannot_be_h_mm(read: Read) -> None:
    rows = [(f"{2 * t // 60}:00", a, h) for t, a, h in ROWS]
    assert "the times go to 180:00, in h:mm; if they are minutes" in refused(
        read, text(rows, "time,air,heater")
    )
    half_day = [(f"{(t // 60 * 10 // 60 + 8) % 12 + 1}:{t // 6 % 60:02d}", a) for t, a, _ in ROWS]
    assert "the time is 1:00 after 12:50; times must rise. A clock of twelve" in refused(
        read, text(half_day, "time,air"), off=["9:30"]
    )
    clock = [(f"{t // 3600}:{t // 60 % 60:02d}", a) for t, a, _ in ROWS]
    assert "--off is '30'; the table's times are h:mm" in refused(
        read, text(clock, "time,air"), off=["30"]
    )
    assert list(read(text(clock, "time,air"), off=["30 min"]).heat_time_s) == [0.0, 1800.0]


@pytest.mark.parametrize("name", ["air_f", "air (°F)", "Air F", "oven [F]", "temp_degF"])
def test_a_column_that_says_fahrenheit_is_not_read_as_celsius(read: Read, name: str) -> None:
    """A shed at freezing: 30 to 78 °F would pass for an oven in °C, its loss off by 1.8."""
    rows = [(t, 1.8 * (a - 10) + 32, h) for t, a, h in ROWS]
    table = text(rows, f"time_s,{name},heater")
    assert f"the column '{name}' is in °F by its name; if it is, say --fahrenheit" in refused(
        read, table, columns=Columns(air=name)
    )
    log = read(table, columns=Columns(air=name), fahrenheit=True)
    assert log.air_c == pytest.approx([a - 10 for _, a, _ in ROWS], abs=1e-4)
    assert "in °C by its name; if it is, leave out" in refused(read, text(ROWS), fahrenheit=True)


def test_a_clock_that_stood_still_and_columns_never_filled_in(read: Read) -> None:
    stood = [("10:00", a, h) for _, a, h in ROWS]
    assert "its 91 rows hold 1 different times; a survey needs at least 5" in refused(
        read, text(stood, "time,air,heater")
    )
    drawn = [(t, a, "", "", h) for t, a, h in ROWS]
    log = read(text(drawn, "time_s,air,part,shed,heater"), ambient_c=9.0)
    assert log.part_c is None
    assert log.ambient_c is None
    assert "the column of the air is empty" in refused(read, text([(t, "", h) for t, _, h in ROWS]))
