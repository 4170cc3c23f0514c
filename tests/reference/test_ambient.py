"""Real outdoor temperatures: NREL's TMY3 file as the pvlib package ships it."""

from __future__ import annotations

import csv
from statistics import mean

import pytest

from tests.ambients import FILE, cold_nights, hourly_c, night_c, nights


@pytest.fixture(scope="module")
def rows() -> dict[tuple[str, int], float]:
    """The file read by hand: °C at (month/day, hour 1 ... 24)."""
    with FILE.open(newline="", encoding="utf-8") as file:
        site = next(file)
        assert site.startswith("703165")
        assert "SAND POINT" in site
        return {
            (row["Date (MM/DD/YYYY)"][:5], int(row["Time (HH:MM)"][:2])): float(row["Dry-bulb (C)"])
            for row in csv.DictReader(file)
        }


def test_the_file_is_a_year_of_hours(rows: dict[tuple[str, int], float]) -> None:
    hours = hourly_c()
    assert len(rows) == len(hours) == 8760
    assert sorted(hours) == sorted(rows.values())
    assert (min(hours), max(hours)) == (-10.6, 19.4)


def test_hours_are_where_the_file_has_them(rows: dict[tuple[str, int], float]) -> None:
    """20:00 of 10 February is the 40th day's; the night goes on over midnight (hour 24)."""
    expected = [rows["02/10", h] for h in (20, 21, 22, 23, 24)]
    expected += [rows["02/11", h] for h in range(1, 13)]
    assert night_c(40) == expected
    assert night_c(364)[4:6] == [rows["12/31", 24], rows["01/01", 1]]


def test_cold_nights_are_the_coldest_and_the_files() -> None:
    """Coldest first; the 200 coldest lie between -10.6 and 8 °C, unshifted."""
    chosen = cold_nights(200)
    means = [mean(n(3600.0 * h) for h in range(15)) for n in chosen]
    assert means == sorted(means)
    assert means[-1] <= sorted(mean(night_c(d, 15)) for d in range(365))[200]
    values = [n(3600.0 * h) for n in chosen for h in range(15)]
    assert set(values) <= set(hourly_c())
    assert (min(values), max(values)) == (-10.6, 8.0)
    assert len({tuple(n(3600.0 * h) for h in range(15)) for n in chosen}) == 200


def test_between_hours_lies_a_straight_line() -> None:
    night = cold_nights(1)[0]
    for h in range(14):
        ends = night(3600.0 * h), night(3600.0 * (h + 1))
        assert night(3600.0 * (h + 0.25)) == pytest.approx(0.75 * ends[0] + 0.25 * ends[1])
    assert night(1e6) == night(16 * 3600.0)


def test_nights_are_spread_over_the_cold_half() -> None:
    first = nights(5)[0]
    assert [first(3600.0 * h) for h in range(17)] == night_c(0)
    assert len({tuple(n(3600.0 * h) for h in range(15)) for n in nights(200)}) == 200


@pytest.mark.parametrize("count", [0, -1, 366])
def test_a_year_has_no_more_nights_than_days(count: int) -> None:
    with pytest.raises(ValueError, match="365 nights"):
        cold_nights(count)
