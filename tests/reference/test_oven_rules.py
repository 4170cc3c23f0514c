"""U-values, half rule, SIMC and relay feedback against published values.

Sources: ISO 6946 (worked U-value); Skogestad, J. Process Control 13 (2003) 291-309 (table as in the
design's check values: figures from memory, recomputed by an independent script); python-control.
"""

from __future__ import annotations

import cmath
from collections.abc import Callable

import control
import numpy as np
import pytest

from nightcure.oven.description import Description, u_value
from nightcure.oven.thermal import AIR, HEATER, network_from_model
from nightcure.simulate.scenario import BOX
from nightcure.survey.oven_facts import facts
from nightcure.survey.tuning import (
    Gains,
    half_rule,
    ideal,
    margins,
    simc,
    tune,
)

Plant = Callable[[complex], complex]


def test_a_worked_u_value() -> None:
    """.04 + .018/.50 + .102/.77 + .102/.56 + .013/.57 + .13: 1.840 W/(m2 K) (published 1.85)."""
    layers = [0.018 / 0.50, 0.102 / 0.77, 0.102 / 0.56, 0.013 / 0.57]
    assert u_value(layers, 0.13, 0.04) == pytest.approx(1.840, abs=0.0005)
    assert u_value(layers, 0.13, 0.04) == pytest.approx(1.85, rel=0.01)


def test_a_box_of_50_mm_pir() -> None:
    """3.257 m2, 0.022 W/(m K), 0.13 both sides, 35 K: U 0.3948, 45.0 W (design check values)."""
    height = (3.257 / 2.0 - 1.0 * 0.6) / (1.0 + 0.6)
    box = Description.model_validate(
        {
            "inside_m": [1.0, 0.6, height],
            "boards": [{"thickness_m": 0.05, "w_per_m_k": 0.022}],
            "heater": {"power_w": 300.0},
            "fan": False,
        }
    )
    assert box.area_m2 == pytest.approx(3.257)
    assert box.u_w_per_m2_k == pytest.approx(0.3948, abs=5e-5)
    found = facts(box.network(), 5.0, 40.0)
    assert found.hold_w == pytest.approx(45.0, abs=0.05)
    assert found.panel_loss_w_per_k == pytest.approx(box.u_w_per_m2_k * 3.257, rel=1e-9)


# ---- half rule and SIMC --------------------------------------------------------------------------

INVERSE = ([2.0, 1.0, 0.4, 0.2, 0.05, 0.05, 0.05], [-0.3, 0.08], 0.0)


def rational(poles: list[float], zeros: list[float], dead: float) -> Plant:
    def at(s: complex) -> complex:
        value = cmath.exp(-dead * s)
        for z in zeros:
            value *= z * s + 1
        for p in poles:
            value /= p * s + 1
        return value

    return at


#: Poles, zeros, dead time, lags kept; expected theta, tau1, tau2; Kc, tauI, tauD (series); Ms.
TABLE = [
    (([1.0, 0.2], [], 0.0), 1, (0.1, 1.1, 0.0), (5.5, 0.8, 0.0), 1.560),
    (INVERSE, 1, (1.47, 2.5, 0.0), (0.850, 2.5, 0.0), 1.662),
    (INVERSE, 2, (0.77, 2.0, 1.2), (1.299, 2.0, 1.2), 1.724),
    (([1.0] * 4, [], 0.0), 1, (2.5, 1.5, 0.0), (0.30, 1.5, 0.0), 1.463),
    (([1.0, 0.2, 0.04, 0.008], [], 0.0), 1, (0.148, 1.1, 0.0), (3.716, 1.1, 0.0), 1.593),
    (([1.0, 1.0], [], 1.0), 1, (1.5, 1.5, 0.0), (0.5, 1.5, 0.0), 1.614),
    (([20.0, 2.0], [], 1.0), 1, (2.0, 21.0, 0.0), (5.25, 16.0, 0.0), 1.716),
    (([20.0, 2.0], [], 1.0), 2, (1.0, 20.0, 2.0), (10.0, 8.0, 2.0), 1.651),
]


@pytest.mark.parametrize(("plant", "order", "lags", "series", "ms"), TABLE)
def test_the_half_rule_and_simc_table(
    plant: tuple[list[float], list[float], float],
    order: int,
    lags: tuple[float, float, float],
    series: tuple[float, float, float],
    ms: float,
) -> None:
    poles, zeros, dead = plant
    process = half_rule(1.0, poles, zeros, dead, order)
    assert (process.dead_s, process.tau1_s, process.tau2_s) == pytest.approx(lags, abs=1e-6)
    gains = simc(process)
    assert gains[:3] == pytest.approx(ideal(*series)[:3], abs=0.0015)
    assert gains.rule.startswith("SIMC")
    at = rational(poles, zeros, dead)
    found = margins(lambda s: at(s) * gains.at(s), max(poles))
    assert found.ms == pytest.approx(ms, abs=0.005)


