"""Logs as people keep them, and the sentences useless ones get."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.survey.log import Log, check
from nightcure.survey.read_log import Columns, read_log
from tests.survey.tables import ROWS, Read, refused, text


def test_the_plain_case(read: Read) -> None:
    log = read(text(ROWS), power_w=300.0)
    assert log.time_s == pytest.approx([r[0] for r in ROWS])
    assert log.air_c == pytest.approx([r[1] for r in ROWS], abs=1e-5)
    assert list(log.heat) == [r[2] for r in ROWS]
    assert (log.power_w, log.part_c, log.ambient_c) == (300.0, None, None)


@pytest.mark.parametrize(
    ("head", "time", "heater", "sep"),
    [
        ("t (min);Oven;on", lambda t: f"{t / 60:g}".replace(".", ","), str, ";"),
        ("time_h\tair\theater", lambda t: repr(t / 3600), lambda h: "on" if h else "off", "\t"),
        ("Clock,air_c,duty_percent", lambda t: f"{23 + t // 3600:.0f}:{t % 3600 // 60:02.0f}",
         lambda h: str(100 * h), ","),
        ("time_s,air_c,heater_w", str, lambda h: str(300 * h), ","),
    ],
)  # fmt: skip
def test_other_ways_of_writing_the_same(
    read: Read, head: str, time: Callable[[float], str], heater: Callable[[int], str], sep: str
) -> None:
    rows = [
        (time(t), f"{a:.4f}".replace(".", "," if sep == ";" else "."), heater(h))
        for t, a, h in ROWS
    ]
    if head.startswith("Clock"):  # past midnight the clock begins anew
        rows = [(t.replace("24:", "0:"), a, h) for t, a, h in rows]
    log = read(text(rows, head, sep))
    assert log.time_s - log.time_s[0] == pytest.approx([r[0] for r in ROWS], abs=1e-6)
    assert log.air_c == pytest.approx([r[1] for r in ROWS], abs=1e-3)
    assert list(log.heat) == [r[2] for r in ROWS]
    assert log.power_w == (300.0 if head.endswith("_w") else None)


def test_columns_named_by_the_person_and_degrees_fahrenheit(read: Read) -> None:
    rows = [(t, a * 1.8 + 32.0, 48.2, h) for t, a, h in ROWS]
    log = read(
        text(rows, "when,probe 1,yard,lamp"),
        columns=Columns("when", "probe 1", None, "yard", "lamp"),
        fahrenheit=True,
    )
    assert log.air_c == pytest.approx([r[1] for r in ROWS], abs=1e-4)
    assert log.ambient_c == pytest.approx(np.full(91, 9.0), abs=1e-5)


def test_a_hand_noted_table_with_the_heaters_times_as_options(read: Read) -> None:
    content = "time,air\n20:00,9\n20:10,15\n20:35,22\n20:50,20\n21:30,15\n0:30,11\n"
    log = read(content, on=["20:02"], off=["20:33"])
    assert log.time_s[-1] - log.time_s[0] == 4.5 * 3600
    first = 20 * 3600
    assert list(log.heat_time_s) == [first, first + 120, first + 33 * 60]
    assert list(log.heat) == [0.0, 1.0, 0.0]
    assert list(read(content, off=["20:33"]).heat) == [1.0, 0.0]
    other = "min,air\n0,9\n10,15\n35,22\n50,20\n90,15\n"
    assert list(read(other, on=["2"], off=["0:33"]).heat_time_s) == [0.0, 120.0, 33 * 60]


def test_missing_ambients_are_bridged(read: Read) -> None:
    rows = [(t, a, "" if i == 5 else 9.0 + i / 10, h) for i, (t, a, h) in enumerate(ROWS)]
    log = read(text(rows, "time_s,air_c,ambient_c,heater"))
    assert log.ambient_c is not None
    assert log.ambient_c[5] == pytest.approx(9.5, abs=1e-5)


def changed(row: int, column: int, value: Any) -> str:
    rows = [list(r) for r in ROWS]
    rows[row][column] = value
    return text([tuple(r) for r in rows])


BAD = {
    "backwards": (changed(40, 0, 2250), "line 42: the time is 2250 s after 2340 s; times must"),
    "fahrenheit": (text([(t, a * 1.8 + 32, h) for t, a, h in ROWS]), "say --fahrenheit"),
    "boiling": (changed(3, 1, 150), "reads 150 °C; a foam box softens at 80 °C"),
    "never on": (text([(t, a, 0) for t, a, _ in ROWS]), "the heater is never on"),
    "no cool-down": (text([(t, a, 1) for t, a, _ in ROWS[:31]]), "on to the last row"),
    "one row": (text(ROWS[:1]), "has 1 row; a survey needs at least 5"),
    "no rows": ("time_s,air_c,heater\n", "has no rows"),
    "empty": ("", "is empty"),
    "nan": (changed(7, 1, "nan"), "line 9: air_c is 'nan'; it must be a number"),
    "text": (changed(9, 1, "warm"), "line 11: air_c is 'warm'; it must be a number"),
    "infinite": (changed(9, 0, "inf"), "line 11: time_s is 'inf'"),
    "heater in words": (changed(9, 2, "perhaps"), "it must be on or off, 0 to 1"),
    "negative heater": (changed(9, 2, -1), "cannot be below 0"),
    "short line": (changed(9, 2, "").replace(",\n", "\n"), "line 11 has 2 values"),
    "no header": (text(ROWS).split("\n", 1)[1], "it must name the columns"),
    "prose": ("Dear reader,\nthis is a letter.\n", "none of the columns"),
    "unmoved": (text([(t, 9.0, h) for t, _, h in ROWS]), "the air moves by 0.0 K in all"),
    "hot shed": (
        text([(t, a, 70, h) for t, a, h in ROWS], "time_s,air,shed,heater"),
        "the ambient reads 70 °C, hotter than any shed",
    ),
    "minutes without a unit": (
        "time,air,heater\n0,9,1\n10,20,1\n20,25,0\n30,20,0\n60,15,0\n",
        "the whole log is 60 s long if its times are seconds; if they are minutes, say",
    ),
    "arctic": (changed(3, 1, -80), "colder than any shed"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_log_of_no_use_gets_its_sentence(read: Read, name: str) -> None:
    content, essential = BAD[name]
    assert essential in refused(read, content)


@pytest.mark.parametrize("shed", ["stated", "noted"])
def test_fahrenheit_beside_a_shed_in_celsius(read: Read, shed: str) -> None:
    """48.2 °F is 9 °C; a box 39 K above its shed from the first row to the last is no test."""
    rows = [(t, f"{a * 1.8 + 32:.1f}", 9, h) for t, a, h in ROWS]
    if shed == "stated":
        said = refused(read, text([(t, a, h) for t, a, _, h in rows]), ambient_c=9.0)
    else:
        said = refused(read, text(rows, "time_s,air_c,shed_c,heater"))
    assert "48.2 °F would be the shed's own. If the thermometer shows °F, say --fahrenheit" in said
    converted = [(t, a, h) for t, a, _, h in rows]
    assert read(text(converted, "time_s,air,heater"), fahrenheit=True, ambient_c=9.0).air_c[
        0
    ] == pytest.approx(9.0, abs=0.05)


def test_columns_and_files_that_are_not_there(read: Read, tmp_path: Path) -> None:
    said = refused(read, text(ROWS), columns=Columns(air="oven"))
    assert "has no column 'oven'; it has time_s, air_c, heater" in said
    with pytest.raises(BadInput, match="there is no such file"):
        read_log(tmp_path / "none.csv")
    (tmp_path / "log.bin").write_bytes(bytes(range(256)))
    with pytest.raises(BadInput, match="not text"):
        read_log(tmp_path / "log.bin")
    assert "h:mm" in refused(read, text(ROWS), on=["1:75"], off=["2:00"])


def test_a_blank_line_does_not_shift_the_line_that_is_named(read: Read) -> None:
    lines = changed(40, 1, "warm").splitlines()
    lines.insert(10, "")
    assert "line 43: air_c" in refused(read, "\n".join(lines) + "\n")


def test_warm_starts_are_fine_once_the_shed_is_known(read: Read) -> None:
    rows = [(t, a + 35, h) for t, a, h in ROWS]
    assert "--ambient" in refused(read, text(rows))
    check(read(text(rows), ambient_c=20.0), 20.0)


def test_thinning_keeps_means_and_heat() -> None:
    """Means of blocks; the heat between two blocks' middles is what the rows had there."""
    t = np.arange(0.0, 7200.0, 2.0)
    on = (t % 20.0 < 6.0) & (t < 3600.0)
    log = Log(t, 9.0 + t / 1000.0, t, on.astype(float), None, np.full(len(t), 9.0))
    short = log.thinned(360)
    assert len(short.time_s) == 360
    assert short.air_c == pytest.approx(9.0 + short.time_s / 1000.0)
    given = float(np.sum(short.heat[:-1] * np.diff(short.time_s)))
    # The first block's middle is at 9 s: its six seconds of heat lie before it.
    assert given == pytest.approx(float(on.sum()) * 2.0 - 6.0, abs=0.1)
    assert log.thinned(10**6) is log
