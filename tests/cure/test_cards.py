"""Resin cards: what ships can be true, what cannot be is refused with a sentence."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from nightcure.cure.card import Card, load_card, parse_card, shipped
from nightcure.cure.new import assemble
from nightcure.cure.rate import activation_kj_per_mol
from nightcure.errors import BadInput
from nightcure.settings.toml_text import toml_text

GENERIC = ["epoxy-fast", "epoxy-slow", "polyester-gelcoat", "polyester-laminating", "vinyl-ester"]


def data(name: str = "polyester-laminating") -> dict[str, Any]:
    return load_card(name).model_dump(mode="json", exclude_none=True)


def test_every_family_and_both_reference_sets_ship() -> None:
    references = ["bogetti-gillespie-1991", "lee-loos-springer-1982"]
    assert list(shipped()) == sorted(GENERIC + references)
    assert [n for n in shipped() if load_card(n).reference] == references


def numbers_without_source(value: Any, place: str = "") -> list[str]:
    """Places of numbers in tables that have no `source` beside them."""
    if isinstance(value, dict):
        own = [k for k, v in value.items() if isinstance(v, int | float) and v is not True]
        lacking = [f"{place}.{k}" for k in own if "source" not in value] if place else []
        return lacking + [
            s for k, v in value.items() for s in numbers_without_source(v, f"{place}.{k}")
        ]
    if isinstance(value, list):
        return [s for v in value for s in numbers_without_source(v, place)]
    return []


@pytest.mark.parametrize("name", GENERIC)
def test_every_number_of_a_shipped_card_has_its_source(name: str) -> None:
    assert numbers_without_source(data(name)) == []


@pytest.mark.parametrize("name", GENERIC)
def test_cold_slows_a_gel_more_than_a_cure(name: str) -> None:
    """Retail gel charts imply 97-200 kJ/mol between 5 and 25 °C (design note, from such charts)."""
    card = load_card(name)
    share = None if card.gel[0].catalyst_pct is None else 2.0
    rows = card.figures(share).gel_min
    apparent = activation_kj_per_mol(*rows[0], *rows[-1])
    assert apparent > card.cure_kj_per_mol.value
    if card.family == "polyester":
        assert 80.0 < apparent < 200.0


def test_the_quoted_chart_is_in_the_gel_coat_card() -> None:
    """4 %: 2 h at 5 °C, 5 min at 20 °C (a chart on sailtortuguita.blogspot.com, 2017-10-29)."""
    table = load_card("polyester-gelcoat").gel_table(4.0)
    assert (table.at(5.0), table.at(20.0)) == (pytest.approx(120.0), pytest.approx(5.0))


def test_catalyst_between_two_columns_is_log_over_log() -> None:
    card = load_card("polyester-laminating")
    one, two = card.gel_table(1.0).at(20.0), card.gel_table(2.0).at(20.0)
    between = card.gel_table(2.0**0.5).at(20.0)
    assert one is not None
    assert two is not None
    assert between == pytest.approx((one * two) ** 0.5)
    assert card.gel_table(1.4).coldest_c == 15.0  # 1 % has no row below, so neither has 1.4 %


@pytest.mark.parametrize("share", [0.0, 0.5, 3.5, 12.0, float("nan")])
def test_a_share_outside_the_table_is_not_extrapolated(share: float) -> None:
    with pytest.raises(BadInput, match="mix within its table"):
        load_card("polyester-laminating").figures(share)


def _gel_after_demould(d: dict[str, Any]) -> None:
    d["demould"]["minutes"] = d["demould"]["low_minutes"] = 15.0


def _slower_when_warmer(d: dict[str, Any]) -> None:
    d["gel"][2]["minutes"] = 400.0


def _slower_with_more(d: dict[str, Any]) -> None:
    for row in d["gel"]:
        if row["catalyst_pct"] == 3.0:
            row["minutes"] *= 4.0


def _twice(d: dict[str, Any]) -> None:
    d["gel"].append(dict(d["gel"][0]))


def _full_before_demould(d: dict[str, Any]) -> None:
    d["full_cure"] = {**d["demould"], "minutes": 130.0, "low_minutes": 110.0}


def _post_cure_backwards(d: dict[str, Any]) -> None:
    d["post_cure"][-1]["hours"] = 99.0


def _nothing(d: dict[str, Any]) -> None:
    d["gel"] = []
    for key in ("demould", "full_cure", "laminate_ready"):
        d.pop(key)


def _mixed_ratio(d: dict[str, Any]) -> None:
    del d["gel"][0]["catalyst_pct"]


def _cold_demould(d: dict[str, Any]) -> None:
    d["demould"]["at_c"] = -5.0


def _much_catalyst(d: dict[str, Any]) -> None:
    d["gel"][0]["catalyst_pct"] = 12.0


def _no_source(d: dict[str, Any]) -> None:
    del d["density_kg_per_m3"]["source"]


def _true_density(d: dict[str, Any]) -> None:
    d["density_kg_per_m3"]["value"] = True


@pytest.mark.parametrize(
    ("spoil", "sentence"),
    [
        (_gel_after_demould, "comes before the gel"),
        (_slower_when_warmer, "does not gel slower when warmer"),
        (_slower_with_more, "more catalyst does not gel slower"),
        (_twice, "two rows at 15 °C"),
        (_full_before_demould, "full_cure comes before demould"),
        (_post_cure_backwards, "warmer should not take longer"),
        (_nothing, "clocks nothing"),
        (_mixed_ratio, "give it to all or none"),
        (_cold_demould, "below the coldest gel row"),
        (_much_catalyst, "at most 5"),
        (_no_source, "source is missing"),
        (_true_density, "should be a number"),
        (lambda d: d.update(cure_kj_per_mol={"value": 900.0, "source": "mine"}), "10 to 250"),
        (lambda d: d.update(cure_kj_per_mol={"value": float("nan"), "source": "mine"}), "finite"),
        (lambda d: d.update(monomer_pct={"value": -4.0, "source": "mine"}), "0 to 70"),
        (lambda d: d.update(name="My Resin!"), "name"),
        (lambda d: d.update(colour="blue"), "not a key that is known"),
        (lambda d: d["laminate_ready"].update(opens_gel_times=[5.0, 4.0, 3.0]), "early, likely"),
        (lambda d: d["glass"].update(full_c=20.0, uncured_c=40.0), "above uncured_c"),
        (lambda d: d.update(lowest_c={"value": 90.0, "source": "mine"}), "below highest_c"),
    ],
)
def test_a_card_that_cannot_be_true_is_refused(
    spoil: Callable[[dict[str, Any]], None], sentence: str
) -> None:
    spoilt = data()
    spoil(spoilt)
    with pytest.raises(BadInput, match=sentence):
        parse_card(spoilt)


def test_a_missing_card_names_those_there_are() -> None:
    with pytest.raises(BadInput, match="polyester-gelcoat"):
        load_card("polyester-gelcote")


@pytest.mark.parametrize("name", GENERIC)
def test_a_card_survives_its_own_text(name: str, tmp_path: Path) -> None:
    card = load_card(name)
    path = tmp_path / "again.toml"
    path.write_text(toml_text(card.model_dump(mode="json", exclude_none=True), "again"))
    assert load_card(path) == card


def test_a_new_card_has_the_sheet_s_numbers_and_says_which_are_generic() -> None:
    answers = {"name": "shed-resin", "demould": "240", "demould_at_c": "20", "lowest_c": "12",
               "demould_catalyst_pct": "2"}  # fmt: skip
    card = assemble("polyester-laminating", answers, ["20 2 25", "15;2;45", "25, 2, 15"])
    assert isinstance(card, Card)
    figures = card.figures(2.0)
    assert dict(figures.gel_min) == {15.0: 45.0, 20.0: 25.0, 25.0: 15.0}
    assert figures.demould_min is not None
    assert figures.demould_min[1] == pytest.approx(240.0 - 25.0)
    assert {r.source for r in card.gel} == {"your data sheet"}
    assert card.density_kg_per_m3 is not None
    assert card.density_kg_per_m3.source.startswith("generic: ")
    with pytest.raises(BadInput, match="two or three numbers"):
        assemble("polyester-laminating", {}, ["20"])
    with pytest.raises(BadInput, match="comes before the gel"):
        assemble("polyester-laminating", {}, ["20 2 500"])
