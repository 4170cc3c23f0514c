"""Relay feedback on processes whose ultimate gain is known in closed form."""

from __future__ import annotations

import cmath
import math

import numpy as np
import pytest
from nightcure.survey.relay_test import swing

from nightcure.errors import BadInput
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.stress import bang_bang
from nightcure.survey.log import Log
from nightcure.survey.tuning import ultimate_from_relay
from tests.nights import PROFILE, SETTINGS

DT = 0.002


def relayed(
    lags: tuple[float, ...], dead_s: float, on: float, setpoint: float, for_s: float
) -> Log:
    """Unit gain lags in series behind a dead time, stepped exactly, under a 0/`on` relay."""
    keep = [math.exp(-DT / t) for t in lags]
    state, line = [0.0] * len(lags), [0.0] * max(round(dead_s / DT), 1)
    rows: list[tuple[float, float]] = []
    for _ in range(round(for_s / DT)):
        heating = on if state[-1] < setpoint else 0.0
        rows.append((state[-1], heating))
        line.append(heating)
        into = line.pop(0)
        for i, k in enumerate(keep):
            state[i] = k * state[i] + (1 - k) * into
            into = state[i]
    air, heat = np.array(rows).T
    t = np.arange(len(air)) * DT
    return Log(t, air, t, heat / on, None, None, on)


def test_first_order_with_dead_time() -> None:
    """e^-s/(10s+1) under ±1 about the holding value: period 3.8181 s (design check values); both
    fundamentals give |G| at that frequency exactly where the describing function is 18 % off."""
    log = relayed((10.0,), 1.0, 2.0, 1.0, 60.0)
    found = swing(log)
    assert found.period_s == pytest.approx(3.8181, rel=0.01)
    omega = 2 * math.pi / found.period_s
    exact = cmath.exp(-1j * omega) / (10j * omega + 1)
    assert found.gain_k_per_w == pytest.approx(abs(exact), rel=0.01)
    assert found.lag_deg == pytest.approx(-math.degrees(cmath.phase(exact)) % 360, abs=2.0)
    half = float(np.ptp(log.air_c[-6000:])) / 2.0
    assert ultimate_from_relay(1.0, half) == pytest.approx(13.380, rel=0.01)


def test_third_order() -> None:
    """1/(s+1)^3: Ku 8, Pu 3.6276 s exactly; the relay's own frequency is near it."""
    found = swing(relayed((1.0, 1.0, 1.0), 0.0, 2.0, 1.0, 60.0))
    assert found.period_s == pytest.approx(3.6276, rel=0.03)
    assert found.ultimate_w_per_k == pytest.approx(8.0, rel=0.05)
    gains = found.gains()
    assert gains.kc == pytest.approx(8.0 / 3.2, rel=0.05)
    assert gains.ti_s == pytest.approx(2.2 * 3.6276, rel=0.03)
    assert "Tyreus" in gains.rule


def test_a_lopsided_relay_is_no_worse() -> None:
    """Held at a quarter of full power instead of half."""
    found = swing(relayed((1.0, 1.0, 1.0), 0.0, 4.0, 1.0, 60.0))
    omega = 2 * math.pi / found.period_s
    assert found.gain_k_per_w == pytest.approx(abs(1 / (1 + 1j * omega) ** 3), rel=0.03)


def test_a_bang_bang_night_of_the_shipped_oven() -> None:
    """The gain it finds is the box's own at that frequency, by its transfer function."""
    rows: list[tuple[float, float, float]] = []
    rehearse(
        bang_bang(SETTINGS), PROFILE, BOX, ambient_c,
        on_tick=lambda i, d: rows.append((i.mono_s, d.control_c or 0.0, float(d.heater_on)))
        if d.phase == "soak" else None,
    )  # fmt: skip
    t, air, heat = np.array(rows).T
    found = swing(Log(t, air, t, heat, None, None, 300.0))
    a, b = BOX.rates()
    s = 2j * math.pi / found.period_s
    probe = 1 / (15.0 * s + 1)  # the virtual probe's own lag
    exact = np.linalg.solve(s * np.eye(5) - a, b[:, 1])[1] * probe
    assert found.periods >= 3
    assert found.gain_k_per_w == pytest.approx(abs(exact), rel=0.1)


def test_what_is_no_relay_test_is_told() -> None:
    log = relayed((1.0, 1.0, 1.0), 0.0, 2.0, 1.0, 6.0)
    with pytest.raises(BadInput, match="a relay test needs 5"):
        swing(log)
    with pytest.raises(BadInput, match="power is unknown"):
        swing(Log(log.time_s, log.air_c, log.time_s, log.heat))
    still = relayed((1.0, 1.0, 1.0), 0.0, 2.0, 1.0, 60.0)
    with pytest.raises(BadInput, match=r"less than 0\.1 K"):
        swing(Log(still.time_s, still.air_c / 100, still.time_s, still.heat, None, None, 2.0))
