"""The notes against themselves, settings, sizing, plan and page: one number each."""

from __future__ import annotations

import math
import re
from pathlib import Path

import pytest

from nightcure.cure.vapour import VAPOUR_MOST_PCT, default_evaporated_pct, vapour
from nightcure.guard.heat_pulse import HeatPulse
from nightcure.oven.installation import most_power_w, stuck_on_c
from nightcure.oven.mains import AMERICAN_PLUG_HOURS_A, PLUG_HOURS_A, british_plug_fuse_a
from nightcure.settings import (
    MARGIN_K,
    MOST_CUT_OUT_C,
    MOST_HEATER_C,
    Limits,
    load_settings,
)
from nightcure.settings.cautions import CAUTIONS, as_markdown
from nightcure.simulate.scenario import HERE
from nightcure.survey.heat_and_cool import profile_for

from .pages import EVERYTHING, NOTES, PAGES, anchors

ROOT = NOTES.parent
LIMITS = Limits()
SCENARIO = load_settings(HERE / "oven.toml")
LOSS = SCENARIO.model.loss_w_per_k


# ---- every page --------------------------------------------------------------------------------


@pytest.mark.parametrize("page_name", sorted(PAGES))
def test_every_page_says_what_prevails(page_name: str) -> None:
    top = PAGES[page_name].split("\n\n")[1]
    assert "Local codes and licensed practice prevail over this page" in top
    assert "o board and no box was tested by us" in top


@pytest.mark.parametrize("name", sorted(PAGES))
def test_every_link_leads_somewhere(name: str) -> None:
    for target in re.findall(r"\]\(([^)]+)\)", PAGES[name]):
        path, _, anchor = target.partition("#")
        assert (NOTES / path).exists(), target
        if anchor:
            assert anchor in anchors(path or name), target


def test_every_page_is_in_the_table_of_contents() -> None:
    for name in PAGES:
        assert name == "README.md" or f"]({name})" in PAGES["README.md"], name


def test_the_first_path_is_the_one_without_mains_wiring() -> None:
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    assert readme.index("hardware-notes/plug-in.md") < readme.index("hardware-notes/wiring.md")
    notes = PAGES["README.md"]
    assert notes.index("(plug-in.md)") < notes.index("(wiring.md)")


def test_the_cautions_are_one_text() -> None:
    """Software, notes and page (which gets them from /api/cautions) say the same."""
    assert as_markdown() in PAGES["cautions.md"]
    assert len(CAUTIONS) == PAGES["cautions.md"].count("\n**")


# ---- one number each ---------------------------------------------------------------------------


def numbers(pattern: str, text: str = EVERYTHING) -> set[float]:
    """Every number that a pattern finds."""
    return {float(n.replace(" ", "")) for n in re.findall(pattern, text)}


def test_the_cut_out_is_set_to_what_the_settings_say() -> None:
    """Fails before this: 55 °C in the parts, 60 in the settings, 75 in the sizing."""
    told = numbers(r"cut-outs?[^.,;|\n]{0,40}?(?:set to|at|cut-out) (\d+) °C")
    assert told <= {LIMITS.cut_out_c, MOST_CUT_OUT_C}, told
    for most in re.findall(r"cut-out[^.|\n]{0,60}?(\d+) °C at the most", EVERYTHING):
        assert float(most) == MOST_CUT_OUT_C
    assert "cut-out 65 °C, air trips at 60 °C, soaks up to 55 °C" in PAGES["README.md"]
    assert (LIMITS.cut_out_c, LIMITS.air_c, LIMITS.hottest_soak_c) == (65.0, 60.0, 55.0)
    assert (SCENARIO.limits.cut_out_c, SCENARIO.limits.air_c) == (65.0, 60.0)