@pytest.mark.parametrize(("plant", "order"), [(row[0], row[1]) for row in TABLE if row[0][2] == 0])
def test_margins_are_python_controls(
    plant: tuple[list[float], list[float], float], order: int
) -> None:
    """`stability_margins` of the same loop: gain and phase margin, and 1/Ms, the distance to -1."""
    poles, zeros, _ = plant
    gains = simc(half_rule(1.0, poles, zeros, 0.0, order))
    s = control.tf("s")
    loop = gains.kc * (1 + 1 / (gains.ti_s * s) + gains.td_s * s)
    for z in zeros:
        loop *= z * s + 1
    for p in poles:
        loop /= p * s + 1
    gm, pm, sm, *_ = control.stability_margins(loop)
    at = rational(poles, zeros, 0.0)
    ours = margins(lambda x: at(x) * gains.at(x), max(poles))
    assert ours.gain_margin == pytest.approx(gm, rel=2e-3)
    assert ours.phase_margin_deg == pytest.approx(pm, abs=0.2)
    assert ours.ms == pytest.approx(1.0 / sm, rel=2e-3)


def test_a_dead_times_margins_are_python_controls() -> None:
    """e^-s/((20s+1)(2s+1)) with PID, Padé 10."""
    process = half_rule(1.0, [20.0, 2.0], (), 1.0, 2)
    gains = simc(process)
    s = control.tf("s")
    pade = control.tf(*control.pade(1.0, 10))
    pid = gains.kc * (1 + 1 / (gains.ti_s * s) + gains.td_s * s)
    gm, pm, sm, *_ = control.stability_margins(pade * pid / ((20 * s + 1) * (2 * s + 1)))
    ours = margins(lambda x: process.at(x) * gains.at(x), 20.0)
    assert (ours.gain_margin, ours.ms) == pytest.approx((gm, 1.0 / sm), rel=5e-3)
    assert ours.phase_margin_deg == pytest.approx(pm, abs=0.3)


def test_series_to_ideal() -> None:
    """f = 1 + tauD/tauI; Kc f, tauI f, tauD/f: 10, 8, 2 becomes 12.5, 10, 1.6."""
    assert ideal(10.0, 8.0, 2.0)[:3] == pytest.approx((12.5, 10.0, 1.6))
    s = 0.3j
    series = 10.0 * (1 + 1 / (8.0 * s)) * (1 + 2.0 * s)
    assert Gains(12.5, 10.0, 1.6, "").at(s) == pytest.approx(series)


def test_third_order_ultimate_gain() -> None:
    """1/(s+1)^3: Ku = 8 exactly."""
    found = margins(lambda s: 1 / (s + 1) ** 3, 1.0)
    assert found.gain_margin == pytest.approx(8.0, rel=2e-3)


@pytest.mark.parametrize("late_s", [15.0, 45.0])
def test_tuned_gains_bear_a_probe_that_is_slower_than_surveyed(late_s: float) -> None:
    """The shipped box under the gains tuned for it, its probe so much later than its network says
    (dead time, the worst a lag can be): largest sensitivity by python-control's response."""
    tuned = tune(BOX, 20.0)
    a, b = BOX.rates()
    air = control.ss(a, b[:, 1:2], np.eye(len(a))[1:2], 0.0)
    w = np.geomspace(1e-5, 0.3, 3000)
    s = 1j * w
    g = tuned.gains
    regulator = g.kc * (1.0 + 1.0 / (g.ti_s * s) + g.td_s * s) / (10.0 * s + 1.0)
    loop = air(s) * np.exp(-(11.0 + late_s) * s) * regulator
    assert np.max(1.0 / np.abs(1.0 + loop)) < 1.75
    phase = np.unwrap(np.angle(loop))
    assert abs(loop[np.flatnonzero(phase < -np.pi)[0]]) < 0.5, "half the gain is in reserve"


@pytest.mark.parametrize("lag_s", [200.0, 400.0])
def test_the_integral_is_as_quick_as_the_sensitivity_bears(lag_s: float) -> None:
    """Largest sensitivity by python-control, at the gains that a heat-and-cool test leads to: not
    above 1.6, and above it with the next quicker integral."""
    oven = network_from_model(4.0, 12000.0, 40000.0, 1500.0, lag_s, 300.0)
    tuned = tune(oven)
    a, b = oven.rates()
    c = np.zeros((1, len(a)))
    c[0, AIR] = 1.0
    w = np.geomspace(1e-5, 0.3, 2000)
    air = control.frd(control.ss(a, b[:, 1 + HEATER : 2 + HEATER], c, 0.0)(1j * w), w)
    s, g = 1j * w, tuned.gains
    behind = np.exp(-tuned.dead_s * s) / (tuned.filter_s * s + 1.0)
    loop = air.frdata[0, 0] * behind * g.kc * (1.0 + 1.0 / (g.ti_s * s))
    ms = float(np.max(1.0 / np.abs(1.0 + loop)))
    assert ms == pytest.approx(tuned.margins.ms, rel=0.01)
    assert ms <= 1.601
    firm = tuned.gains._replace(ti_s=0.9 * g.ti_s)
    firmer = air.frdata[0, 0] * behind * firm.kc * (1.0 + 1.0 / (firm.ti_s * s))
    assert float(np.max(1.0 / np.abs(1.0 + firmer))) > 1.6, "it could be quicker"
