"""The PID regulator on processes whose answers are known from elsewhere.

Sources: python-control (its own simulation of the same loop); Skogestad, J. Process Control 13
(2003) 291-309 (gains and Ms as in the design's check values: figures from memory, recomputed by an
independent script); closed forms, named beside each check.
"""

from __future__ import annotations

import cmath
import math
from collections import deque
from collections.abc import Callable

import control
import numpy as np
import pytest
from simple_pid import PID

from nightcure.heat.bang_bang import BangBangRegulator
from nightcure.heat.pid import PidRegulator
from nightcure.settings import Regulator
from tests.nights import SETTINGS

#: Half a range so wide that nothing saturates; the regulator works about its middle.
MIDDLE_W = 1e5


def pid(kc: float, ti: float, td: float = 0.0, tf: float = 0.0, power_w: float = 2 * MIDDLE_W,
        ) -> PidRegulator:  # fmt: skip
    """A regulator with any gains, those of textbook processes too."""
    settings = Regulator.model_construct(
        gain_w_per_k=kc, integral_s=ti, derivative_s=td, filter_s=tf
    )
    return PidRegulator(settings, power_w)


def free(regulator: PidRegulator, dt_s: float, setpoint: float, y: float) -> float:
    """The regulator's answer, of either sign."""
    return regulator.watts(dt_s, setpoint, y, feed_forward_w=MIDDLE_W) - MIDDLE_W


class Delayed:
    """First order with dead time, tau dy/dt = k u(t - theta) - y, stepped exactly."""

    def __init__(self, k: float, tau_s: float, theta_s: float, dt_s: float) -> None:
        self.y = 0.0
        self._keep, self._k = math.exp(-dt_s / tau_s), k
        self._line = deque([0.0] * round(theta_s / dt_s))

    def step(self, u: float) -> float:
        self._line.append(u)
        self.y = self._keep * self.y + (1.0 - self._keep) * self._k * self._line.popleft()
        return self.y


# ---- the whole loop against python-control ------------------------------------------------------

S = control.tf("s")
SHIPPED = SETTINGS.regulator
#: Heater body 230 s, quick capacity over loss 4600/3.9 s: the model of the shipped oven.
OVEN = (1 / 3.9) / ((4600 / 3.9 * S + 1) * (230 * S + 1))


def closed_loop(plant: object, filt: object, rate: object, pi: object) -> control.StateSpace:
    """Setpoint to air: PI on the filtered error, derivative on the filtered measurement."""
    blocks = [
        control.ss(plant, inputs="u", outputs="y"),
        control.ss(filt, inputs="y", outputs="yf"),
        control.ss(rate, inputs="y", outputs="ud"),
        control.ss(pi, inputs="e", outputs="upi"),
        control.summing_junction(["r", "-yf"], "e"),
        control.summing_junction(["upi", "-ud"], "u"),
    ]
    return control.interconnect(blocks, inputs="r", outputs="y")


def ours_on_the_oven(dt_s: float, for_s: float) -> np.ndarray:
    """Step response (1 K) of our regulator with the shipped gains, at 0, dt, 2 dt ..."""
    held = control.ss(control.sample_system(control.ss(OVEN), dt_s, "zoh"))
    x, ys = np.zeros((2, 1)), []
    regulator = pid(SHIPPED.gain_w_per_k, SHIPPED.integral_s, SHIPPED.derivative_s,
                    SHIPPED.filter_s)  # fmt: skip
    regulator.start(0.0, 0.0, 0.0)
    for _ in range(round(for_s / dt_s) + 1):
        ys.append(float((held.C @ x).item()))
        x = held.A @ x + held.B * free(regulator, dt_s, 1.0, ys[-1])
    return np.array(ys)


@pytest.mark.parametrize(("dt_s", "continuous_k"), [(2.0, 0.008), (0.5, 0.002)])
def test_the_closed_loop_is_python_controls(dt_s: float, continuous_k: float) -> None:
    """Shipped gains, filter on. To the numerics of the sampled loop (1e-8 K of a 1 K step), and to
    the continuous loop within what sampling at dt costs, 0.4 % of the step per second of dt."""
    kc, ti = SHIPPED.gain_w_per_k, SHIPPED.integral_s
    td, tf = SHIPPED.derivative_s, SHIPPED.filter_s
    assert min(ti, td, tf) > 0
    times = np.arange(0.0, 4000.0 + dt_s / 2, dt_s)
    ours = ours_on_the_oven(dt_s, 4000.0)

    z = control.tf([1, 0], [1], dt_s)
    a = dt_s / (tf + dt_s)
    filt = a * z / (z - (1 - a))
    sampled = closed_loop(
        control.sample_system(OVEN, dt_s, "zoh"),
        filt,
        filt * kc * td / dt_s * (z - 1) / z,
        kc * (1 + dt_s / ti * z / (z - 1)),
    )
    _, expected = control.step_response(sampled, times)
    assert np.max(np.abs(ours - expected)) < 1e-8

    smooth = closed_loop(
        OVEN, 1 / (tf * S + 1), kc * td * S / (tf * S + 1), kc * (ti * S + 1) / (ti * S)
    )
    _, expected = control.step_response(smooth, times)
    assert np.max(np.abs(ours - expected)) < continuous_k
    assert ours[-1] == pytest.approx(1.0, abs=0.005)


