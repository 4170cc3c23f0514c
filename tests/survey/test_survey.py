"""The survey on ovens of python-control and scipy; and what it says it cannot know."""

from __future__ import annotations

import dataclasses

import control
import numpy as np
import pytest
from scipy import signal

from nightcure.oven.thermal import Array
from nightcure.survey.assumptions import figures, unknown_of
from nightcure.survey.fit import network_of, quantum
from nightcure.survey.identified import Survey
from nightcure.survey.log import Log
from nightcure.survey.residuals import whiteness
from nightcure.survey.survey import survey
from tests import survey_campaign

T = np.arange(0.0, 28800.0, 20.0)
ON = (T < 9000.0).astype(float)


def noted(rise: Array, seed: int = 0, ambient_c: float = 8.0, power_w: float | None = 300.0) -> Log:
    """A rise over a steady ambient as a DS18B20 shows it, noise 0.1 °C."""
    rng = np.random.default_rng(seed)
    air = np.round((ambient_c + rise + rng.normal(0, 0.1, len(rise))) / 0.0625) * 0.0625
    return Log(T, air, T, ON, None, np.full(len(T), ambient_c), power_w)


def by_control() -> Log:
    """K = 300 W / 3.9 W/K as a sum of three lags, by python-control's own simulation.

    The input is linear between its samples there: one second between the two sides of a step.
    """
    s = control.tf("s")
    plant = 300 / 3.9 * (0.83 / (7000 * s + 1) + 0.15 / (700 * s + 1) + 0.02 / (150 * s + 1))
    fine = np.arange(0.0, T[-1] + 1.0, 1.0)
    out = control.forced_response(control.ss(plant), fine, (fine < 9000.0).astype(float)).outputs
    return noted(np.asarray(out)[::20][: len(T)])


def by_signal() -> Log:
    """The same oven in cascade form with a zero, by scipy.signal's lsim, zero-order hold."""
    gain = 150.0 / 2.4
    numerator = gain * np.array([1500.0, 1.0])
    denominator = np.polymul(np.polymul([9000.0, 1.0], [800.0, 1.0]), [120.0, 1.0])
    _, out, _ = signal.lsim((numerator, denominator), ON, T, interp=False)
    return dataclasses.replace(noted(np.asarray(out)), power_w=150.0)


@pytest.mark.parametrize(
    ("made", "true", "slow_s"), [(by_control, 3.9, 7000.0), (by_signal, 2.4, 9000.0)]
)
def test_an_oven_of_another_library_is_known_again(made, true, slow_s) -> None:  # type: ignore[no-untyped-def]
    found = survey(made())
    loss = found.loss_w_per_k
    assert loss is not None
    assert loss.value == pytest.approx(true, rel=0.02)
    assert loss.low * 0.99 <= true <= loss.high * 1.01
    assert found.time_constants_s[0].value == pytest.approx(slow_s, rel=0.05)
    assert found.order >= 2
    assert float(np.std(found.fit.residuals_c)) < 0.13


@pytest.fixture(scope="module")
def by_hand() -> Survey:
    """A dozen rows by hand, whole degrees, 300 W for 40 min, no ambient."""
    minutes = np.array([0, 5, 10, 20, 30, 40, 45, 50, 60, 80, 100, 120.0])
    air = np.array([9, 17, 22, 28, 32, 36, 31, 29, 27, 25, 23, 21.0])
    switched = np.array([0.0, 2400.0])
    return survey(Log(60 * minutes, air, switched, np.array([1.0, 0.0]), power_w=300.0))


def test_what_a_hand_noted_table_says(by_hand: Survey) -> None:
    loss = by_hand.loss_w_per_k
    assert loss is not None
    assert 2.0 < loss.low < loss.value < loss.high < 6.0
    assert any("No ambient was noted: the shed is taken at 9.0 °C" in s for s in by_hand.assumed)
    assert any("rounded to 1 °C" in s for s in by_hand.assumed)
    assert any("for ±15 %" in s for s in by_hand.unknown)
    assert by_hand.longer is not None
    assert 300.0 <= by_hand.longer.more_s <= 6 * 3600.0


def test_what_is_said_in_json(by_hand: Survey) -> None:
    said = by_hand.as_json()
    for key in ("loss_w_per_k", "heat_capacity_j_per_k", "heater_power_w", "dead_time_s"):
        assert set(said[key]) == {"value", "low", "high"}
        assert said[key]["low"] <= said[key]["value"] <= said[key]["high"]
    assert all(set(v) == {"value", "low", "high"} for v in said["time_constants_s"])
    assert said["assumed"] == list(by_hand.assumed)
    assert said["unknown"] == list(by_hand.unknown)


def test_noting_for_as_long_as_it_says_does_it() -> None:
    """A virtual truth noted for the time advised: the interval comes to about ±15 %."""
    _, log, _ = survey_campaign.made("notes", 3)
    rows = log.time_s <= 0.8 * log.time_s[-1]
    short = dataclasses.replace(log, time_s=log.time_s[rows], air_c=log.air_c[rows])
    first = survey(short)
    assert first.longer is not None
    assert first.loss_w_per_k is not None
    network = network_of(first.fit.unknowns, 1.0)
    pace_s = float(np.median(np.diff(short.time_s)))
    more = np.arange(pace_s, first.longer.more_s + 1.0, pace_s) + short.time_s[-1]
    times = np.r_[short.time_s, more]
    heat_times, heat = short.heat_time_s, short.heat
    if first.longer.heat_s:
        heat_times = np.r_[heat_times, short.time_s[-1], short.time_s[-1] + first.longer.heat_s]
        heat = np.r_[heat, 1.0, 0.0]
    from nightcure.oven.response import response

    grid = np.union1d(times, heat_times)
    at = heat[np.searchsorted(heat_times, grid[:-1], side="right") - 1]
    start = np.full(len(network.capacities), first.fit.unknowns[7])
    air = response(network, grid, at, np.full(len(grid), short.air_c[0]), start, (1,))[0]
    longer = Log(
        times, np.round(air[np.searchsorted(grid, times)]), heat_times, heat, power_w=short.power_w
    )
    then = survey(longer).loss_w_per_k
    assert then is not None
    assert (then.high / then.low) ** 0.5 - 1.0 < 0.20
    assert (first.loss_w_per_k.high / first.loss_w_per_k.low) ** 0.5 - 1.0 > 0.15


