"""What a night waits for, how long, and what it says; a part too warm keeps nothing waiting."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.linalg import expm

from nightcure.daemon.status import live_state
from nightcure.loop.loop import Loop
from nightcure.loop.profile_run import Oven, ProfileRun
from nightcure.profile import NO_NEARER_S, Profile, parse_profile
from nightcure.settings import Settings
from nightcure.tick import Decision, Phase, TickInputs
from tests.foreign_oven import AIR, HEATER, M1, M1_CORE, M2, M2_CORE, ForeignOven, foreign_oven
from tests.nights import SETTINGS, changed, readings, start, still

SOAK_H = 2.0
PROFILE = parse_profile(
    {
        "name": "Soak",
        "segments": [
            {"kind": "ramp", "to_c": 38.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 38.0, "hours": SOAK_H},
        ],
    }
)
NightTicks = list[tuple[TickInputs, Decision, str]]


def radiant(seed: int, share: float) -> tuple[ForeignOven, Settings]:
    """A foreign oven whose heater gives so much of its heat straight to the first mould."""
    oven = foreign_oven(np.random.default_rng(seed))
    links = list(oven.links)
    at = next(i for i, (a, b, _) in enumerate(links) if (a, b) == (HEATER, AIR))
    whole = links[at][2]
    links[at] = (HEATER, AIR, whole * (1.0 - share))
    links.append((HEATER, M1, whole * share))
    c = oven.capacities
    settings = changed(
        SETTINGS,
        heater={"power_w": round(oven.power_w, 1)},
        model={
            "loss_w_per_k": oven.loss_w_per_k,
            "air_capacity_j_per_k": float(c[AIR] + c[2:5].sum() / 2),
            "mould_capacity_j_per_k": float(c[M1 : M2_CORE + 1].sum()),
            "mould_lag_s": 1500.0,
        },
        regulator={"gain_w_per_k": 5.0 * oven.loss_w_per_k},
    )
    return replace(oven, links=tuple(links)), settings


def night_of(
    oven: ForeignOven,
    settings: Settings,
    profile: Profile = PROFILE,
    longest_h: float = 17.0,
    ambient_c: float = 8.0,
) -> NightTicks:
    """The real loop on it, to the night's end: inputs, decision, what comes next in words."""
    a, from_ambient = oven.matrices()
    tick_s = settings.timing.tick_s
    keep = expm(a * tick_s)
    held = np.linalg.solve(a, keep - np.eye(9))
    heat = np.zeros(9)
    heat[HEATER] = oven.power_w / oven.capacities[HEATER]
    x = np.full(9, ambient_c)
    rng = np.random.default_rng(1)
    loop = Loop(settings)
    ticks: NightTicks = []
    on = False
    for i in range(int(longest_h * 3600.0 / tick_s)):
        t_s = i * tick_s
        x = keep @ x + held @ (from_ambient * ambient_c + heat * on)
        true_c = (x[AIR], 0.4 * x[M1] + 0.6 * x[M1_CORE], 0.4 * x[M2] + 0.6 * x[M2_CORE], ambient_c)
        seen = [round((c + rng.normal(0, 0.02)) * 16.0) / 16.0 for c in true_c]
        inputs = TickInputs(
            t_s, 1e9 + t_s, readings(t_s, *seen), (start(profile),) if not i else ()
        )
        d = loop.tick(inputs)
        on = d.heater_on
        ticks.append((inputs, d, str(live_state(settings, loop, inputs, d, 1.0)["next"])))
        if d.phase in (Phase.DONE, Phase.TRIPPED):
            break
    return ticks


def soak_hours(ticks: NightTicks) -> float:
    return sum(2.0 for _, d, _ in ticks if d.phase is Phase.SOAK) / 3600.0


@pytest.mark.parametrize("seed", [1, 8])
def test_a_soak_ends_in_its_hours_though_the_heater_shines_on_a_part(seed: int) -> None:
    """The part stays some kelvin above the air all night, and is told."""
    oven, settings = radiant(seed, 0.35)
    ticks = night_of(oven, settings)
    last = ticks[-1][1]
    assert last.phase is Phase.DONE, last.trip
    warm_k = max(d.believed[1] - d.setpoint_c for _, d, _ in ticks
                 if d.phase is Phase.SOAK and d.believed[1] and d.setpoint_c)  # fmt: skip
    waited_h = sum(2.0 for _, d, _ in ticks if d.phase is Phase.SOAK and d.waiting) / 3600.0
    assert soak_hours(ticks) == pytest.approx(SOAK_H + waited_h, abs=0.01)
    assert waited_h < 1.5
    told = [e.message for _, d, _ in ticks for e in d.events if e.name == "part-warm"]
    assert warm_k > 2.2
    assert told[0].startswith("Lid is +")
    assert "Move it away from the heater, or lower the setpoint." in told[0]


