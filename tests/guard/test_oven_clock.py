"""The oven as a clock, on ovens of another structure (`tests.foreign_oven`, solved by scipy)."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.linalg import expm

from nightcure.guard.oven_clock import Fallen, Standstill, standstill
from nightcure.settings import Model
from tests.foreign_oven import AIR, HEATER, M1, M1_CORE, M2, M2_CORE, Array, foreign_oven

STEP_S = 10.0
OVENS = 60


def seen(x: Array) -> tuple[float, float]:
    return float(x[AIR]), float((0.4 * (x[M1] + x[M2]) + 0.6 * (x[M1_CORE] + x[M2_CORE])) / 2.0)


def cut_off(
    seed: int, away_s: float, parts: bool = True, shed: bool = True
) -> tuple[float, Standstill]:
    """A foreign oven heated for hours, then left for `away_s` in a shed that falls.

    Its settings are as a survey may have them: each off by a factor with a deviation of 15 %.
    """
    rng = np.random.default_rng(seed)
    oven = foreign_oven(rng)
    a, from_ambient = oven.matrices()
    keep = expm(a * STEP_S)
    held = np.linalg.solve(a, keep - np.eye(9))
    heat = np.zeros(9)
    heat[HEATER] = oven.power_w / oven.capacities[HEATER]
    ambient_c = float(rng.uniform(-5.0, 15.0))
    warm_c = ambient_c + float(rng.uniform(15.0, 35.0))
    x = np.full(9, ambient_c)
    duty = summed_k = 0.0
    for i in range(int(rng.uniform(0.7, 6.0) * 3600.0 / STEP_S)):
        short_k = min(warm_c, ambient_c + 15.0 * i * STEP_S / 3600.0) - x[AIR]
        summed_k = min(max(summed_k + short_k * STEP_S / 400.0, -20.0), 60.0)
        duty = min(max(30.0 * (short_k + summed_k) / oven.power_w, 0.0), 1.0)
        x = keep @ x + held @ (from_ambient * ambient_c + heat * duty)
    before = seen(x)
    steps, drop_k = max(round(away_s / STEP_S), 1), float(rng.uniform(0.0, 3.0))
    for i in range(steps):
        x = keep @ x + held @ (from_ambient * (ambient_c - drop_k * i / steps))
    after = seen(x)

    def off(value: float) -> float:
        return value * float(np.exp(rng.normal(0.0, 0.15)))

    c = oven.capacities
    model = Model(
        loss_w_per_k=off(oven.loss_w_per_k),
        air_capacity_j_per_k=off(float(c[AIR] + 0.5 * c[2:5].sum())),
        mould_capacity_j_per_k=off(float(c[M1 : M2_CORE + 1].sum())),
        mould_lag_s=off(1100.0),
        heater_lag_s=min(float(c[HEATER] / oven.links[0][2]), 3600.0),
    )

    def fallen(at: tuple[float, float], shed_c: float) -> Fallen:
        air_c, mould_c = (round(16.0 * (t + rng.normal(0.0, 0.1))) / 16.0 for t in at)
        return Fallen(air_c, mould_c if parts else None, shed_c if shed else 8.0, shed)

    told = standstill(
        model, fallen(before, ambient_c), fallen(after, ambient_c - drop_k), duty * oven.power_w
    )
    return steps * STEP_S, told


@pytest.mark.parametrize(
    ("parts", "shed", "within"), [(True, True, 0.97), (False, True, 0.95), (False, False, 0.8)]
)
def test_the_true_time_is_within_the_interval(parts: bool, shed: bool, within: float) -> None:
    """From half a minute to six hours; the fewer thermometers the vaguer."""
    rng = np.random.default_rng(0)
    times_s = np.exp(rng.uniform(np.log(30.0), np.log(6 * 3600.0), OVENS))
    found = [cut_off(seed, float(t), parts, shed) for seed, t in enumerate(times_s)]
    inside = [told.low_s <= true_s <= told.high_s for true_s, told in found]
    assert np.mean(inside) >= within
    ratio = [told.likely_s / true_s for true_s, told in found
             if true_s > 600.0 and math.isfinite(told.high_s)]  # fmt: skip
    assert 0.8 <= float(np.median(ratio)) <= 1.4


def test_three_hours_never_pass_for_a_minute() -> None:
    for seed in range(20):
        _, told = cut_off(seed, 3 * 3600.0)
        assert told.low_s > 1800.0
        _, told = cut_off(seed, 20.0)
        assert told.low_s <= 20.0


def test_an_oven_as_cold_as_its_shed_tells_nothing() -> None:
    model = Model(loss_w_per_k=3.5, air_capacity_j_per_k=5000.0, mould_capacity_j_per_k=25000.0,
                  mould_lag_s=1500.0)  # fmt: skip
    warm, cold = Fallen(38.0, 37.0, 9.0, True), Fallen(9.5, 9.5, 9.0, True)
    assert math.isinf(standstill(model, warm, cold, 0.0).high_s)
    assert math.isinf(standstill(model, cold, cold, 0.0).high_s)
