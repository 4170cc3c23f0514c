"""Speed, measured: `pytest tests/bench --benchmark-only`. Nothing here asserts a time."""

from __future__ import annotations

import time
from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.loop.loop import Loop
from nightcure.oven.thermal import step
from nightcure.simulate.rehearse import EVENING_S
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Phase, TickInputs
from tests.campaign.__main__ import one
from tests.nights import PROFILE, SETTINGS, night, start

TICK_S = 2.0


def ticking() -> Iterator[Phase]:
    """A night of the shipped scenario, one Loop.tick, sense and VirtualOven.step at a time."""
    loop, oven = Loop(SETTINGS), VirtualOven(BOX, SETTINGS.thermometers, ambient_c)
    commands: tuple[Command, ...] = (start(PROFILE),)
    while True:
        readings = tuple(oven.sense())
        d = loop.tick(TickInputs(oven.t_s, EVENING_S + oven.t_s, readings, commands))
        commands = ()
        oven.step(TICK_S, d.heater_on, d.contactor_on)
        yield d.phase


def test_a_whole_night(benchmark: Any) -> None:
    """The shipped night through loop and virtual oven, scores and series too."""
    figures = benchmark.pedantic(lambda: night(PROFILE)[0].figures, rounds=3)
    assert figures.outcome == "done"
    benchmark.extra_info["times real time"] = round(figures.night_s / benchmark.stats["mean"])


def test_a_night_of_the_campaign(benchmark: Any) -> None:
    """A drawn night with a fault in a zoned oven, and its verdict."""
    judged = benchmark.pedantic(lambda: one("faults", 9, 4), rounds=3)
    assert judged.oven == "B"
    assert judged.wrong == []


def test_a_tick_with_its_oven_step(benchmark: Any) -> None:
    """Loop.tick, the sensors and VirtualOven.step, in the ramp and the soak."""
    ticks = ticking()
    for _ in range(200):
        next(ticks)
    benchmark.pedantic(next, (ticks,), rounds=10000)
    assert next(ticks) in (Phase.RAMP, Phase.SOAK)


def test_a_tick(benchmark: Any) -> None:
    """Loop.tick alone, on the recorded inputs of the shipped night from 4.4 h on."""
    _, ticks = night(PROFILE)
    loop = Loop(SETTINGS)
    for inputs, _ in ticks[:8000]:
        loop.tick(inputs)
    rest = iter(ticks[8000:])
    benchmark.pedantic(lambda: loop.tick(next(rest)[0]), rounds=5000)
    assert loop.phase is not Phase.TRIPPED


def test_an_exact_step_and_the_solver(benchmark: Any) -> None:
    """Matrix step of 2 s; `solve_ivp` (LSODA, 1e-8) of the same in the same run, as a ratio."""
    state, powers_w = np.full(5, 20.0), np.array([300.0, 0, 0, 0, 0])
    benchmark(step, BOX, state, TICK_S, 5.0, powers_w)
    a, b = BOX.rates()
    drive = b @ np.concatenate([[5.0], powers_w])
    took_s = []
    for _ in range(200):
        began_s = time.perf_counter()
        solved = solve_ivp(lambda _t, x: a @ x + drive, (0, TICK_S), state, "LSODA", rtol=1e-8)
        took_s.append(time.perf_counter() - began_s)
    benchmark.extra_info["solve_ivp, µs (median)"] = round(1e6 * float(np.median(took_s)), 1)
    if benchmark.stats is not None:
        ratio = float(np.median(took_s)) / benchmark.stats["median"]
        benchmark.extra_info["solve_ivp over step"] = round(ratio, 1)
    assert step(BOX, state, TICK_S, 5.0, powers_w) == pytest.approx(solved.y[:, -1], abs=1e-5)