def test_a_wait_says_from_its_first_tick_for_whom_and_how_long_at_most() -> None:
    oven, settings = radiant(4, 0.0)
    ticks = night_of(oven, settings)
    waits = [(d, said) for _, d, said in ticks if d.waiting and d.phase is Phase.SOAK]
    assert waits
    d, said = waits[0]
    parts = {"Lid": d.believed[1], "Rim": d.believed[2]}
    slowest = min(parts, key=lambda n: parts[n] or 0.0)
    assert said.startswith(f"The soak's clock waits for {slowest}, now at ")
    assert "it counts from 36.0 °C; at most " in said
    assert waits[-1][0].waiting


def test_an_oven_that_does_not_get_there_soaks_as_warm_as_it_is() -> None:
    """A heater that holds 35.4 °C in this shed, asked for 38 °C."""
    strong, settings = radiant(4, 0.0)
    oven = replace(strong, power_w=27.4 * strong.loss_w_per_k)
    settings = changed(
        settings, heater={"power_w": oven.power_w}, limits={"longest_heater_on_h": 24.0}
    )
    ticks = night_of(oven, settings)
    last = ticks[-1][1]
    assert last.phase is Phase.DONE, last.trip
    given_up = [e.message for _, d, _ in ticks for e in d.events if e.name == "not-reached"]
    assert given_up[-1].startswith("The soak counts from now on with ")
    assert given_up[-1].endswith("See in the morning how far the part is.")
    waited_h = sum(2.0 for _, d, _ in ticks if d.phase is Phase.SOAK and d.waiting) / 3600.0
    assert soak_hours(ticks) == pytest.approx(SOAK_H + waited_h, abs=0.01)
    assert ticks[-1][0].mono_s < 0.9 * settings.limits.longest_night_h * 3600.0


def advanced(run: ProfileRun, hours: float, oven: Oven) -> str | None:
    """So many hours of ticks in a still oven; why a wait was given up."""
    for _ in range(int(hours * 1800)):
        if run.finished:
            break
        why = run.advance(2.0, oven)
        if why is not None:
            return why
    return None


def test_waits_together_end_before_the_longest_night() -> None:
    """An oven that creeps on all night: three quarters of what is to spare, then it counts."""
    run = ProfileRun(PROFILE, 38.0, 30.0, longest_s=10.0 * 3600.0)
    assert run.wait_left_s == pytest.approx(0.75 * 8.0 * 3600.0)
    why, hours = None, 0.0
    while why is None:
        hours += 0.5
        creeping_c = 30.0 + 0.6 * hours
        why = advanced(run, 0.5, Oven(38.0, creeping_c, 38.0, 8.0))
    assert (why, hours) == ("no-time", pytest.approx(6.0, abs=0.5))
    assert advanced(run, 2.1, Oven(38.0, 33.0, 38.0, 8.0)) is None
    assert run.finished


def test_a_ramp_goes_on_after_an_hour_without_a_rise() -> None:
    run = ProfileRun(PROFILE, 10.0, 30.0)
    assert advanced(run, 1.5, Oven(10.0, 10.0, 10.0, 8.0)) == "no-nearer"
    at_c = run.setpoint_c
    advanced(run, 0.5, Oven(10.0, 10.0, 10.0, 8.0))
    assert run.setpoint_c == pytest.approx(at_c + 10.0, abs=0.1)


def test_a_cool_down_in_a_warm_shed_ends() -> None:
    """No thermometer in the shed, and it is warmer than the cool-down's end."""
    cool = {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0}
    run = ProfileRun(parse_profile({"name": "C", "segments": [cool]}), 38.0, 30.0)
    why = advanced(run, 10.0, Oven(27.0, 27.0, 27.0, 10.0))
    assert (why, run.finished) == ("no-nearer", True)


def test_while_heat_is_paused_nobody_is_given_up() -> None:
    run = ProfileRun(PROFILE, 38.0, 30.0, longest_s=16.0 * 3600.0)
    run.advance(2.0, Oven(38.0, 38.0, 38.0, 8.0))
    assert advanced(run, 3.0, Oven(12.0, 12.0, 20.0, 8.0, paused=True)) is None
    assert run.waiting
    assert advanced(run, 0.9, Oven(20.0, 20.0, 20.0, 8.0)) is None
    assert advanced(run, 0.2, Oven(20.0, 20.0, 20.0, 8.0)) == "no-nearer"


def test_a_night_whose_heat_is_held_off_is_not_told_that_it_comes_no_nearer() -> None:
    """A mark on the disk that is hardly ever there: nothing heats; hours later it still waits."""
    loop = Loop(SETTINGS)
    for k in range(int((NO_NEARER_S + 7200.0) / 2.0)):
        values = (9.0 + 0.0625 * (k % 2),) * 4
        inputs = still(2.0 * k, *([start(PROFILE)] if k == 0 else []), values=values)
        d = loop.tick(inputs._replace(armed=k % 25 == 0))
        assert not d.heater_on
        assert not [e for e in d.events if e.name == "not-reached"]
    assert (d.trip, d.phase, d.waiting) == (None, Phase.RAMP, True)