def test_the_margins_are_the_settings() -> None:
    rule = "hottest soak + 5 K ≤ air limit (`air_c`) ≤ cut-out (`cut_out_c`) − 5 K"
    assert rule in PAGES["README.md"]
    assert MARGIN_K == 5.0
    assert "opens within 5 K of its setting (65 °C: between 60 and 70)" in PAGES["commissioning.md"]
    assert Limits.model_fields["cut_out_tolerance_k"].default == MARGIN_K
    assert "tolerance stated, 5 K at the most" in PAGES["bill-of-materials.md"]


def test_the_heaters_limit_is_one_its_thermometer_can_see() -> None:
    told = numbers(r"`heater_c`[^.\n]{0,12}?(\d+) °C") | numbers(
        r"probe[^.|\n]{0,30}under (\d+) °C"
    )
    assert told == {MOST_HEATER_C}
    assert LIMITS.heater_c == MOST_HEATER_C < 125.0


def test_survey_plan_and_page_stay_within_the_one_rule() -> None:
    top_c = max(s.get("to_c", s.get("at_c", 0.0)) for s in profile_for(LIMITS, 20.0)["segments"])
    assert top_c <= LIMITS.hottest_soak_c
    sources = {
        "page": (ROOT / "web/page/src").rglob("*.ts*"),
        "plan": (ROOT / "controller/nightcure").rglob("*.py"),
    }
    for where, files in sources.items():
        for path in files:
            text = path.read_text(encoding="utf-8")
            own = re.findall(r"min\((?:\w+\.)*limits\.air_c, (?:\w+\.)*limits\.part_c\) - 1", text,
                             flags=re.I)  # fmt: skip
            assert own == [], f"{where}: {path} has a margin of its own"
    steer = (ROOT / "web/page/src/start/edit.ts").read_text(encoding="utf-8")
    assert "limits.hottest_soak_c" in steer


def test_watts_that_cannot_cook_the_box() -> None:
    """Fails before this: 300 W and one cut-out, 97 °C, and nothing said so."""
    assert f"= **{most_power_w(LOSS, 20.0):.0f} W**" in PAGES["boxes.md"]
    assert f"that is **{most_power_w(LOSS, 20.0):.0f} W**" in PAGES["plug-in.md"]
    assert f"300 W in this box end at {stuck_on_c(300.0, LOSS, 20.0):.0f} °C" in PAGES["boxes.md"]
    assert numbers(r"loss × \((\d+) −") == {MOST_CUT_OUT_C}
    plugged = load_settings(HERE / "oven-plug-in.toml")
    assert plugged.heater.power_w == pytest.approx(most_power_w(LOSS, 20.0))
    assert numbers(r"loses? (\d\.\d) W/K(?! through)", PAGES["plug-in.md"]) == {LOSS}


def test_vapours_numbers_are_the_estimates() -> None:
    """Fails before this: two holes were said to air a wet part."""
    assert VAPOUR_MOST_PCT == 25.0
    page = (ROOT / "web/page/src/start/box-air.tsx").read_text(encoding="utf-8")
    assert f"MOST_PCT = {VAPOUR_MOST_PCT:g};" in page
    wet = vapour(0.5, 42.0, default_evaporated_pct(42.0), 0.43, 38.0)
    assert f"asks for {wet.ventilation_m3_per_h:.1f} m³/h" in PAGES["fire-and-vapour.md"]
    assert numbers(r"wet resin: (\d\.\d) m³/h") == {round(wet.ventilation_m3_per_h, 1)}
    quarter_g = next(
        g / 100.0 for g in range(1, 2000) if vapour(g / 50_000.0, 50.0, 100.0, 0.4, 25.0)[2] >= 25.0
    )
    assert f"{quarter_g:.1f} g of styrene" in PAGES["fire-and-vapour.md"]
    # two equal holes in series, warm air 30 K above 290 K over 0.6 m (stack formula)
    hole_m2 = math.pi * 0.01**2
    flow = 0.6 * hole_m2 * math.sqrt(9.81 * 0.6 * 30.0 / 290.0) * 3600.0
    assert flow == pytest.approx(0.5, abs=0.05)
    assert "about 0.5 m³/h" in PAGES["fire-and-vapour.md"]
    assert "60 litres in 57 s" in PAGES["boxes.md"]
    assert pytest.approx(3.8, abs=0.02) == 0.060 / 57.0 * 3600.0
    assert pytest.approx(1.3, abs=0.05) == 3.8 * 1.2 * 1005.0 / 3600.0
    assert pytest.approx(46.0, abs=0.5) == 1.27 * 36.0


