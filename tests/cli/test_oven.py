"""`nightcure oven`: what a box is, which heater it needs."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from nightcure.cli.main import app
from nightcure.simulate.scenario import BOX, HERE, OVEN_FILE

BOX_FILE = HERE / "box.toml"


def nightcure(*arguments: str | Path) -> Result:
    return CliRunner().invoke(app, [str(a) for a in arguments])


def said(*arguments: str | Path) -> dict[str, Any]:
    result = nightcure(*arguments, "--json")
    assert result.exit_code == 0, result.stderr
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.mark.parametrize("name", ["describe", "size"])
def test_help_worth_reading(name: str) -> None:
    result = nightcure("oven", name, "--help")
    assert result.exit_code == 0
    assert len(result.stdout) > 300
    assert "--ambient" in result.stdout


def test_the_scenarios_box_by_its_sizes_is_the_scenarios_box() -> None:
    """The shipped box.toml against the network the demo runs: loss within 5 %, capacity 10 %."""
    found = said("oven", "describe")
    assert found["loss_w_per_k"] == pytest.approx(BOX.loss_w_per_k, rel=0.05)
    assert found["heat_capacity_j_per_k"] == pytest.approx(sum(BOX.capacities), rel=0.10)
    assert found["power_w"] == BOX.power_w


def test_describe_is_arithmetic_a_person_can_check() -> None:
    found = said("oven", "describe", BOX_FILE, "--ambient", "2", "--hold", "38")
    loss = found["panel_loss_w_per_k"] + found["leak_w_per_k"]
    assert found["loss_w_per_k"] == pytest.approx(loss, abs=1e-3)
    assert found["highest_c"] == pytest.approx(2 + 300 / loss, abs=0.01)
    assert found["hold_w"] == pytest.approx(loss * 36, abs=0.05)
    whole = found["heat_capacity_j_per_k"]
    parts = ("heater", "air", "wall", "mould")
    assert whole == pytest.approx(sum(found[f"{p}_capacity_j_per_k"] for p in parts), abs=0.1)
    assert whole - found["wall_capacity_j_per_k"] < found["warmed_j_per_k"] < whole
    ramp = 3600 * (300 - found["hold_w"]) / found["warmed_j_per_k"]
    assert found["fastest_ramp_c_per_h"] == pytest.approx(ramp, abs=0.01)
    assert found["time_constants_s"] == sorted(found["time_constants_s"], reverse=True)


def test_what_changes_would_do() -> None:
    found = said("oven", "describe", "--heater", "500")
    changes = {c["change"]: c for c in found["what_if"]}
    assert set(changes) == {"board 50 mm", "one more layer", "gaps taped", "heater 500 W", "no fan"}
    assert changes["board 50 mm"]["panel_loss_w_per_k"] < 0.6 * found["panel_loss_w_per_k"]
    assert changes["board 50 mm"]["leak_w_per_k"] == found["leak_w_per_k"]
    assert changes["gaps taped"]["leak_w_per_k"] == pytest.approx(
        0.1 * found["leak_w_per_k"], abs=1e-4
    )
    assert changes["heater 500 W"]["power_w"] == 500
    assert changes["heater 500 W"]["loss_w_per_k"] == found["loss_w_per_k"]
    assert changes["no fan"]["panel_loss_w_per_k"] < found["panel_loss_w_per_k"]


def test_an_oven_toml_is_described_by_its_model() -> None:
    found = said("oven", "describe", OVEN_FILE)
    assert found["loss_w_per_k"] == pytest.approx(3.9)
    assert {c["change"] for c in found["what_if"]} >= {"loss -25 %", "half the mould"}


def test_the_tables_are_there_for_people() -> None:
    shown = nightcure("oven", "describe").stdout
    for word in ("loss, W/K", "panels", "leak", "hold 40 °C, W"):
        assert word in shown
    shown = nightcure("oven", "size", "--hold", "40", "--ambient", "2", "--cut-outs", "2").stdout
    for word in ("400 W", "fuse", "contactor", "hot-air gun", "490 °C"):
        assert word in shown


def test_help_shows_the_tables_of_a_box() -> None:
    shown = " ".join(nightcure("oven", "describe", "--help").stdout.split())
    for word in ("inside_m = [1.2, 0.6, 0.6]", "[[boards]]", "[gaps]", "[heater]", "[[moulds]]"):
        assert word in shown
    assert "[model]" in shown


def test_size_is_hold_and_ramp_with_low_mains() -> None:
    box = said("oven", "describe", "--ambient", "2", "--hold", "40")
    found = said(
        "oven", "size", "--hold", "40", "--ambient", "2", "--warmest", "20", "--cut-outs", "2"
    )
    assert found["hold_w"] == pytest.approx(box["loss_w_per_k"] * 38, abs=0.01)
    assert found["ramp_w"] == pytest.approx(box["warmed_j_per_k"] * 15 / 3600, abs=0.01)
    assert found["needed_w"] == pytest.approx((found["hold_w"] + found["ramp_w"]) / 0.81, abs=0.01)
    assert found["recommended_w"] >= found["needed_w"]
    assert found["current_a"] == pytest.approx(found["recommended_w"] / 230, abs=0.01)
    as_needed, twice, gun = found["candidates"]
    assert gun["power_w"] == 2000
    assert gun["surface_c"] > 490 > as_needed["surface_c"]
    assert twice["coast_k"] > as_needed["coast_k"]
    assert twice["stuck_c"] == pytest.approx(20 + twice["power_w"] / box["loss_w_per_k"], abs=0.05)
    low = said(
        "oven", "size", "--hold", "40", "--ambient", "2", "--cut-outs", "2", "--voltage", "115"
    )
    assert low["current_a"] == pytest.approx(2 * found["current_a"], abs=0.02)
    assert low["fuse_a"] >= 1.25 * low["current_a"]


BAD = {
    "no board": ("[[boards]]", "[[bords]]", "boards is missing"),
    "thick": ("thickness_m = 0.025", "thickness_m = 25", "it should be at most 0.5"),
    "material": ('material = "pir"', 'material = "straw"', "it should be one of pir"),
    "size": ("inside_m = [1.2, 0.6, 0.6]", "inside_m = [1.2, 0.6, 0.0]", "three lengths"),
    "word": ("power_w = 300.0", 'power_w = "much"', "it should be a number"),
    "toml": ("fan = true", "fan =", "is not TOML"),
}


@pytest.mark.parametrize("name", BAD)
def test_a_wrong_box_gets_its_sentence(name: str, tmp_path: Path) -> None:
    old, new, essential = BAD[name]
    path = tmp_path / "box.toml"
    path.write_text(BOX_FILE.read_text().replace(old, new, 1))
    result = nightcure("oven", "describe", path)
    assert result.exit_code == 2
    assert result.stdout == ""
    assert essential in " ".join(result.stderr.split())


def test_other_mistakes() -> None:
    result = nightcure("oven", "size", "--hold", "5", "--ambient", "9")
    assert result.exit_code == 2
    assert "must be above that" in result.stderr
    assert nightcure("oven", "describe", "none.toml").exit_code == 2


def test_more_than_one_heater_can_do_is_said(tmp_path: Path) -> None:
    path = tmp_path / "box.toml"
    text = BOX_FILE.read_text().replace("[1.2, 0.6, 0.6]", "[6.0, 4.0, 3.0]")
    path.write_text(text.replace("mass_kg = 9.0", "mass_kg = 900.0"))
    found = said("oven", "size", path, "--hold", "60", "--ambient", "-5", "--ramp", "20")
    assert found["recommended_w"] is None
    assert any("more than one heater" in c for c in found["cautions"])
