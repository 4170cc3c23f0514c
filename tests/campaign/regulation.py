"""How well the air is held on ovens by chance, each surveyed first and tuned by what the survey
found; beside it a PI tuned on the true oven to Ms 1.6 (python-control), in the same windows.

Judged on the true air in the probe's place, as a perfect thermometer there would show it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from functools import partial
from typing import Any

import control
import numpy as np

from nightcure.errors import BadInput
from nightcure.oven.thermal import AIR, HEATER
from nightcure.settings import Role, Settings
from nightcure.simulate.virtual import Probe
from nightcure.simulate.zoned import ZonedOven
from nightcure.survey.survey import survey
from nightcure.survey.tuning import tune
from nightcure.tick import Phase
from tests.boxes import heat_and_cool
from tests.campaign.night import Plan, moments
from tests.campaign.ovens import Draw, DrawnOven, drawn_oven
from tests.campaign.plans import drawn_profile, falling
from tests.nights import changed

WINDOW_S, TICK_S, MS = 20.0, 2.0, 1.6
#: What is asked of a soak, K.
OVERSHOOT_K, SOAK_K = 0.5, 0.3


@dataclass
class Held:
    """One night's regulation, K; None where there was no soak."""

    overshoot_k: float
    low_k: float
    high_k: float
    mean_k: float
    """Mean of |error| over ramps and soaks."""
    soak_mean_k: float
    within_share: float
    """Of the soaks' time, with the air within SOAK_K."""
    switchings: int
    done: bool
    trip: str | None

    @property
    def worst_k(self) -> float:
        return max(-self.low_k, self.high_k)


@dataclass
class Row:
    """One oven."""

    index: int
    oven: str
    loss: float
    found_loss: float
    power_w: float
    noise_c: float
    late_s: float
    """The control probe's lag and delay."""
    gains: dict[str, Any]
    ours: Held
    pi_gains: tuple[float, float]
    pi: Held

    def as_json(self) -> dict[str, Any]:
        return asdict(self)


def regulated(seed: int, index: int) -> Row | None:
    """One oven; None where no survey can be made of its log."""
    plan = _plan(seed, index)
    oven = plan.oven
    air = next(i for i, t in enumerate(oven.settings.thermometers) if t.role is Role.AIR)
    probe = oven.probes[air]
    try:
        found = survey(heat_and_cool(oven.plant, plan.seed, 20.0, (probe, Probe(15.0))))
    except BadInput:
        return None
    tuned = tune(found.network(), WINDOW_S)
    settings = changed(
        oven.settings, model={k: float(v) for k, v in found.model().items()},
        regulator=tuned.regulator(),
    )  # fmt: skip
    kc, ti_s = well_tuned_pi(oven, probe)
    pi = changed(
        settings,
        regulator={"gain_w_per_k": kc, "integral_s": ti_s, "derivative_s": 0.0, "filter_s": 0.0,
                   "feed_forward": False},
    )  # fmt: skip
    loss = found.loss_w_per_k
    assert loss is not None
    return Row(
        index, oven.kind, oven.truth.loss_w_per_k, loss.value, oven.truth.power_w, probe.noise_c,
        probe.lag_s + probe.delay_s, tuned.regulator(), held(plan, settings), (kc, ti_s),
        held(plan, pi),
    )  # fmt: skip


def _plan(seed: int, index: int) -> Plan:
    """An oven with its checked thermometers, and a night of some hours."""
    d = Draw(seed, 2_000_000 + index)
    while True:
        oven = drawn_oven(d, changed_since=False, errors=False)
        heater = {"power_w": oven.truth.power_w, "window_s": WINDOW_S, "min_on_s": 2.0,
                  "min_off_s": 2.0}  # fmt: skip
        oven = replace(oven, settings=changed(oven.settings, heater=heater))
        shed = falling(d)
        start_c = shed(0.0) + d.between(0.0, 4.0)
        course_c = [shed(h * 3600.0) for h in range(14)]
        profile = drawn_profile(d, oven, min(course_c), start_c, 6.0, max(course_c))
        if profile is not None:
            return Plan(oven, profile, shed, start_c, int(d.rng.integers(2**31)), 14 * 3600.0)


def held(plan: Plan, settings: Settings) -> Held:
    """The night with these settings."""
    plan = replace(plan, oven=replace(plan.oven, settings=settings))
    found = Held(-math.inf, 0.0, 0.0, 0.0, 0.0, 0.0, 0, False, None)
    errors, soaking, before, before_c = [], [], False, None
    for m in moments(plan):
        d = m.decision
        assert d is not None
        found.trip = d.trip or found.trip
        found.done = found.done or d.phase is Phase.DONE
        found.switchings += m.relay_on is not before
        before = m.relay_on
        if d.setpoint_c is None or d.phase not in (Phase.RAMP, Phase.SOAK):
            continue
        error_k = m.control_c - d.setpoint_c
        errors.append(abs(error_k))
        found.overshoot_k = max(found.overshoot_k, m.control_c - plan.profile.highest_c)
        rests, before_c = d.setpoint_c == before_c, d.setpoint_c
        if d.phase is Phase.SOAK and rests and not d.waiting:  # not on the way to another soak
            soaking.append(abs(error_k))
            found.low_k, found.high_k = min(found.low_k, error_k), max(found.high_k, error_k)
    found.mean_k = float(np.mean(errors)) if errors else math.nan
    found.within_share = float(np.mean(np.array(soaking) <= SOAK_K)) if soaking else 1.0
    found.soak_mean_k = float(np.mean(soaking)) if soaking else math.nan
    return found


