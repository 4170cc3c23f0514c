"""Parts, cards and vapour that are refused before the night, or spoken of."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.loop.cure_notes import vapour_note
from nightcure.loop.loop import Loop
from nightcure.profile import load_profile, parse_profile
from nightcure.simulate.scenario import PROFILES
from tests.nights import SETTINGS, start, still

from .demould_night import UNTIL_DEMOULD, cold_profile, edited, refused


def part_json(**changes: Any) -> dict[str, Any]:
    return {**UNTIL_DEMOULD.parts[0].model_dump(mode="json"), **changes}


@pytest.mark.parametrize(
    ("parts", "sentence"),
    [
        ([], "no part has a resin card that tells that"),
        ([part_json(figures=None)], "not filled in"),
        ([part_json(sensor="Lit")], "thermometer 'Lit', which this oven has not"),
        ([part_json(resin_kg=-1.0)], "it should be above 0"),
        ([part_json(resin_kg=None)], "it should be a number"),
        ([part_json(catalyst_pct=12.0)], "it should be at most 5"),
        ([part_json(catalyst_pct=0.0)], "it should be above 0"),
        ([part_json(start_h=1e9)], "it should be at most 72"),
        ([part_json(), part_json()], "two parts have this name"),
        ([part_json(colour="red")], "not a key that is known"),
        ("resin", "it should be a list"),
        ([part_json()] * 9, "it should have at most 8"),
    ],
)
def test_parts_that_cannot_be_are_refused(parts: Any, sentence: str) -> None:
    assert sentence in refused(UNTIL_DEMOULD.model_dump(mode="json"), parts)


@pytest.mark.parametrize(
    ("figures", "sentence"),
    [
        ({"gel_min": [[20.0, 20.0], [20.0, 20.0]]}, "should become warmer"),
        ({"gel_min": [[20.0, 20.0], [10.0, 60.0]]}, "should become warmer"),
        ({"gel_min": [[10.0, 20.0], [20.0, 60.0]]}, "not slower"),
        ({"gel_min": []}, "at least 1"),
        ({"gel_min": [[20.0, 0.0]]}, "above 0"),
        ({"post_cure_h": [[40.0, 16.0], [40.0, 8.0]]}, "should become warmer"),
        ({"demould_min": [300.0, 200.0, 100.0]}, "early, likely, late"),
        ({"cure_kj_per_mol": 1e9}, "at most 250"),
        ({"reference_c": -300.0}, "at least 0"),
        ({"self_heat": {"seed": 0.0, "gel_degree": 2.0, "heat_j_per_kg_resin": -1.0}}, "above 0"),
    ],
)
def test_figures_that_would_break_the_clock_are_refused(
    figures: dict[str, Any], sentence: str
) -> None:
    part = UNTIL_DEMOULD.parts[0].model_dump(mode="json")
    part["figures"] |= figures
    assert sentence in refused(UNTIL_DEMOULD.model_dump(mode="json"), [part])


def test_a_profile_hotter_or_steeper_than_its_card_is_refused() -> None:
    part = UNTIL_DEMOULD.parts[0].model_dump(mode="json")
    part["figures"] |= {"highest_c": 30.0, "ramp_c_per_h": 10.0}
    said = refused(UNTIL_DEMOULD.model_dump(mode="json"), [part])
    assert "asks for 32 °C and its card allows 30 °C" in said
    assert "steeper than its card's 10" in said


def test_a_card_that_is_not_there_is_told_when_the_profile_is_read(tmp_path: Path) -> None:
    text = (PROFILES / "until-demould.toml").read_text()
    path = tmp_path / "night.toml"
    path.write_text(text.replace("polyester-laminating", "polyester-lamination"))
    with pytest.raises(BadInput, match="part 1: there is no resin card"):
        load_profile(path)
    path.write_text(text.replace("catalyst_pct = 2.0", "catalyst_pct = 0.5"))
    with pytest.raises(BadInput, match=r"part 1: .* none for 0\.5 %"):
        load_profile(path)


def test_waiting_does_not_hide_a_night_that_is_too_long() -> None:
    said = refused(edited(wait={"wait_at_most_h": 12.0}).model_dump(mode="json"))
    assert "the longest night allowed" in said


def test_a_gel_coat_that_may_not_be_heated_before_it_gels_is_spoken_of() -> None:
    from nightcure.cure.part import with_figures

    data = cold_profile(25.0, 1.0, "gelled").model_dump(mode="json")
    data["box"] = {"volume_m3": 0.43, "evaporated_pct": 1.0}
    data["parts"] = [{"name": "Gel coat", "card": "polyester-gelcoat", "catalyst_pct": 2.0,
                      "resin_kg": 0.2}]  # fmt: skip
    d = Loop(SETTINGS).tick(still(0.0, start(parse_profile(with_figures(data)))))
    told = [e.name for e in d.events if e.kind == "cure"]
    assert told == ["vapour", "heat-before-gel"]


# ---- vapour ---------------------------------------------------------------------------------


def boxed(**fields: Any) -> dict[str, Any]:
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["box"] |= fields
    return data


def test_much_vapour_is_refused_until_the_numbers_change() -> None:
    """1.3 kg of resin at 42 % monomer, all of the emission rule's share, in 0.43 m³, no vent."""
    said = refused(boxed(evaporated_pct=None, air_changes_per_h=0.0))
    assert "do not start" in said


