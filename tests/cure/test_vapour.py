"""Vapour against Perry, NIOSH, the emission rule, and the explosive limit's arithmetic."""

from __future__ import annotations

import math

import pytest
from chemicals.dippr import EQ101
from chemicals.vapor_pressure import Psat_data_Perrys2_8

from nightcure.cure.box_air import Box, vapour_in
from nightcure.cure.card import load_card, parse_card
from nightcure.cure.part import Part, with_figures
from nightcure.cure.vapour import (
    cautions,
    default_evaporated_pct,
    emission_kg_per_mg,
    saturation_pa,
    vapour,
)
from nightcure.errors import BadInput


@pytest.mark.parametrize("temp_c", [10.0, 20.0, 25.0, 40.0])
def test_vapour_pressure_is_perrys(temp_c: float) -> None:
    """Perry's Chemical Engineers' Handbook, table 2-8, as the `chemicals` package carries it."""
    row = Psat_data_Perrys2_8.loc["100-42-5"]
    perry_pa = EQ101(temp_c + 273.15, row.C1, row.C2, row.C3, row.C4, row.C5)
    assert saturation_pa(temp_c) == pytest.approx(perry_pa, rel=1e-3)


def test_vapour_pressure_is_near_the_pocket_guide() -> None:
    """599 Pa at 20 °C within 1 %; NIOSH pocket guide: 5 mmHg = 667 Pa, within 12 %."""
    assert saturation_pa(20.0) == pytest.approx(599.0, rel=0.01)
    assert saturation_pa(20.0) == pytest.approx(667.0, rel=0.12)


def test_emission_factors() -> None:
    """40 CFR 63 subpart VVVV, table 3, at 40 % monomer."""
    assert emission_kg_per_mg(40.0) == pytest.approx(61.8, rel=0.002)
    assert emission_kg_per_mg(40.0, "gel-coat") == pytest.approx(214.7, rel=0.002)
    assert default_evaporated_pct(40.0) == pytest.approx(15.45, rel=0.002)
    assert default_evaporated_pct(0.0) == 0.0


def box(grams: float, air_c: float, changes: float = 0.0) -> float:
    """% of the lower limit (0.9 vol %, NFPA 497) in 0.4 m³."""
    return vapour(grams / 1000.0, 50.0, 100.0, 0.4, air_c, changes).percent_lel


@pytest.mark.parametrize(
    ("grams", "air_c", "percent"),
    [(10.0, 40.0, 68.5), (10.0, 25.0, 65.3), (3.83, 25.0, 25.0), (3.65, 40.0, 25.0)],
)
def test_explosive_limit_arithmetic(grams: float, air_c: float, percent: float) -> None:
    """Moles over moles of box air, R T/p (computed by an independent script)."""
    assert box(2.0 * grams, air_c) == pytest.approx(percent, abs=0.05)


def test_it_clips_at_saturation_and_does_not_call_that_safe() -> None:
    """20 g in 0.4 m³ at 25 °C: 90 % of the limit, all the air can hold."""
    v = vapour(0.04, 50.0, 100.0, 0.4, 25.0)
    assert v.saturated
    assert v.percent_lel == pytest.approx(90.0, abs=0.5)
    assert any("no safety" in s for s in cautions(v))


@pytest.mark.parametrize("grams", [5.0, 10.0, 40.0, 200.0])
def test_its_own_ventilation_keeps_it_under_a_quarter(grams: float) -> None:
    v = vapour(grams / 500.0, 50.0, 100.0, 0.4, 30.0)
    assert v.ventilation_m3_per_h > 0.0
    again = vapour(grams / 500.0, 50.0, 100.0, 0.4, 30.0, v.ventilation_m3_per_h / 0.4)
    assert again.percent_lel <= 25.0
    less = vapour(grams / 500.0, 50.0, 100.0, 0.4, 30.0, 0.2 * v.ventilation_m3_per_h / 0.4)
    assert less.percent_lel > 25.0 or grams < 20.0


@pytest.mark.parametrize(("over_h", "m3_per_h"), [(1.0, 10.61), (4.0, 2.653)])
def test_ventilation_is_what_comes_in_an_hour_over_a_quarter_of_the_limit(
    over_h: float, m3_per_h: float
) -> None:
    """By hand: 100 g at 30 °C are 0.02388 m³ of gas, and a quarter of 0.9 % is 0.00225."""
    v = vapour(0.2, 50.0, 100.0, 0.4, 30.0, over_h=over_h)
    assert v.ventilation_m3_per_h == pytest.approx(m3_per_h, rel=3e-3)


