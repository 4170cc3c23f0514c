"""Nights as they are drawn, and a survey's intervals taken over."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from scipy import stats

from nightcure.errors import BadInput
from nightcure.plan.spread import Spreads, draw, from_survey
from nightcure.plan.tonight import facts_of, planned, tonight
from nightcure.profile import load_profile
from nightcure.scenario import PARTS_FILE, ambient_c
from tests.nights import SETTINGS

PROFILE = load_profile(PARTS_FILE)
TONIGHT = tonight(SETTINGS, PROFILE.parts, ambient_c, "demould", 43_200.0)


def test_the_stated_spreads_are_drawn() -> None:
    spreads = Spreads()
    t = draw(TONIGHT, spreads, 4000, 7)
    for name, sd in (("loss", spreads.loss), ("power", spreads.power)):
        log = np.log(getattr(t, f"{name}_times"))
        assert np.mean(log) == pytest.approx(0.0, abs=1e-3)
        assert np.std(log) == pytest.approx(sd, rel=0.01)
        assert stats.kstest(log, "norm", (0.0, sd)).pvalue > 0.05
    assert np.std(t.ambient_k) == pytest.approx(spreads.ambient_c, rel=0.01)
    # One tin of resin for both parts, each mix weighed for itself.
    assert np.array_equal(t.cure_z[:, 0], t.cure_z[:, 1])
    assert abs(np.corrcoef(t.weighing_times.T)[0, 1]) < 0.05
    # The card's gel band is 0.7 to 1.4: with 8 % of weighing on top, a little wider.
    low, middle, high = np.quantile(t.gel_times[:, 0], (0.05, 0.5, 0.95))
    assert 0.66 < low < 0.70
    assert middle == pytest.approx(1.0, abs=0.02)
    assert 1.40 < high < 1.50


def test_no_spread_is_one_night() -> None:
    t = draw(TONIGHT, Spreads.none(), 3)
    for value in vars(t).values():
        assert np.ptp(value, axis=0).max() == 0.0
    assert t.loss_times[0] == t.gel_times[0, 0] == 1.0


def test_the_same_seed_the_same_nights() -> None:
    a, b, c = (draw(TONIGHT, Spreads(), 50, seed) for seed in (3, 3, 4))
    assert np.array_equal(a.loss_times, b.loss_times)
    assert not np.array_equal(a.loss_times, c.loss_times)


def test_the_cards_own_answer_to_the_catalyst() -> None:
    """20 min with 2 % and 13 with 3 % at 20 °C, 45 with 1 %: between 1.06 and 1.17."""
    assert 1.06 < planned(PROFILE.parts[0]).catalyst_power < 1.17


SURVEY: dict[str, Any] = {
    "loss_w_per_k": {"value": 4.2, "low": 3.9, "high": 4.523},
    "heat_capacity_j_per_k": {"value": 30_000.0, "low": 27_000.0, "high": 33_333.0},
    "heater_power_w": {"value": 300.0, "low": 300.0, "high": 300.0},
    "model": {
        "loss_w_per_k": 4.2, "air_capacity_j_per_k": 5000.0, "mould_capacity_j_per_k": 25_000.0,
        "mould_lag_s": 1500.0, "heater_lag_s": 200.0, "assumed_ambient_c": 5.0,
    },
}  # fmt: skip


def test_a_surveys_intervals_become_spreads() -> None:
    facts, spreads = from_survey(json.loads(json.dumps(SURVEY)), facts_of(SETTINGS), Spreads())
    assert facts.loss_w_per_k == 4.2
    assert facts.mould_capacity_j_per_k == 25_000.0
    # ln(4.523 / 3.9) / 2 = 7.4 % is 1.96 standard deviations.
    assert spreads.loss == pytest.approx(0.0378, abs=2e-4)
    assert spreads.capacity == pytest.approx(0.0538, abs=2e-4)
    assert spreads.power == Spreads().power, "a stated power says nothing of the mains"


@pytest.mark.parametrize(
    "found",
    [
        [],
        {"model": {}},
        {**SURVEY, "loss_w_per_k": None},
        {**SURVEY, "model": {"loss_w_per_k": 4.0}},
        {**SURVEY, "loss_w_per_k": {"value": 4.0, "low": 0.0, "high": 5.0}},
    ],
)
def test_what_is_no_survey_is_said(found: Any) -> None:
    with pytest.raises(BadInput, match="survey"):
        from_survey(found, facts_of(SETTINGS), Spreads())