def test_nobody_can_accept_more_than_a_quarter_of_the_limit() -> None:
    """Fails before this: an acknowledgement allowed up to half of it."""
    some = boxed(evaporated_pct=4.0, air_changes_per_h=1.5, i_accept_vapour_above_25_percent=True)
    said = refused(some)
    assert "43 % of the lower explosive limit" in said
    assert "do not start" in said
    assert "m³/h of fresh air" in said
    then = SETTINGS.limits.model_copy(update={"cut_out_c": None})
    assert parse_profile(some).refusals(then) == ()  # a night recorded when it was allowed


def test_a_resin_with_styrene_needs_the_box_told() -> None:
    """Fails before this: without [box] nothing was reckoned and the night began."""
    unboxed = UNTIL_DEMOULD.model_dump(mode="json") | {"box": None}
    said = refused(unboxed)
    assert "the resin of 'Lid' gives off styrene" in said
    assert "add [box]" in said
    then = SETTINGS.limits.model_copy(update={"cut_out_c": None})
    assert parse_profile(unboxed).refusals(then) == ()


def test_vapour_is_in_the_record() -> None:
    d = Loop(SETTINGS).tick(still(0.0, start(UNTIL_DEMOULD)))
    told = next(e.message for e in d.events if e.name == "vapour")
    assert "% of the lower explosive limit" in told
    assert "certifies nothing" in told


def test_vapour_that_nobody_reckoned_is_said() -> None:
    """A resin with styrene and no box told: the record must not look as if all were well."""
    unboxed = UNTIL_DEMOULD.model_copy(update={"box": None})
    (event,) = vapour_note(unboxed)
    assert event.message.startswith("Vapour: not reckoned")
    assert vapour_note(unboxed.model_copy(update={"parts": ()})) == []


def test_an_earlier_file_heats_nothing_until_its_limit_is_lowered() -> None:
    """Fails before this: 200 °C, which the heater's thermometer cannot see, and the night began."""
    limits = SETTINGS.limits.model_copy(update={"heater_c": 200.0})
    loop = Loop(SETTINGS.model_copy(update={"limits": limits}))
    d = loop.tick(still(0.0, start()))
    assert d.outcomes[0].outcome == "refused"
    assert "limits.heater_c is 200" in d.outcomes[0].message
    assert "110 at the most" in d.outcomes[0].message
    assert (d.heater_on, d.contactor_on) == (False, False)
    assert d.why_off is not None
