"""Many ovens and a long log, measured: `pytest tests/bench/test_ovens.py --benchmark-only`.

Nothing here asserts a time but for the one ratio that was asked for, taken in one run.
"""

from __future__ import annotations

import time
from typing import Any

import numpy as np
from scipy.integrate import solve_ivp

from nightcure.oven.ensemble import Ensemble
from nightcure.oven.thermal import HEATER
from nightcure.simulate.scenario import BOX
from nightcure.simulate.virtual import VirtualOven
from nightcure.survey.log import Log
from nightcure.survey.survey import survey
from tests.nights import SETTINGS

MEMBERS, DT_S, NIGHT_S = 1000, 10.0, 43200.0


def test_a_thousand_ovens_through_a_night_and_the_solver_member_by_member(benchmark: Any) -> None:
    """12 h at 10 s, duty changing every step; `solve_ivp` (LSODA, 1e-6) of a few members, step by
    step as the duty is held, in the same run; the same end within 0.01 K."""
    rng = np.random.default_rng(0)
    ovens = [BOX.with_mould_times(x) for x in rng.uniform(0.5, 2.0, MEMBERS)]
    steps = round(NIGHT_S / DT_S)
    duty = rng.uniform(0.0, 1.0, steps)

    def whole() -> Ensemble:
        ensemble = Ensemble(ovens, 9.0)
        for d in duty:
            ensemble.step(DT_S, float(d), 5.0)
        return ensemble

    ended = benchmark.pedantic(whole, rounds=1)
    sample, some = 3, 200
    began_s = time.perf_counter()
    for oven in ovens[:sample]:
        a, b = oven.rates()
        state = np.full(len(a), 9.0)
        for d in duty[:some]:
            drive = b[:, 0] * 5.0 + b[:, 1 + HEATER] * oven.power_w * d
            state = solve_ivp(
                lambda _t, x, a=a, drive=drive: a @ x + drive, (0.0, DT_S), state, "LSODA",
                rtol=1e-6,
            ).y[:, -1]  # fmt: skip
    theirs_s = (time.perf_counter() - began_s) / (sample * some) * steps * MEMBERS
    part = Ensemble(ovens[:sample], 9.0)
    for d in duty[:some]:
        part.step(DT_S, float(d), 5.0)
    assert np.max(np.abs(part.state_c[-1] - state)) < 0.01
    assert ended.state_c.shape == (MEMBERS, 5)
    if benchmark.stats is not None:
        ratio = theirs_s / benchmark.stats["mean"]
        benchmark.extra_info["solve_ivp member by member over ensemble"] = round(ratio)
        assert ratio >= 100.0


def test_a_survey_of_twelve_hours_at_two_seconds(benchmark: Any) -> None:
    """21 600 rows of the scenario's box, heated for four hours."""
    oven = VirtualOven(BOX, SETTINGS.thermometers, lambda _t: 8.0, 1)
    rows = []
    while oven.t_s < NIGHT_S:
        heating = oven.t_s < 14400.0 and oven.state_c[1] < 55.0
        said = oven.sense()
        rows.append((oven.t_s, said[0].value_c, float(heating), said[3].value_c))
        oven.step(2.0, heating)
    t, air, heat, shed = (np.array(c, dtype=np.float64) for c in zip(*rows, strict=True))
    log = Log(t, air, t, heat, None, shed, BOX.power_w)
    found = benchmark.pedantic(survey, (log,), rounds=2)
    assert found.loss_w_per_k is not None
    assert abs(found.loss_w_per_k.value / BOX.loss_w_per_k - 1.0) < 0.03
