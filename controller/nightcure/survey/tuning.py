"""Tuning: from an oven's network to the regulator's gains, by rules with names.

Half rule and SIMC: Skogestad, J. Process Control 13 (2003) 291-309 (rules from memory, checked
against the recomputed table in the tests). Gains are in W/K, as `settings.Regulator` wants them.
"""

from __future__ import annotations

import cmath
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from ..oven.response import modes
from ..oven.thermal import AIR, HEATER, Network
from ..settings import PROBE_LAG_S
from .window import CALM_RIPPLE_K, longest_window_s, ripple_k

#: Where a loop is looked at, in units of its slowest rate.
FREQUENCIES = np.geomspace(0.01, 1e5, 20000)
#: Sensitivity the gains are slackened to; 1.59 is SIMC's own for pure dead time.
CALM_MS = 1.6
#: The integral's time may be cut to this share of SIMC's, as far as CALM_MS bears: feed-forward
#: follows the setpoint, so that steps of it need no care (Åström and Hägglund, Advanced PID
#: Control, 2006: the strongest integral for a given sensitivity; from memory).
QUICKEST_TI = 0.4
#: One step of the thermometer (0.0625 K) moves the heater by no more of its power.
QUANTUM_SHARE = 0.05


class Process(NamedTuple):
    """`gain e^(-dead s) / ((tau1 s + 1)(tau2 s + 1))`: K/W (or any), s."""

    gain: float
    tau1_s: float
    tau2_s: float
    dead_s: float

    def at(self, s: complex) -> complex:
        """The transfer function's value."""
        lags = (self.tau1_s * s + 1.0) * (self.tau2_s * s + 1.0)
        return self.gain * cmath.exp(-self.dead_s * s) / lags


class Gains(NamedTuple):
    """Ideal (parallel) PID: `kc (1 + 1/(ti s) + td s)`. W/K, s, s; and the rule that made them."""

    kc: float
    ti_s: float
    td_s: float
    rule: str

    def at(self, s: complex, filter_s: float = 0.0) -> complex:
        """The regulator's transfer function, its measurement filter included."""
        return self.kc * (1.0 + 1.0 / (self.ti_s * s) + self.td_s * s) / (filter_s * s + 1.0)


class Margins(NamedTuple):
    """How far a loop is from swinging."""

    ms: float
    """Largest sensitivity; below 1.7 is calm."""
    gain_margin: float
    """The gain may be so many times higher; infinity if the phase never turns."""
    phase_margin_deg: float


def half_rule(
    gain: float,
    poles_s: Sequence[float],
    zeros_s: Sequence[float] = (),
    dead_s: float = 0.0,
    order: int = 1,
) -> Process:
    """Fewer lags: half the first neglected one goes to the last kept, half to the dead time.

    Args:
        gain: steady gain.
        poles_s: time constants of the lags, s.
        zeros_s: numerator time constants, s; negative ones (inverse response) become dead time.
        dead_s: pure dead time, s.
        order: lags to keep, 1 or 2.
    """
    positive = sorted((z for z in zeros_s if z > 0), reverse=True)
    inverse_s = -sum(z for z in zeros_s if z < 0)
    guess_s = dead_s + inverse_s
    for _ in range(20):
        k, lags = _cancelled(gain, list(poles_s), positive, guess_s)
        lags.sort(reverse=True)
        lags += [0.0] * (order + 1 - len(lags))
        kept, first, rest = lags[:order], lags[order], lags[order + 1 :]
        kept[-1] += first / 2.0
        theta_s = dead_s + inverse_s + first / 2.0 + sum(rest)
        if abs(theta_s - guess_s) <= 1e-9 * max(theta_s, 1e-9):
            break
        guess_s = theta_s
    tau2_s = kept[1] if order == 2 else 0.0
    return Process(k, kept[0], tau2_s, theta_s)


def _cancelled(
    gain: float, poles: list[float], zeros: list[float], theta: float
) -> tuple[float, list[float]]:
    """Positive zeros taken out one by one, each against a neighbouring lag (rules T1-T3)."""
    k, lags = gain, list(poles)
    for zero in zeros:
        larger = [t for t in lags if t >= zero]
        smaller = [t for t in lags if t < zero]
        if not larger and not smaller:
            continue
        near = min(larger) if larger else max(smaller)
        if larger and smaller and zero / max(smaller) < min(larger) / zero and zero > theta:
            near = max(smaller)
        lags.remove(near)
        if near >= zero:
            if zero >= 5.0 * theta:  # T2
                k *= zero / near
            else:  # T3
                held = min(near, 5.0 * theta) if theta > 0 else near
                if held > zero:
                    k *= held / near
                    lags.append(held - zero)
                else:
                    k *= zero / near
        elif near >= theta:  # T1
            k *= zero / near
        elif zero >= theta:  # T1a
            k *= zero / theta
    return k, lags