# ---- frequency response: the published robustness ----------------------------------------------


def response(regulator: PidRegulator, omega: float, dt_s: float) -> complex:
    """C(j omega) of the running regulator: a sine as measurement, least squares on its answer."""
    t = np.arange(0.0, 4 * math.pi / omega, dt_s)
    u = np.array([-free(regulator, dt_s, 0.0, math.sin(omega * x)) for x in t])
    basis = np.stack([np.sin(omega * t), np.cos(omega * t), np.ones_like(t)], axis=1)
    in_phase, quadrature, _ = np.linalg.lstsq(basis[2:], u[2:], rcond=None)[0]
    return complex(in_phase, quadrature)


def fourth(s: complex) -> complex:
    return (-0.3 * s + 1) * (0.08 * s + 1) / (
        (2 * s + 1) * (s + 1) * (0.4 * s + 1) * (0.2 * s + 1) * (0.05 * s + 1) ** 3
    )  # fmt: skip


def seventh(s: complex) -> complex:
    return cmath.exp(-s) / ((20 * s + 1) * (2 * s + 1))


ROWS: list[tuple[str, Callable[[complex], complex], float, float, float, float]] = [
    ("1/((s+1)(0.2s+1))", lambda s: 1 / ((s + 1) * (0.2 * s + 1)), 5.5, 0.8, 0.0, 1.560),
    ("inverse response, PI", fourth, 0.850, 2.5, 0.0, 1.662),
    ("inverse response, PID", fourth, 1.299, 2.0, 1.2, 1.724),
    ("1/(s+1)^4", lambda s: 1 / (s + 1) ** 4, 0.30, 1.5, 0.0, 1.463),
    ("e^-s/(s+1)^2", lambda s: cmath.exp(-s) / (s + 1) ** 2, 0.5, 1.5, 0.0, 1.614),
    ("e^-s/((20s+1)(2s+1)) PI", seventh, 5.25, 16.0, 0.0, 1.716),
    ("e^-s/((20s+1)(2s+1)) PID", seventh, 10.0, 8.0, 2.0, 1.651),
]


@pytest.mark.parametrize(("plant", "kc", "ti", "td", "ms"), [r[1:] for r in ROWS],
                         ids=[r[0] for r in ROWS])  # fmt: skip
def test_published_gains_give_the_published_robustness(
    plant: Callable[[complex], complex], kc: float, ti: float, td: float, ms: float
) -> None:
    """Ms = max 1/|1 + L| with our regulator's own response (dt 0.01 s); series gains are made ideal
    by f = 1 + tauD/tauI (Skogestad 2003). Published value ± 0.01."""
    f = 1.0 + td / ti
    peak = 0.0
    for omega in np.geomspace(0.05, 12.0, 60):
        c = response(pid(kc * f, ti * f, td / f), float(omega), 0.01)
        peak = max(peak, 1.0 / abs(1.0 + c * plant(1j * omega)))
    assert peak == pytest.approx(ms, abs=0.01)


def swing(gain: float) -> tuple[float, float]:
    """Late over early amplitude and period (s) under a proportional gain on 1/(s+1)^3."""
    dt_s = 0.005
    held = control.sample_system(control.ss(1 / (S + 1) ** 3), dt_s, "zoh")
    regulator, x, ys = pid(gain, 1e12), np.array([[1.0], [0.0], [0.0]]), []
    for _ in range(12000):
        ys.append(float((held.C @ x).item()))
        x = held.A @ x + held.B * free(regulator, dt_s, 0.0, ys[-1])
    y = np.array(ys)
    rises = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
    period_s = float(np.mean(np.diff(rises))) * dt_s
    return float(np.max(np.abs(y[-1500:])) / np.max(np.abs(y[3000:4500]))), period_s


def test_the_ultimate_gain_and_period_of_three_equal_lags() -> None:
    """1/(s+1)^3: Ku = 8, Pu = 2 pi / sqrt 3 = 3.6276 s, exactly."""
    growth, period_s = swing(8.0)
    assert growth == pytest.approx(1.0, abs=0.15)
    assert period_s == pytest.approx(3.6276, rel=0.005)
    assert swing(7.5)[0] < 0.6
    assert swing(8.5)[0] > 1.6