def test_without_the_heaters_power_only_the_ratio_is_known() -> None:
    log = by_control()
    with_it, without = survey(log), survey(dataclasses.replace(log, power_w=None))
    assert without.loss_w_per_k is None
    assert without.heat_capacity_j_per_k is None
    assert without.rise_k.value == pytest.approx(with_it.rise_k.value, rel=1e-3)
    assert with_it.rise_k.value == pytest.approx(300 / 3.9, rel=0.02)
    assert any("heater's power is unknown" in s and "--power" in s for s in without.unknown)
    assert without.as_json()["loss_w_per_k"] is None


def test_a_part_noted_besides_narrows_the_moulds() -> None:
    rng = np.random.default_rng(5)
    oven = survey_campaign.foreign_oven(rng)
    n = survey_campaign.noted(oven, rng, np.arange(0.0, 1.2 * oven.slow_s(), 60.0), 0.0, 1800.0)
    log = Log(n.time_s, n.air_c, n.time_s, n.on.astype(float), None, n.ambient_c, oven.power_w)
    alone, both = survey(log), survey(dataclasses.replace(log, part_c=n.part_c))

    def sd(found: Survey) -> float:
        return float(np.sqrt(found.fit.covariance[3, 3]))

    assert sd(both) < sd(alone)
    assert both.loss_w_per_k is not None
    assert both.loss_w_per_k.value == pytest.approx(oven.loss_w_per_k, rel=0.1)


def test_a_door_left_open_widens_the_interval_and_is_no_reason_to_refuse() -> None:
    """Half an hour open in the cool-down of the oven that python-control made."""
    log = by_control()
    open_door = (T > 14400) & (T < 16200)
    sunk = np.where(open_door, np.maximum(log.air_c - 12.0, 8.0), log.air_c)
    shut, opened = survey(log).loss_w_per_k, survey(dataclasses.replace(log, air_c=sunk))
    loss = opened.loss_w_per_k
    assert shut is not None
    assert loss is not None
    assert np.log(loss.high / loss.low) > 2.0 * np.log(shut.high / shut.low)
    assert loss.low <= 3.9 <= loss.high
    assert any("a door" in s for s in opened.unknown)


def test_a_test_that_begins_colder_than_its_shed_is_told_so(by_hand: Survey) -> None:
    colder = survey(by_hand.log, 15.0)
    assert any("begins with the air 6.0 K colder than the shed" in s for s in colder.assumed)
    assert not any("colder" in s for s in survey(by_hand.log, 10.0).assumed + by_hand.assumed)


def test_steps_of_a_thermometer_are_no_door() -> None:
    """Residuals of hundredths of a kelvin, however regular, name no door and no draught."""
    log = by_control()
    regular = dataclasses.replace(survey(log), white=False)
    small = dataclasses.replace(regular.fit, residuals_c=0.1 * regular.fit.residuals_c)
    assert any("a door" in s for s in unknown_of(regular, 0.02))
    assert not any("a door" in s for s in unknown_of(dataclasses.replace(regular, fit=small), 0.02))


@pytest.mark.parametrize(
    ("value", "shown"), [(1234.5, "1230"), (0.38661, "0.387"), (76.0, "76"), (1.333e6, "1330000")]
)
def test_no_powers_of_ten_on_a_workshop_wall(value: float, shown: str) -> None:
    assert figures(value) == shown


def test_whiteness() -> None:
    rng = np.random.default_rng(0)
    white = rng.normal(size=500)
    assert whiteness(white, 1.0)[0]
    walked = np.convolve(white, np.ones(5) / 5, mode="same")
    assert not whiteness(walked, 1.0)[0]
    p_values = [whiteness(rng.normal(size=200), 1.0)[1] for _ in range(300)]
    assert np.mean(np.array(p_values) < 0.05) == pytest.approx(0.05, abs=0.04)


@pytest.mark.parametrize("step", [5.0, 1.0, 0.5, 0.1, 0.0625])
def test_rounding_is_seen(step: float) -> None:
    values = np.round(np.random.default_rng(1).uniform(5, 60, 200) / step) * step
    assert quantum(values) == step
    assert quantum(np.random.default_rng(1).uniform(5, 60, 200)) == 0.0


# ---- a sample of the campaign (python -m tests.survey_campaign) ----------------------------------


@pytest.mark.parametrize("seed", range(4))
def test_a_sample_of_the_logs(seed: int) -> None:
    outcome = survey_campaign.one("logs", seed)
    assert outcome is not None
    assert abs(outcome.error) <= 0.05
    assert outcome.half < 0.05


@pytest.mark.parametrize("seed", range(6))
def test_a_sample_of_the_notes(seed: int) -> None:
    outcome, brief = (survey_campaign.one(kind, seed) for kind in ("notes", "brief"))
    assert outcome is not None
    assert brief is not None
    assert abs(outcome.error) <= 0.25
    assert outcome.says_ambient
    assert brief.half > outcome.half
    assert brief.says_longer or brief.half <= 0.15