def reduced(
    network: Network, order: int = 1, dead_s: float = 0.0, filter_s: float = 0.0
) -> Process:
    """The oven from heater watts to air, reduced; `dead_s` and `filter_s` of what stands before."""
    a, _ = network.rates()
    inner = np.delete(np.delete(a, (HEATER, AIR), 0), (HEATER, AIR), 1)
    zeros = [float(-1.0 / z.real) for z in np.linalg.eigvals(inner) if z.real < 0]
    poles = [float(1.0 / p) for p in modes(network).rates_per_s]
    poles += [filter_s] if filter_s > 0 else []
    return half_rule(1.0 / network.loss_w_per_k, poles, zeros, dead_s, order)


def simc(process: Process, tau_c_s: float | None = None) -> Gains:
    """SIMC settings: PI for one lag, PID for two; `tau_c_s` is the dead time if left out."""
    tau_c_s = process.dead_s if tau_c_s is None else tau_c_s
    wait_s = tau_c_s + process.dead_s
    kc = process.tau1_s / (process.gain * wait_s)
    ti_s = min(process.tau1_s, 4.0 * wait_s)
    return ideal(kc, ti_s, process.tau2_s, f"SIMC, tau_c {tau_c_s:.0f} s")


def ideal(kc: float, ti_s: float, td_s: float, rule: str = "") -> Gains:
    """Series PID to ideal form."""
    f = 1.0 + td_s / ti_s
    return Gains(kc * f, ti_s * f, td_s / f, rule)


def margins(loop: Callable[[complex], complex], slow_s: float) -> Margins:
    """Margins of an open loop L(s), its frequencies looked at from 0.01/slow_s to 1e5/slow_s."""
    return _margins_of(np.array([loop(1j * w) for w in FREQUENCIES / slow_s]))


def _margins_of(values: NDArray[np.complex128]) -> Margins:
    """Margins from the open loop at rising frequencies, close together."""
    ms = float(np.max(1.0 / np.abs(1.0 + values)))
    phase = np.unwrap(np.angle(values))
    # From the integrator's -90 degrees on: whole turns do not count.
    phase -= 2.0 * np.pi * np.round((phase[0] + np.pi / 2.0) / (2.0 * np.pi))
    size = np.log(np.abs(values))
    gain_margin, phase_margin = math.inf, math.inf
    down = np.flatnonzero((phase[:-1] > -np.pi) & (phase[1:] <= -np.pi))
    if len(down):
        gain_margin = float(np.exp(-size[down[0]]))
    cross = np.flatnonzero((size[:-1] > 0) & (size[1:] <= 0))
    if len(cross):
        phase_margin = float(np.degrees(np.pi + np.min(phase[cross])))
    return Margins(ms, gain_margin, phase_margin)


class Steps(NamedTuple):
    """How a loop answers steps, in the linear model: nothing saturated, no feed-forward."""

    overshoot: float
    """Of a small setpoint step, as a share of it."""
    load_peak_k: float
    """Peak deviation after a tenth of the heater's power is lost."""
    recovery_s: float
    """Until that deviation has fallen to a tenth of its peak."""


@dataclass(frozen=True)
class Tuned:
    """Gains for an oven, the loop they make, and the rule behind each number."""

    network: Network
    gains: Gains
    process: Process
    margins: Margins
    filter_s: float
    dead_s: float
    """Pure dead time before the heater, with what is allowed for the probe."""
    ripple_k: float
    """Half of the air's swing by the switching itself, at half duty."""
    longest_window_s: float
    """A contactor may be given so long a window; see `window.CALM_RIPPLE_K`."""
    rules: tuple[str, ...]

    @cached_property
    def steps(self) -> Steps:
        """How the loop answers a setpoint step and a loss of power."""
        return _steps(self.network, self.gains, self.filter_s, self.dead_s)

    def as_json(self) -> dict[str, object]:
        """What `--json` prints."""
        return {
            **self.regulator(),
            "ms": round(self.margins.ms, 3),
            "gain_margin": _finite(self.margins.gain_margin),
            "phase_margin_deg": _finite(self.margins.phase_margin_deg),
            "overshoot_share": round(self.steps.overshoot, 3),
            "recovery_s": self.steps.recovery_s,
            "load_peak_k": round(self.steps.load_peak_k, 3),
            "ripple_k": round(self.ripple_k, 4),
            "longest_window_s": self.longest_window_s,
            "rules": list(self.rules),
        }

    def regulator(self) -> dict[str, float | str | bool]:
        """The [regulator] section, within what settings.Regulator takes."""
        g = self.gains
        return {
            "kind": "pid",
            "gain_w_per_k": float(f"{min(max(g.kc, 0.01), 5000.0):.3g}"),
            "integral_s": float(f"{min(max(g.ti_s, 10.0), 36000.0):.3g}"),
            "derivative_s": float(f"{min(g.td_s, 3600.0):.3g}"),
            "filter_s": self.filter_s,
            "feed_forward": True,
        }


