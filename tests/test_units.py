"""Units: exact by the scales' definitions; durations as people type and read them."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from nightcure.units import (
    ABSOLUTE_ZERO_C,
    c_to_f,
    parse_duration,
    show_difference,
    show_duration,
    show_temperature,
)


@pytest.mark.parametrize(
    ("celsius", "fahrenheit"),
    # Fixed points of the scale's definition (from memory): -40 is the same on both.
    [(-40.0, -40.0), (0.0, 32.0), (100.0, 212.0), (37.0, 98.6), (ABSOLUTE_ZERO_C, -459.67)],
)
def test_scales(celsius: float, fahrenheit: float) -> None:
    assert c_to_f(celsius) == pytest.approx(fahrenheit, abs=1e-9)


def test_temperatures_as_people_read_them() -> None:
    assert show_temperature(38.0) == "38.0 °C"
    assert show_temperature(38.0, "F") == "100.4 °F"
    assert show_temperature(37.96, "C", 0) == "38 °C"
    assert show_temperature(-0.04) == "0.0 °C"  # no minus before a zero
    assert show_temperature(-0.06) == "-0.1 °C"


def test_differences_are_no_temperatures() -> None:
    """A kelvin is 1.8 °F, and the scale's 32 does not count."""
    assert show_difference(12.0) == "12.0 K"
    assert show_difference(12.0, "F") == "21.6 °F"
    assert show_difference(0.5, "C", "+") == "+0.5 K"
    assert show_difference(-0.01, "F", "+") == "+0.0 °F"


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0.0, "0 s"),
        (59.4, "59 s"),
        (59.6, "1 min"),
        (90.0, "1 min 30 s"),
        (3599.6, "1 h 00 min"),
        (3660.0, "1 h 01 min"),
        (22800.0, "6 h 20 min"),
        (100 * 3600.0, "100 h 00 min"),
        (-84360.0, "-23 h 26 min"),
        (-45.0, "-45 s"),
        (-0.2, "0 s"),
    ],
)
def test_durations_as_people_read_them(seconds: float, text: str) -> None:
    assert show_duration(seconds) == text


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("90min", 5400.0),
        ("3h", 10800.0),
        ("3h20", 12000.0),
        ("3h5", 11100.0),
        ("3h20min", 12000.0),
        (" 3 h 20 min ", 12000.0),
        ("1.5h", 5400.0),
        ("2h100min", 13200.0),
        ("45s", 45.0),
        ("1h30s", 3630.0),
        ("1h05min30s", 3930.0),
        ("0s", 0.0),
    ],
)
def test_durations_as_people_type_them(text: str, seconds: float) -> None:
    assert parse_duration(text) == seconds


@pytest.mark.parametrize(
    "text", ["", "5", "h", "-3h", "3h90", "3x", "20min3h", "1e3s", "nans", "3h20x", "9" * 400 + "h"]
)
def test_what_is_no_duration_gets_a_sentence(text: str) -> None:
    with pytest.raises(ValueError, match=r"is not a duration; write it as 90min, 3h, 3h20 or 45s"):
        parse_duration(text)


@given(st.integers(0, 99 * 3600))
def test_what_is_shown_can_be_typed(seconds: int) -> None:
    """To the second below an hour, to the minute above."""
    lost = seconds % 60 if seconds >= 3600 else 0
    assert parse_duration(show_duration(seconds)) == seconds - lost
