"""One heat and wait, against a stiff solver of the same network and the cure clock by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.cure.card import load_card
from nightcure.oven.description import load_description
from nightcure.oven.thermal import AIR, HEATER
from nightcure.plan.one_heat import WARM_C, one_heat
from nightcure.simulate.scenario import HERE

NETWORK = load_description(HERE / "box.toml").network()
RESIN = load_card("polyester-laminating").figures(2.0)
SHED_C, TO_C = 5.0, 45.0


def test_the_course_is_the_networks() -> None:
    """scipy's BDF on the same rates; the part's time above 25 °C within a minute."""
    found = one_heat(NETWORK, SHED_C, TO_C, 38.0, None)
    a, b = NETWORK.rates()
    full = np.zeros(len(NETWORK.capacities))
    full[HEATER] = NETWORK.power_w

    def rates(power: float):  # type: ignore[no-untyped-def]
        return lambda _, y: a @ y + b[:, 0] * SHED_C + b[:, 1:] @ (power * full)

    def hot(_: float, y: np.ndarray) -> float:  # type: ignore[type-arg]
        return float(y[AIR] - TO_C)

    hot.terminal = True  # type: ignore[attr-defined]
    cold = np.full(len(full), SHED_C)
    up = solve_ivp(rates(1.0), (0, 6 * 3600), cold, "BDF", events=hot, rtol=1e-8, max_step=30)
    assert found.alone.heated_s == pytest.approx(up.t[-1], abs=30.0)
    down = solve_ivp(rates(0.0), (up.t[-1], 48 * 3600), up.y[:, -1], "BDF", rtol=1e-8, max_step=30)
    times, parts = np.r_[up.t, down.t], np.c_[up.y, down.y][3]
    grid = np.arange(0.0, 48 * 3600, 10.0)
    warm_s = 10.0 * np.sum(np.interp(grid, times, parts) >= WARM_C)
    assert found.alone.warm_s == pytest.approx(warm_s, abs=120.0)
    assert found.alone.energy_kwh == pytest.approx(300.0 * up.t[-1] / 3.6e6, rel=0.02)


def test_a_held_night_cures_where_one_heat_does_not() -> None:
    """Polyester mixed as the box is shut in a shed of 2 °C; below 5 °C its card has no data."""
    found = one_heat(NETWORK, 2.0, 35.0, 38.0, RESIN, before_s=0.0)
    assert {"gelled", "demould", "full"} <= set(found.held.reached_s)
    assert "full" not in found.alone.reached_s
    assert found.held.energy_kwh > 2.0 * found.alone.energy_kwh
    said = " ".join(found.sentences)
    assert "Left alone it gels after" in said
    assert "Held at 38 °C for 12 h it gels after" in said
    assert "may take thrice as long" in said


def test_a_heater_too_weak_is_told() -> None:
    weak = load_description(HERE / "box.toml").model_copy(
        update={"heater": load_description(HERE / "box.toml").heater.model_copy(
            update={"power_w": 60.0})}
    )  # fmt: skip
    said = one_heat(weak.network(), SHED_C, TO_C, 38.0, None).sentences[0]
    assert "60 W do not bring the air to 45 °C in 6 h" in said
    assert "never gets to 25 °C" in said