def test_a_relay_on_a_delayed_lag() -> None:
    """Relay ±1 on k 1, tau 10, theta 1: amplitude 0.09516 = 1 - e^-0.1, period 3.8181 = 2 (theta +
    tau ln(2 - e^-0.1)) s (closed form; design check values). The relay is our bang-bang."""
    dt_s = 0.002
    regulator = BangBangRegulator(Regulator.model_construct(hysteresis_c=0.0), 2.0)
    process = Delayed(1.0, 10.0, 1.0, dt_s)
    ys = [process.step(regulator.watts(dt_s, 0.0, process.y) - 1.0) for _ in range(25000)]
    y = np.array(ys[10000:])
    rises = np.flatnonzero((y[:-1] < 0) & (y[1:] >= 0))
    assert np.max(np.abs(y)) == pytest.approx(0.09516, abs=0.0005)
    assert np.mean(np.diff(rises)) * dt_s == pytest.approx(3.8181, rel=0.005)


# ---- what any regulator can and cannot do ------------------------------------------------------


def after_a_load_step(kc: float, ti: float, d: float, dt_s: float = 0.5) -> np.ndarray:
    """Error after a load step `d` at the input; k 1, tau 200 s, theta 20 s, 6000 s."""
    regulator, process = pid(kc, ti), Delayed(1.0, 200.0, 20.0, dt_s)
    errors = [0.0]
    for _ in range(round(6000 / dt_s)):
        u = free(regulator, dt_s, 0.0, process.y)
        errors.append(-process.step(u + d))
    return np.array(errors)


GAINS = [(5.0, 160.0), (2.5, 160.0), (8.0, 80.0), (5.0, 400.0)]


@pytest.mark.parametrize(("kc", "ti"), GAINS)
def test_the_integrated_error_after_a_load_step(kc: float, ti: float) -> None:
    """For any stable PI, -integral of e = d tauI / Kc (Skogestad 2003)."""
    assert -np.sum(after_a_load_step(kc, ti, 0.3)) * 0.5 == pytest.approx(0.3 * ti / kc, rel=1e-3)


@pytest.mark.parametrize(("kc", "ti"), GAINS)
def test_no_regulator_beats_the_dead_time_and_ours_comes_near(kc: float, ti: float) -> None:
    """Peak >= k d (1 - e^(-theta/tau)), IAE >= k d (theta - tau (1 - e^(-theta/tau))) (design check
    values; after the load is first felt nothing can act for theta). SIMC gains stay within 1.85
    times the least peak."""
    d, tau, theta, dt_s = 0.3, 200.0, 20.0, 0.5
    errors = np.abs(after_a_load_step(kc, ti, d, dt_s))
    least_peak = d * (1 - math.exp(-theta / tau))
    least_iae = d * (theta - tau * (1 - math.exp(-theta / tau)))
    assert np.max(errors) >= least_peak
    assert np.sum(errors) * dt_s >= least_iae
    # Felt at theta, answered at 2 theta: until then the course is the bound's own for all gains.
    assert errors[round(2 * theta / dt_s)] == pytest.approx(least_peak, rel=1e-6)
    if (kc, ti) == GAINS[0]:
        assert np.max(errors) <= 1.85 * least_peak


@pytest.mark.parametrize(("kc", "ti", "k"), [(5.0, 160.0, 1.0), (2.5, 100.0, 1.0), (3.0, 200, 2.0)])
def test_ramp_lag_without_feed_forward(kc: float, ti: float, k: float) -> None:
    """On a ramp of slope s a PI lags by s tauI / (k Kc) (design check values)."""
    dt_s, slope = 0.5, 0.01
    regulator, process = pid(kc, ti), Delayed(k, 200.0, 20.0, dt_s)
    for i in range(16000):
        lag = slope * i * dt_s - process.y
        process.step(free(regulator, dt_s, slope * i * dt_s, process.y))
    assert lag == pytest.approx(slope * ti / (k * kc), rel=1e-3)


def test_an_oven_step_does_not_overshoot_where_a_naive_one_does() -> None:
    """k 200 K/duty, tau 3000 s, theta 60 s, SIMC PI, 20 -> 80 °C (design check values, computed):
    plain simple-pid with its clamp overshoots 5.4 K; frozen while saturated 0.0 ± 0.2 K."""
    k, tau_s, theta_s, dt_s = 200.0, 3000.0, 60.0, 1.0
    kc, ti = tau_s / (k * 2 * theta_s), min(tau_s, 8 * theta_s)

    naive = PID(kc, kc / ti, 0.0, setpoint=80.0, sample_time=None, output_limits=(0, 1))
    process = Delayed(k, tau_s, theta_s, dt_s)
    naive_peak = max(
        20.0 + process.step(naive(20.0 + process.y, dt=dt_s) or 0.0) for _ in range(9000)
    )
    assert naive_peak - 80.0 == pytest.approx(5.4, abs=0.2)

    ours = pid(kc, ti, power_w=1.0)
    process = Delayed(k, tau_s, theta_s, dt_s)
    course = [20.0 + process.step(ours.watts(dt_s, 80.0, 20.0 + process.y)) for _ in range(9000)]
    assert max(course) - 80.0 == pytest.approx(0.0, abs=0.2)
    assert course[-1] == pytest.approx(80.0, abs=0.1)
