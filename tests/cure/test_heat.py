"""The parts' own heat: into the virtual oven, through thick laminates, at the interlock."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest

from nightcure.cure.card import load_card
from nightcure.cure.part import Part, with_figures
from nightcure.cure.thickness import advise, peak_of
from nightcure.errors import BadInput
from nightcure.guard.interlock_inputs import InterlockInputs
from nightcure.guard.interlocks import Exotherm
from nightcure.measure.screening import Screening
from nightcure.profile import load_profile, planned_air
from nightcure.simulate.resin import Resins, _Thick
from nightcure.simulate.scenario import BOX, PROFILES
from nightcure.simulate.virtual import VirtualOven
from tests.guard.test_interlocks import QUIET, at, seconds_to_fire
from tests.nights import SETTINGS, readings

CARD = load_card("polyester-laminating")
THERMOMETERS = SETTINGS.thermometers
LID, RIM = 1, 2


def part(**fields: Any) -> Part:
    data = {"name": "Lid", "card": "polyester-laminating", "catalyst_pct": 2.0, "resin_kg": 1.0,
            "sensor": "Lid", **fields}  # fmt: skip
    return Part.model_validate(with_figures({"parts": [data]})["parts"][0])


# ---- into the virtual oven -------------------------------------------------------------------


@pytest.mark.parametrize("thickness_mm", [None, 3.0, 12.0])
def test_all_of_the_heat_comes_out(thickness_mm: float | None) -> None:
    """1 kg of resin at a steady 30 °C for a day: the card's 350 kJ, but what is still uncured."""
    resins = Resins([part(thickness_mm=thickness_mm)], THERMOMETERS, 2)
    total_j = [0.0, 0.0]
    for i in range(8640):
        heat_w = resins.step(10.0 * i, 10.0, [30.0, 30.0])
        total_j = [t + 10.0 * w for t, w in zip(total_j, heat_w, strict=True)]
    assert total_j[0] == pytest.approx(350e3, rel=0.02)
    assert total_j[1] == 0.0


def test_a_thick_laminate_runs_ahead_of_its_mould() -> None:
    figures = part().figures
    assert figures is not None
    hottest = {}
    for mm in (2.0, 6.0, 12.0):
        body = _Thick(part(thickness_mm=mm), figures)
        hottest[mm] = 0.0
        for _ in range(2000):
            body.step(10.0, 30.0)
            hottest[mm] = max(hottest[mm], body.core_c)
    assert 30.0 < hottest[2.0] < hottest[6.0] < hottest[12.0]
    assert hottest[12.0] - 30.0 > 3.0 * (hottest[6.0] - 30.0)


def test_heat_in_a_mould_is_heat_in_the_oven() -> None:
    """100 W for 10 min into the lid: its 13.2 kJ/K and what it lost account for 60 kJ."""
    oven = VirtualOven(BOX, THERMOMETERS, lambda _t: 20.0)
    for _ in range(300):
        oven.step(2.0, False, True, (100.0, 0.0))
    capacities = np.array(BOX.capacities)
    kept_j = float(((oven.state_c - 20.0) * capacities).sum())
    assert 0.9 * 60e3 < kept_j < 60e3
    assert oven.moulds_c[0] > oven.moulds_c[1] + 2.0


def test_resins_before_their_start_give_nothing() -> None:
    resins = Resins([part(start_h=1.0)], THERMOMETERS, 2)
    assert all(resins.step(10.0 * i, 10.0, [30.0, 30.0]) == [0.0, 0.0] for i in range(359))
    later = [resins.step(3600.0 + 10.0 * i, 10.0, [30.0, 30.0])[0] for i in range(100)]
    assert later[-1] > later[0] > 0.0


# ---- too thick to be laid in one go ----------------------------------------------------------


def test_thicker_is_hotter_and_the_split_keeps_the_limit() -> None:
    air = [(0.0, 20.0), (6 * 3600.0, 20.0)]
    peaks = [peak_of(CARD, 2.0, mm / 1000.0, air).temp_c for mm in (2.0, 5.0, 10.0)]
    assert peaks == sorted(peaks)
    a = advise(CARD, 2.0, 0.010, air, 60.0)
    assert a.peak.temp_c > 60.0
    assert a.thickest_m is not None
    assert a.layers > 1
    assert 0.010 / a.layers <= a.thickest_m
    assert peak_of(CARD, 2.0, a.thickest_m, air).temp_c <= 60.0
    assert peak_of(CARD, 2.0, a.thickest_m + 0.0005, air).temp_c > 60.0
    thin = advise(CARD, 2.0, 0.002, air, 60.0)
    assert (thin.layers, thin.thickest_m) == (1, 0.002)