def test_what_a_plug_bears_is_one_number() -> None:
    assert PLUG_HOURS_A * 230.0 == 2300.0
    assert AMERICAN_PLUG_HOURS_A * 120.0 == 1440.0
    assert "10 A, 2.3 kW" in PAGES["supply-eu.md"]
    assert "10 A, 2.3 kW" in PAGES["supply-uk.md"]
    assert "12 A, 1440 W" in PAGES["supply-us.md"]
    for fuse_a, up_to_w in ((3, 550), (5, 920)):
        assert f"{fuse_a} A up to {up_to_w} W" in PAGES["supply-uk.md"]
        assert british_plug_fuse_a(up_to_w / 230.0) == fuse_a
        assert british_plug_fuse_a((up_to_w + 5.0) / 230.0) > fuse_a


def test_a_class_a_interrupters_time_is_ul_943s() -> None:
    for ma, told_s in ((6.0, 5.6), (53.0, 0.25)):
        assert (20.0 / ma) ** 1.43 == pytest.approx(told_s, rel=0.02)
        assert f"{told_s:g} s at {ma:g} mA" in PAGES["supply-us.md"]


@pytest.mark.parametrize(
    "wrong",
    [
        r"or rubber cable", r"Silicone or rubber", r"has not earned", r"bimetal sensor",
        r"straps that hold", r"BCM pin", r"55 °C \| IEC",
    ],
)  # fmt: skip
def test_what_was_wrong_is_gone(wrong: str) -> None:
    assert not re.search(wrong, EVERYTHING)


def test_where_people_sleep_is_said_the_same_everywhere() -> None:
    words = "in, over or attached to"
    for name in ("README.md", "fire-and-vapour.md", "what-it-cannot.md", "insurer.md"):
        assert words in PAGES[name], name
    assert any(words in c.text for c in CAUTIONS)


def test_the_sheets_test_of_the_switches_is_the_programs() -> None:
    pulse_s = HeatPulse(SCENARIO).length_s
    assert f"({pulse_s:.0f} s in the scenario's box)" in PAGES["commissioning.md"]
    assert "--pulse" not in EVERYTHING


def test_the_shipped_oven_files_name_their_header_pins() -> None:
    text = (HERE / "oven-plug-in.toml").read_text(encoding="utf-8")
    assert "GPIO17, header pin 11" in text
    assert "GPIO27, header pin 13" in text
    assert Path(HERE / "profiles" / "gelled-outside.toml").exists()


def test_flicker_is_reckoned_as_the_standard_does() -> None:
    """IEC 61000-3-3, its reference impedance and analytical method (from memory)."""
    rows = re.findall(
        r"^\| (\d+) W \| ([\d.]+) % \| ([\d.]+) \| ([\d.]+) \|$", PAGES["flicker.md"], flags=re.M
    )
    assert [int(row[0]) for row in rows] == [300, 1000, 2000]
    for row in rows:
        power_w, told_pct, *told = map(float, row)
        step_pct = 100.0 * (power_w / 230.0) * 0.4 / 230.0
        assert told_pct == pytest.approx(step_pct, abs=0.005)
        for window_s, value in zip((20.0, 60.0), told, strict=True):
            steps = 2.0 * 600.0 / window_s
            assert value == pytest.approx(
                (steps * 2.3 * step_pct**3.2 / 600.0) ** (1 / 3.2), abs=0.01
            )
    assert "window of 20 s is just within the limit" in PAGES["flicker.md"]
