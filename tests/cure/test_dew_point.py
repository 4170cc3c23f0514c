"""The dew point against published tables, and what is said of a mould that is near it."""

from __future__ import annotations

import pytest

from nightcure.cure.dew_point import Surface, dew_point_c, humidity_at, moisture, saturation_hpa
from nightcure.errors import BadInput


@pytest.mark.parametrize(
    ("air_c", "pa"), [(5.0, 872.6), (25.0, 3169.7), (50.0, 12351.3)]
)  # fmt: skip
def test_saturation_pressure_is_that_of_the_handbook(air_c: float, pa: float) -> None:
    """ASHRAE Fundamentals 2017, chapter 1, table 3; Magnus is 0.4 % off at the most there."""
    assert 100.0 * saturation_hpa(air_c) == pytest.approx(pa, rel=4e-3)


@pytest.mark.parametrize(
    ("air_c", "humidity_pct", "dew_c", "tolerance_k"),
    [
        # From saturation tables of ASHRAE (computed), 0.15 K for Magnus.
        (10.0, 80.0, 6.71, 0.15), (15.0, 70.0, 9.58, 0.15), (20.0, 50.0, 9.27, 0.15),
        (20.0, 70.0, 14.37, 0.15), (20.0, 85.0, 17.40, 0.15), (25.0, 60.0, 16.70, 0.15),
        (25.0, 85.0, 22.30, 0.15), (40.0, 30.0, 19.13, 0.15), (60.0, 10.0, 17.45, 0.15),
        # Coating inspectors' charts, to a whole degree: 16 °C, 71 %: 11; 80 °F, 50 %: 59 °F.
        (16.0, 71.0, 11.0, 0.5), (26.7, 50.0, 15.0, 0.6),
    ],
)  # fmt: skip
def test_dew_points_of_published_tables(
    air_c: float, humidity_pct: float, dew_c: float, tolerance_k: float
) -> None:
    assert dew_point_c(air_c, humidity_pct) == pytest.approx(dew_c, abs=tolerance_k)


def test_shut_air_that_is_warmed_is_drier() -> None:
    """15 °C, 80 % warmed to 40 °C: 18.5 % (from the handbook's pressures, computed)."""
    assert humidity_at(15.0, 80.0, 40.0) == pytest.approx(18.5, abs=0.2)


@pytest.mark.parametrize(("air_c", "limit_pct"), [(10, 81.6), (15, 82.2), (20, 82.9), (25, 83.5)])
def test_where_mould_and_air_are_as_warm_the_three_kelvin_come_before_85_percent(
    air_c: float, limit_pct: float
) -> None:
    assert moisture(air_c, limit_pct - 1.0, ()).dry
    assert not moisture(air_c, limit_pct + 1.0, ()).dry


def test_a_cold_mould_carried_into_warm_air_is_wet() -> None:
    """8 °C in air of 20 °C and 60 %, whose dew point is 12.0 °C."""
    found = moisture(20.0, 60.0, [Surface("Lid", 8.0), Surface("Rim", 19.0)], epoxy=True)
    assert found.dew_point_c == pytest.approx(12.0, abs=0.15)
    (said,) = found.sentences
    assert said.startswith("Lid at 8.0 °C is wet, colder than the dew point of 12.0 °C")
    assert "an epoxy blushes on it" in said
    assert "warm it to 15.0 °C" in said


def test_damp_air_is_told_with_the_warmth_that_dries_it() -> None:
    found = moisture(12.0, 90.0, [Surface("Lid", 18.0)])
    (said,) = found.sentences
    assert "above 85 %" in said
    warmed_c = float(said.split("shut box to ")[1].split(" °C")[0])
    assert humidity_at(12.0, 90.0, warmed_c) <= 75.0 < humidity_at(12.0, 90.0, warmed_c - 1.0)


def test_dry_is_said_with_how_far_the_nearest_is() -> None:
    found = moisture(18.0, 55.0, [Surface("Lid", 17.0), Surface("Rim", 15.0)])
    assert found.dry
    assert found.sentences == (
        "Dry enough to lay up: the dew point is 8.8 °C, Rim 6.2 K above it.",
    )


@pytest.mark.parametrize(("air_c", "humidity_pct"), [(20.0, 0.0), (20.0, 130.0), (90.0, 50.0)])
def test_what_no_hygrometer_shows_is_refused(air_c: float, humidity_pct: float) -> None:
    with pytest.raises(BadInput, match="it should be"):
        dew_point_c(air_c, humidity_pct)
