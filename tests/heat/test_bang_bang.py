"""Bang-bang: edges, memory, and the limit cycle that a lump's closed form gives."""

from __future__ import annotations

import json
import math

import pytest

from nightcure.heat.bang_bang import BangBangRegulator
from nightcure.settings import Regulator

SETTINGS = Regulator(kind="bang-bang", hysteresis_c=0.5)


def test_it_switches_at_its_bands_edges_and_remembers_between() -> None:
    b = BangBangRegulator(SETTINGS, 300.0)
    b.start(38.0, 30.0, 0.0)
    said = [b.watts(2.0, 38.0, c) for c in (37.0, 37.6, 38.4, 38.5, 38.4, 37.6, 37.5, 37.6)]
    assert said == [300.0, 300.0, 300.0, 0.0, 0.0, 0.0, 300.0, 300.0]


@pytest.mark.parametrize("output_w", [0.0, 300.0])
def test_it_starts_as_it_finds_the_heater_and_restores(output_w: float) -> None:
    b = BangBangRegulator(SETTINGS, 300.0)
    b.start(38.0, 38.0, output_w)
    again = BangBangRegulator(SETTINGS, 300.0)
    again.start(38.0, 38.0, 300.0 - output_w)
    again.restore(json.loads(json.dumps(b.snapshot())))
    assert b.watts(2.0, 38.0, 38.2) == again.watts(2.0, 38.0, 38.2) == output_w


def test_feed_forward_does_not_move_it() -> None:
    b = BangBangRegulator(SETTINGS, 300.0)
    assert b.watts(2.0, 38.0, 39.0, feed_forward_w=250.0) == 0.0
    assert b.watts(2.0, 38.0, 37.0, feed_forward_w=-250.0, held=True) == 300.0


def test_a_lumps_limit_cycle() -> None:
    """UA 4 W/K, C 20 kJ/K, 300 W, 5 °C outside, 38 ± 0.5 °C. Closed form of a first-order lag:
    on for tau ln((80 - 37.5)/(80 - 38.5)), off for tau ln((38.5 - 5)/(37.5 - 5))."""
    tau_s, dt_s = 20000.0 / 4.0, 0.25
    on_s = tau_s * math.log((80.0 - 37.5) / (80.0 - 38.5))
    off_s = tau_s * math.log((38.5 - 5.0) / (37.5 - 5.0))
    b = BangBangRegulator(SETTINGS, 300.0)
    air_c, keep = 37.5, math.exp(-dt_s / tau_s)
    ons: list[float] = []
    said: list[float] = []
    for i in range(round(5 * (on_s + off_s) / dt_s)):
        watts = b.watts(dt_s, 38.0, air_c)
        if watts > 0 and (not said or said[-1] == 0):
            ons.append(i * dt_s)
        said.append(watts)
        air_c = 5.0 + watts / 4.0 + keep * (air_c - 5.0 - watts / 4.0)
    cycle = said[round(ons[1] / dt_s) : round(ons[3] / dt_s)]
    assert ons[3] - ons[1] == pytest.approx(2 * (on_s + off_s), abs=4 * dt_s)
    assert sum(w > 0 for w in cycle) * dt_s == pytest.approx(2 * on_s, abs=4 * dt_s)