def test_less_catalyst_and_cooler_air_keep_it_cooler() -> None:
    cool, warm = [(0.0, 20.0), (21600.0, 20.0)], [(0.0, 30.0), (21600.0, 30.0)]
    middling = peak_of(CARD, 2.0, 0.006, cool).temp_c
    assert peak_of(CARD, 1.0, 0.006, cool).temp_c < middling
    assert peak_of(CARD, 2.0, 0.006, warm).temp_c > middling + 10.0


def test_the_air_over_a_profile_where_nothing_waits() -> None:
    air = planned_air(load_profile(PROFILES / "lid-and-rim.toml"), 8.0)
    assert air[0] == (0.0, 8.0)
    assert air[1] == (pytest.approx(7200.0), 38.0)
    assert air[-1] == (pytest.approx(7200.0 + 1.0 + 7 * 3600.0 + 2340.0), 25.0)


def test_what_it_cannot_reckon_is_refused() -> None:
    air = [(0.0, 20.0), (3600.0, 20.0)]
    with pytest.raises(BadInput, match="no laminate"):
        peak_of(load_card("polyester-gelcoat"), 2.0, 0.003, air)
    with pytest.raises(BadInput, match="thickness is -3 mm"):
        peak_of(CARD, 2.0, -0.003, air)
    with pytest.raises(BadInput, match="not above the air"):
        advise(CARD, 2.0, 0.003, air, 15.0)


# ---- the interlock ---------------------------------------------------------------------------


def hot_lid(excess_k: float, expected_k: float | None) -> InterlockInputs:
    """The lid so much hotter than air and setpoint, and so much expected of it."""
    expected = (expected_k, 0.0)
    return at(parts_c=(("Lid", 38.0 + excess_k), ("Rim", 38.0)), self_heat_k=expected)(0.0)


@pytest.mark.parametrize(
    ("excess_k", "expected_k", "trips"),
    [
        (9.0, None, True),  # the plain allowance of 8 K
        (7.0, None, False),
        (15.5, 10.0, False),  # expected: 10, and 6 on top
        (17.0, 10.0, True),
        (7.0, 0.0, True),  # nothing expected: sooner than the plain rule
        (5.0, 0.0, False),
    ],
)
def test_the_allowance_follows_what_is_expected(
    excess_k: float, expected_k: float | None, trips: bool
) -> None:
    view = hot_lid(excess_k, expected_k)
    before = hot_lid(0.0, expected_k)
    fired = seconds_to_fire(Exotherm(SETTINGS), lambda t: view if t > 60.0 else before, 600.0)
    assert (fired is not None) == trips


@pytest.mark.parametrize(("expected_k", "trips"), [(None, True), (8.0, False)])
def test_an_expected_rise_with_the_heater_off_is_let_be(
    expected_k: float | None, trips: bool
) -> None:
    """From 38 to 48 °C over two hours, the heater off throughout."""

    def view(t_s: float) -> InterlockInputs:
        lid_c = 38.0 + min(10.0, 10.0 * t_s / 7200.0)
        return QUIET._replace(
            heater_on=False, parts_c=(("Lid", lid_c), ("Rim", 38.0)), self_heat_k=(expected_k, None)
        )

    assert (seconds_to_fire(Exotherm(SETTINGS), view, 7200.0) is not None) == trips


def test_warm_parts_do_not_discredit_the_air_sensor_where_warmth_is_expected() -> None:
    """Both parts 10 K above the air for long: the air is in doubt, unless that was expected."""
    for heat_k, doubted in (({}, True), ({LID: 9.0, RIM: 9.0}, False)):
        screening = Screening(THERMOMETERS)
        screened = None
        for i in range(600):
            # Air that moves a little, as real air does.
            air_c = 30.0 + 0.0625 * (i % 3)
            said = readings(2.0 * i, air_c, 40.2, 40.2, 5.0)
            screened = screening.judge(2.0 * i, 2.0, said, True, heat_k)
        assert screened is not None
        assert screened.doubted is doubted


def test_a_snapshot_holds_the_expectation() -> None:
    rule = Exotherm(SETTINGS)
    rule.look(hot_lid(0.0, 0.0))
    rule.look(hot_lid(7.0, 0.0))
    twin = Exotherm(SETTINGS)
    twin.restore(json.loads(json.dumps(rule.snapshot())))
    assert twin.hot_s == rule.hot_s > 0.0