def _finite(value: float) -> float | None:
    return round(value, 2) if math.isfinite(value) else None


def tune(
    network: Network, window_s: float = 20.0, tick_s: float = 2.0, filter_s: float = 10.0
) -> Tuned:
    """Gains for an oven whose heater is switched once a window.

    Proportional and integral only: what a derivative could win on an oven as slow as its air it
    loses again by chasing the thermometer's noise and steps.

    Args:
        network: the oven as surveyed.
        window_s: of the time-proportioning; half of it is dead time, as is half a tick.
        filter_s: of the measurement.
    """
    before_s = window_s / 2.0 + tick_s / 2.0
    dead_s = before_s + PROBE_LAG_S
    process = reduced(network, 1, dead_s, filter_s)
    tau_c_s = process.dead_s
    # No firmer than one quantum of the thermometer moving the heater by so much of its power.
    firmest = QUANTUM_SHARE * network.power_w / 0.0625
    tau_c_s = max(tau_c_s, process.tau1_s / (process.gain * firmest) - process.dead_s)
    m = modes(network)

    s = 1j * FREQUENCIES * float(m.rates_per_s[0])
    oven = np.sum(m.to_nodes[AIR] * m.per_w / (s[:, None] + m.rates_per_s), axis=1)
    oven *= np.exp(-dead_s * s)

    def margins_of(gains: Gains) -> Margins:
        pid = gains.kc * (1.0 + 1.0 / (gains.ti_s * s) + gains.td_s * s) / (filter_s * s + 1.0)
        return _margins_of(oven * pid)

    gains = simc(process, tau_c_s)
    found = margins_of(gains)
    while found.ms > CALM_MS:
        tau_c_s *= 1.25
        gains = simc(process, tau_c_s)
        found = margins_of(gains)
    slowest_s = gains.ti_s
    while gains.ti_s > QUICKEST_TI * slowest_s:
        quicker = gains._replace(ti_s=0.9 * gains.ti_s)
        margins = margins_of(quicker)
        if margins.ms > CALM_MS:
            break
        gains, found = quicker, margins

    ripple, longest_s = ripple_k(network, window_s), longest_window_s(network)
    rules = (
        f"half rule to one lag of {process.tau1_s:.0f} s and a dead time of "
        f"{process.dead_s:.0f} s, of it {before_s:.0f} s by the window of {window_s:g} s and tick, "
        f"and {PROBE_LAG_S:g} s allowed for the probe",
        f"gain: {gains.rule}; integral: its {slowest_s:.0f} s shortened as far as a sensitivity of "
        f"{CALM_MS:g} bears; no derivative, which would chase the sensor's noise",
        "feed-forward: loss, quick and mould capacity, heater lag of [model]",
        f"window: with {window_s:g} s the air ripples by ±{ripple:.2g} K; a contactor may have "
        f"{longest_s:g} s (±{CALM_RIPPLE_K:g} K), a solid-state relay any shorter one",
    )
    return Tuned(
        network, gains, process, found, filter_s, dead_s, ripple, longest_s, rules,
    )  # fmt: skip


def _steps(network: Network, gains: Gains, filter_s: float, dead_s: float) -> Steps:
    from ..oven.thermal import step_matrices

    dt_s = 5.0
    f, h = step_matrices(network, dt_s)
    results = []
    for setpoint, load_w in ((1.0, 0.0), (0.0, -0.1 * network.power_w)):
        state = np.zeros(len(f))
        line = [0.0] * max(round(dead_s / dt_s), 1)
        filtered, integral, trace = 0.0, 0.0, []
        for _ in range(4000):
            before = filtered
            filtered += (state[AIR] - filtered) * dt_s / (filter_s + dt_s)
            integral += (setpoint - filtered) * dt_s / gains.ti_s
            slope = (filtered - before) / dt_s
            line.append(gains.kc * (setpoint - filtered + integral - gains.td_s * slope))
            state = f @ state + h[:, 1 + HEATER] * (line.pop(0) + load_w)
            trace.append(float(state[AIR]))
        results.append(np.array(trace))
    load = np.abs(results[1])
    peak = int(np.argmax(load))
    calm = np.flatnonzero(load[peak:] > 0.1 * load[peak])
    return Steps(
        max(float(results[0].max()) - 1.0, 0.0),
        float(load[peak]),
        float((peak + calm[-1] + 1) * dt_s),
    )