def test_air_changes_against_the_differential_equation() -> None:
    """dc/dt = E/V - n c, stepped here by hand."""
    c, dt_h = 0.0, 1e-4
    closed = vapour(0.01, 50.0, 100.0, 0.4, 25.0).vol_pct
    for _ in range(round(1.0 / dt_h)):
        c += dt_h * (closed - 3.0 * c)
    assert vapour(0.01, 50.0, 100.0, 0.4, 25.0, 3.0).vol_pct == pytest.approx(c, rel=1e-3)


def test_little_styrene_needs_nothing_but_still_a_word() -> None:
    v = vapour(0.001, 40.0, 15.0, 0.4, 25.0)
    assert v.ventilation_m3_per_h == 0.0
    said = cautions(v)
    assert any("certifies nothing" in s for s in said)
    assert any("MEKP" in s for s in said)


@pytest.mark.parametrize(("percent", "word"), [(60.0, "do not start"), (30.0, "ovens are kept")])
def test_how_it_warns(percent: float, word: str) -> None:
    grams = 10.0 * percent / 65.25
    assert word in cautions(vapour(grams / 500.0, 50.0, 100.0, 0.4, 25.0))[0]


@pytest.mark.parametrize(
    "bad",
    [
        {"resin_kg": -1.0}, {"resin_kg": math.nan}, {"monomer_pct": 101.0}, {"volume_m3": 0.0},
        {"evaporated_pct": -5.0}, {"air_c": 400.0}, {"air_c": -40.0}, {"over_h": 0.0},
        {"air_changes_per_h": math.inf},
    ],
)  # fmt: skip
def test_numbers_that_cannot_be(bad: dict[str, float]) -> None:
    good = {"resin_kg": 1.0, "monomer_pct": 40.0, "evaporated_pct": 15.0, "volume_m3": 0.4,
            "air_c": 25.0}  # fmt: skip
    with pytest.raises(BadInput, match=next(iter(bad))):
        vapour(**{**good, **bad})


def test_a_gel_coat_in_a_night_loses_as_a_gel_coat_does() -> None:
    """40 CFR 63 subpart VVVV, table 3: 214.7 kg/Mg at 40 % monomer, against a resin's 61.8."""
    part = {"name": "Lid", "card": "polyester-gelcoat", "catalyst_pct": 2.0, "resin_kg": 0.3}
    (filled,) = with_figures({"parts": [part]})["parts"]
    v = vapour_in(Box(volume_m3=0.43), [Part.model_validate(filled)], 30.0)
    assert v.styrene_g == pytest.approx(0.3 * 214.7, rel=0.002)


@pytest.mark.parametrize(
    ("name", "title", "given", "kg_per_mg", "told"),
    [
        ("white", "Brushing gel coat, white", None, 214.7, "as a gel coat's, by its name"),
        ("my-gelcoat", "White", None, 214.7, "as a gel coat's, by its name"),
        ("hull", "Gelling fast", None, 61.8, "as a resin's, by its name"),
        ("my-gelcoat", "White", "resin", 61.8, None),
        ("hull", "White", "gel-coat", 214.7, None),
    ],
)
def test_a_card_that_does_not_say_what_it_loses_styrene_as_goes_by_its_name(
    name: str, title: str, given: str | None, kg_per_mg: float, told: str | None
) -> None:
    """40 CFR 63 subpart VVVV, table 3, at 40 % monomer."""
    data = load_card("polyester-gelcoat").model_dump(mode="json", exclude_none=True)
    card = parse_card({**data, "name": name, "title": title, "emits_as": given})
    part = Part(name="Lid", card=name, resin_kg=0.3, figures=card.figures(2.0))
    v = vapour_in(Box(volume_m3=0.43), [part], 30.0)
    assert v.styrene_g == pytest.approx(0.3 * kg_per_mg, rel=0.002)
    said = [s for s in card.unanswered() if "styrene" in s]
    assert (told is None and not said) or (told is not None and told in said[0])


def test_an_open_vent_counts_only_for_resin_that_has_gelled() -> None:
    """What was just laid up gives off most of its styrene in minutes: only ducted air that was
    measured counts against that."""
    for wet, counts in (("laid-up", 0.0), (None, 0.0), ("gelled", 4.0), ("hard", 4.0)):
        box = Box(volume_m3=0.4, wet=wet, breathes="vent")
        assert box.counted_changes_per_h == counts, wet
    assert Box(volume_m3=0.4, breathes="vent", air_changes_per_h=9.0).counted_changes_per_h == 9.0
    assert Box(volume_m3=0.4, wet="hard", breathes="ordinary").counted_changes_per_h == 0.0
