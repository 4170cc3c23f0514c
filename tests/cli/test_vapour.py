"""`nightcure cure vapour`: the promised keys, sentences for people, mistakes told."""

from __future__ import annotations

import json
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from nightcure.cli.main import app

KEYS = {"styrene_g", "vol_pct", "percent_lel", "ppm", "saturated", "ventilation_m3_per_h"}
BOX = ("--resin-kg", "0.1", "--monomer-pct", "40", "--evaporated-pct", "25", "--volume-m3", "0.4",
       "--air-c", "25")  # fmt: skip


def vapour(*arguments: str) -> Result:
    return CliRunner().invoke(app, ["cure", "vapour", *arguments])


def figures(*arguments: str) -> dict[str, Any]:
    result = vapour(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def test_ten_grams_in_a_small_box() -> None:
    """10 g in 0.4 m³ at 25 °C: 65.3 % of 0.9 vol % (moles over moles of air, computed)."""
    found = figures(*BOX)
    assert found.keys() >= KEYS
    assert found["styrene_g"] == pytest.approx(10.0)
    assert found["percent_lel"] == pytest.approx(65.3, abs=0.1)
    assert found["ppm"] == pytest.approx(10_000.0 * found["vol_pct"], rel=1e-4)
    assert found["saturated"] is False
    assert found["ventilation_m3_per_h"] > 0.0


def test_ventilation_as_it_asks_brings_it_under_a_quarter() -> None:
    changes = figures(*BOX)["ventilation_m3_per_h"] / 0.4
    assert figures(*BOX, "--air-changes-per-h", str(changes))["percent_lel"] <= 25.0


def test_the_default_is_the_emission_rule_s() -> None:
    """61.8 kg/Mg at 40 % monomer (40 CFR 63 VVVV, table 3): 15.45 % of the styrene."""
    args = ("--resin-kg", "1", "--monomer-pct", "40", "--volume-m3", "2")
    assert figures(*args)["styrene_g"] == pytest.approx(61.8, rel=0.002)
    assert figures(*args, "--gel-coat")["styrene_g"] == pytest.approx(214.7, rel=0.002)


def test_it_says_that_it_certifies_nothing() -> None:
    result = vapour(*BOX)
    said = " ".join(result.stdout.split())
    for words in ("certifies nothing", "do not start", "ignition source", "MEKP", "fresh air"):
        assert words in said


@pytest.mark.parametrize(
    ("option", "value", "sentence"),
    [
        ("--resin-kg", "-1", "resin_kg is -1; it should be 0 to 1000."),
        ("--resin-kg", "nan", "resin_kg is nan"),
        ("--volume-m3", "0", "volume_m3 is 0"),
        ("--monomer-pct", "120", "monomer_pct is 120"),
        ("--evaporated-pct", "-3", "evaporated_pct is -3"),
        ("--air-c", "400", "air_c is 400"),
        ("--air-c", "-40", "air_c is -40"),
        ("--air-changes-per-h", "inf", "air_changes_per_h is inf"),
        ("--over-h", "0", "over_h is 0"),
    ],
)
def test_mistakes_are_told(option: str, value: str, sentence: str) -> None:
    result = vapour(*BOX, option, value, "--json")
    assert result.exit_code == 2
    assert sentence in result.stderr
    assert result.stdout == ""
