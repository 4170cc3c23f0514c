"""Nights as they are drawn, and a survey's intervals taken over."""

from __future__ import annotations

import json
from typing import Any

import numpy as np
import pytest
from scipy import stats

from nightcure.errors import BadInput
from nightcure.oven.response import response
from nightcure.oven.thermal import AIR
from nightcure.plan.sampling import Spreads, draw, from_survey
from nightcure.plan.tonight import facts_of, planned, tonight
from nightcure.profile import load_profile
from nightcure.simulate.scenario import BOX, PARTS_FILE, ambient_c
from nightcure.survey.log import Log
from nightcure.survey.survey import survey
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


#: A loss found too high goes with a capacity found too high: the cooling tells their ratio best.
COVARIANCE = np.array(
    [
        [0.0100, 0.0060, 0.0070, -0.0010],
        [0.0060, 0.0400, -0.0200, 0.0100],
        [0.0070, -0.0200, 0.0900, 0.0300],
        [-0.0010, 0.0100, 0.0300, 0.1600],
    ]
)
#: As a survey prints it: its own order, with a row the plan has no use for.
TOLD = {
    "of": ["heater_lag_s", "mould_lag_s", "mould_capacity_j_per_k", "air_capacity_j_per_k",
           "loss_w_per_k"],
    "rows": [[0.04, 0.0, 0.0, 0.0, 0.0], *([0.0, *row] for row in COVARIANCE[::-1, ::-1].tolist())],
}  # fmt: skip


def test_what_a_survey_knows_together_is_drawn_together() -> None:
    """The moments of numpy's own multivariate normal; without a covariance the intervals do."""
    facts, spreads = from_survey({**SURVEY, "log_covariance": TOLD}, facts_of(SETTINGS), Spreads())
    assert facts.mould_lag_s == 1500.0
    n = 20_000
    t = draw(TONIGHT, spreads, n, 5)
    lag = t.mould_capacity_times / t.mould_surface_times
    ours = np.log([t.loss_times, t.air_capacity_times, t.mould_capacity_times, lag])
    theirs = np.random.default_rng(6).multivariate_normal(np.zeros(4), COVARIANCE, n).T
    scale = np.sqrt(np.outer(np.diag(COVARIANCE), np.diag(COVARIANCE)))
    assert np.abs(ours.mean(axis=1)).max() < 0.01
    assert np.abs((np.cov(ours) - np.cov(theirs)) / scale).max() < 0.03
    for a, b in zip(ours, theirs, strict=True):
        assert stats.ks_2samp(a, b).pvalue > 0.01
    alone = draw(TONIGHT, from_survey(SURVEY, facts_of(SETTINGS), Spreads())[1], n, 5)
    assert abs(np.corrcoef(alone.loss_times, alone.air_capacity_times)[0, 1]) < 0.02
    assert np.ptp(alone.mould_surface_times) == 0.0


def test_a_survey_of_a_few_rows_is_not_drawn_wider_than_anything_is() -> None:
    wide = {**TOLD, "rows": (25.0 * np.array(TOLD["rows"])).tolist()}
    _, spreads = from_survey({**SURVEY, "log_covariance": wide}, facts_of(SETTINGS), Spreads())
    t = draw(TONIGHT, spreads, 4000, 5)
    logs = np.log([t.loss_times, t.air_capacity_times, t.mould_capacity_times])
    assert np.std(logs, axis=1) == pytest.approx([0.5, 0.6, 0.6], rel=0.02)
    assert np.corrcoef(logs)[0, 1] == pytest.approx(0.3, abs=0.03)


def test_a_real_surveys_covariance_is_that_of_its_intervals() -> None:
    """The survey of a virtual oven: the joint spread of the loss is the printed interval's."""
    found = survey(heat_test(), 9.0).as_json()
    told = json.loads(json.dumps(found))
    _, spreads = from_survey(told, facts_of(SETTINGS), Spreads())
    assert spreads.oven_log_covariance is not None
    cov = np.array(spreads.oven_log_covariance)
    assert np.sqrt(cov[0, 0]) == pytest.approx(spreads.loss, rel=0.01)
    correlation = cov[0, 2] / np.sqrt(cov[0, 0] * cov[2, 2])
    assert 0.05 < abs(correlation) < 1.0
    t = draw(TONIGHT, spreads, 2000, 1)
    drawn = np.corrcoef(np.log(t.loss_times), np.log(t.mould_capacity_times))[0, 1]
    assert drawn == pytest.approx(correlation, abs=0.06)


def heat_test() -> Log:
    """Forty minutes of heat, two hours of cooling, in the scenario's box without noise."""
    times = np.arange(0.0, 9600.0, 60.0)
    heat = (times < 2400.0).astype(float)[:-1] * BOX.power_w
    start = np.full(len(BOX.capacities), 9.0)
    air = response(BOX, times, heat, np.full(len(times), 9.0), start, (AIR,))[0]
    return Log(times, air, np.array([0.0, 2400.0]), np.array([1.0, 0.0]), power_w=BOX.power_w)


@pytest.mark.parametrize(
    "found",
    [
        [],
        {**SURVEY, "log_covariance": []},
        {**SURVEY, "log_covariance": {"of": TOLD["of"][:4], "rows": TOLD["rows"]}},
        {**SURVEY, "log_covariance": {"of": TOLD["of"], "rows": np.diag([-1.0] * 5).tolist()}},
        {**SURVEY, "log_covariance": {"of": TOLD["of"], "rows": np.triu(TOLD["rows"]).tolist()}},
        {"model": {}},
        {**SURVEY, "loss_w_per_k": None},
        {**SURVEY, "model": {"loss_w_per_k": 4.0}},
        {**SURVEY, "loss_w_per_k": {"value": 4.0, "low": 0.0, "high": 5.0}},
    ],
)
def test_what_is_no_survey_is_said(found: Any) -> None:
    with pytest.raises(BadInput, match="survey"):
        from_survey(found, facts_of(SETTINGS), Spreads())