def well_tuned_pi(oven: DrawnOven, probe: Probe) -> tuple[float, float]:
    """Gain (W/K) and integral time (s) with the strongest integral that keeps the largest
    sensitivity at Ms: least error after a load step, for its robustness (Åström and Hägglund)."""
    a, b = oven.plant.rates()
    n = len(a)
    c = np.zeros(n)
    node = AIR
    if isinstance(oven.plant, ZonedOven):
        node, view = 1 + oven.plant.probe_zone, oven.plant.air_view
        c[HEATER] = view
        c[node] = 1.0 - view
    else:
        c[node] = 1.0
    w = np.geomspace(1e-5, 0.5, 400)
    air = control.ss(a, b[:, 1 + HEATER : 2 + HEATER], c[None, :], 0.0)
    before_s = probe.delay_s + WINDOW_S / 2.0 + TICK_S / 2.0
    values = air(1j * w) * np.exp(-1j * w * before_s) / (1j * w * probe.lag_s + 1.0)
    plant = control.frd(values, w)
    best = (0.0, 0.0, 0.0)
    for ti_s in np.geomspace(60.0, 20000.0, 60):
        shape = plant * control.frd(1.0 + 1.0 / (1j * w * ti_s), w)
        low, high = 1e-3, 1e5
        for _ in range(40):
            kc = math.sqrt(low * high)
            loop = kc * shape.frdata[0, 0]
            calm = np.max(1.0 / np.abs(1.0 + loop)) <= MS and not _encircles(loop)
            low, high = (kc, high) if calm else (low, kc)
        if low / ti_s > best[0]:
            best = low / ti_s, low, float(ti_s)
    return min(best[1], 5000.0), min(max(best[2], 10.0), 36000.0)


def _encircles(loop: np.ndarray[Any, Any]) -> bool:
    """Whether the loop is beyond -1 where its phase passes -180 degrees."""
    phase = np.unwrap(np.angle(loop))
    down = np.flatnonzero((phase[:-1] > -np.pi) & (phase[1:] <= -np.pi))
    return bool(len(down)) and bool(abs(loop[down[0]]) >= 1.0)


def main(count: int, seed: int, first: int, as_json: bool, pool: ProcessPoolExecutor) -> int:
    """The table; 0 whatever it says, for it is read by people."""
    numbers = range(first, first + count)
    rows = list(pool.map(partial(regulated, seed), numbers, chunksize=2))
    some = [r for r in rows if r is not None]
    if as_json:
        for r in some:
            print(json.dumps(r.as_json()))
        return 0
    print(f"{len(some)} ovens of {count} surveyed")
    for kind in ("A", "B"):
        _tell(f"oven {kind}", [r for r in some if r.oven == kind])
    _tell("all", some)
    for r in sorted(some, key=lambda r: -r.ours.worst_k)[:12]:
        print(f"  --seed {seed} --one {r.index}: {r.oven} {r.power_w:.0f} W, loss {r.loss:.2f} "
              f"found {r.found_loss:.2f}, probe {r.late_s:.0f} s, noise {r.noise_c:.3f} K: "
              f"{_figures(r.ours)} (PI {_figures(r.pi)}) {r.ours.trip or ''}")  # fmt: skip
    return 0


def _figures(h: Held) -> str:
    return f"over {h.overshoot_k:+.2f}, soak {h.low_k:+.2f} {h.high_k:+.2f}, mean {h.mean_k:.3f}"


def _tell(what: str, rows: Sequence[Row]) -> None:
    if not rows:
        return
    for name, of in (("ours", [r.ours for r in rows]), ("PI", [r.pi for r in rows])):
        over, worst = np.array([h.overshoot_k for h in of]), np.array([h.worst_k for h in of])
        mean, soak = [h.mean_k for h in of], [h.soak_mean_k for h in of]
        print(
            f"{what:7} {name:5} {len(of):4}: overshoot <= {OVERSHOOT_K} K in "
            f"{100 * np.mean(over <= OVERSHOOT_K):3.0f} % (median {np.median(over):+.2f}, p95 "
            f"{np.percentile(over, 95):+.2f}); soak within {SOAK_K} K in "
            f"{100 * np.mean(worst <= SOAK_K):3.0f} % (median {np.median(worst):.2f}, p90 "
            f"{np.percentile(worst, 90):.2f}); mean |error| {np.median(mean):.3f}, in the soak "
            f"{np.median(soak):.3f}, there within {SOAK_K} K for "
            f"{100 * np.mean([h.within_share for h in of]):.1f} % of the time; switchings "
            f"{np.median([h.switchings for h in of]):.0f}; done {sum(h.done for h in of)}, "
            f"tripped {sum(h.trip is not None for h in of)}"
        )
    better = np.mean([r.ours.mean_k <= r.pi.mean_k for r in rows])
    print(f"{what:7} mean error no worse than the PI's on {100 * better:.0f} %")
