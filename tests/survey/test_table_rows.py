"""Rows as they come, as people and loggers write them."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime, timedelta
from typing import Any

import numpy as np
import pytest

from nightcure.survey import table_rows
from tests.survey.tables import ROWS, Read, air_c, refused, text

DASH = "\N{EN DASH}"


def written(change: dict[int, tuple[Any, ...]] | None = None) -> list[tuple[Any, ...]]:
    """The rows with a tenth of a degree, some of them changed."""
    rows: list[tuple[Any, ...]] = [(t, f"{a:.1f}", h) for t, a, h in ROWS]
    for i, row in (change or {}).items():
        rows[i] = row
    return rows


AIR = np.array([round(a, 1) for _, a, _ in ROWS])
CLOCK = [f"{18 + t // 3600}:{t // 60 % 60:02}" for t, *_ in ROWS]
#: Ways of writing the same table: its text, and how far into it air readings are left out.
WAYS: dict[str, tuple[str, tuple[int, ...]]] = {
    "numbers": (text(written()), ()),
    "the unit in each cell": (text([(t, f"{a} °C", h) for t, a, h in written()]), ()),
    "the unit's letter alone": (text([(t, f"{a}C", h) for t, a, h in written()]), ()),
    "words for the heater": (text([(t, a, "on" if h else "off") for t, a, h in written()]), ()),
    "no reading": (
        text(written({5: (300, "-", 1), 6: (360, "n/a", 1), 7: (420, DASH, 1), 8: (480, "", 1)})),
        (5, 6, 7, 8),
    ),
    "blanks between": (text(written(), "time_s air_c heater", "   "), ()),
    "blanks between, a clock": (
        text([(f"{c}", a, h) for c, (_, a, h) in zip(CLOCK, written(), strict=True)],
             "time air heater", " "), (),
    ),
    "points in the date": (
        text([(f"26.11.2026 {c}", a, h) for c, (_, a, h) in zip(CLOCK, written(), strict=True)],
             "time,air,heater"), (),
    ),
    "points in the date, two figures of the year": (
        text([(f"6.11.26, {c}".replace(",", ""), a, h)
              for c, (_, a, h) in zip(CLOCK, written(), strict=True)], "time;air;heater", ";"), (),
    ),
    "decimal commas": (
        text([(t, a.replace(".", ","), h) for t, a, h in written()], "time_s;air_c;heater", ";"),
        (),
    ),
    "notes with commas, in quotes or not": (
        text([(*r, 'lid on, "tape", box shut' if i % 7 == 3 else '"x, y"' if i % 7 == 4 else "")
              for i, r in enumerate(written())], "time_s,air_c,heater,notes"), (),
    ),
}  # fmt: skip


@pytest.mark.parametrize("way", WAYS)
def test_the_same_table_however_it_is_written(read: Read, way: str) -> None:
    content, unread = WAYS[way]
    log = read(content, power_w=300.0)
    kept = [i for i in range(len(ROWS)) if i not in unread]
    assert log.time_s - log.time_s[0] == pytest.approx([ROWS[i][0] for i in kept], abs=1e-6)
    assert log.air_c == pytest.approx(AIR[kept], abs=1e-5)
    assert log.heat.max() > log.heat.min()
    off_s = log.heat_time_s[log.heat == 0.0][0] - log.time_s[0]
    assert off_s == pytest.approx(1800.0, abs=1e-6)


def test_more_rows_than_any_test_has(read: Read, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(table_rows, "MOST_READ", 50)
    assert "cut out one heating and cooling" in refused(read, WAYS["numbers"][0])


@pytest.mark.parametrize(
    ("name", "cell", "said"),
    [
        ("air", "{:.1f} °F", "is in °F by its cells; if it is, say --fahrenheit, else mend them"),
        ("air_k", "{:.2f}", "is in kelvin by its name; take 273.15 from each"),
        ("air", "{:.2f} K", "is in kelvin by its cells; take 273.15 from each"),
        ("air", "{:.2f}", "as if in kelvin; take 273.15 from each"),
    ],
)
def test_other_degrees_are_called_by_their_name(
    read: Read, name: str, cell: str, said: str
) -> None:
    in_k = "K" in cell or "F" not in cell
    rows = [(t, cell.format(a + 273.15 if in_k else 1.8 * a + 32), h) for t, a, h in ROWS]
    told = refused(read, text(rows, f"time_s,{name},heater"))
    assert said in told
    assert ("fahrenheit" in told) is not in_k


def test_a_slash_in_a_date_may_be_either(read: Read) -> None:
    rows = [(f"11/12/2026 {c}", a, h) for c, (_, a, h) in zip(CLOCK, ROWS, strict=True)]
    assert "line 2: time" in refused(read, text(rows, "time,air,heater"))


def test_an_unquoted_comma_before_the_last_column_is_refused(read: Read) -> None:
    """It may as well be a decimal comma, and every number after it shifted."""
    rows = [(t, "lid, shut", f"{a:.1f}", h) for t, a, h in ROWS]
    assert "has 5 values; the first line names 4" in refused(
        read, text(rows, "time_s,notes,air_c,heater")
    )


def test_a_decimal_comma_is_no_remark(read: Read) -> None:
    """With a column of notes left empty, every number after it would be shifted by one."""
    for heater in ({0: "0", 1: "1"}, {0: "off", 1: "on"}):
        rows = [(t, f"{a:.1f}".replace(".", ","), heater[h], "") for t, a, h in ROWS]
        assert "line 2 has 5 values" in refused(read, text(rows, "time_s,air,heater,notes"))


BEGAN = datetime.fromisoformat("2026-11-26 23:30")
STEADY: dict[str, Callable[[float], str]] = {
    "seconds": lambda t: f"{t:.1f}",
    "a clock": lambda t: f"{t // 3600:.0f}:{t // 60 % 60:02.0f}:{t % 60:04.1f}",
    "dates": lambda t: (BEGAN + timedelta(seconds=t)).isoformat(" ", "milliseconds"),
    "dates with a zone": lambda t: (BEGAN + timedelta(seconds=t)).isoformat() + "+01:00",
}


@pytest.mark.parametrize("way", STEADY)
def test_times_to_the_tenth_of_a_second(read: Read, way: str) -> None:
    t_s = np.arange(0.0, 5400.0, 7.3)
    rows = [(STEADY[way](t), f"{air_c(t):.3f}", "on" if t < 1800.0 else "off") for t in t_s]
    log = read(text(rows, "time,air,heater"), power_w=300.0)
    assert log.time_s - log.time_s[0] == pytest.approx(t_s, abs=1e-3)


def test_in_a_long_table_the_bad_line_is_named(read: Read) -> None:
    lines = text([(i, 9 + i % 3, 1) for i in range(20_000)]).splitlines()
    lines[15_000] = "14999,warm,1"
    assert "line 15001: air_c is 'warm'" in refused(read, "\n".join(lines))
