"""A night of the real loop on an oven that is not ours (`tests.foreign_oven`), kept as arrays."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import expm

from nightcure.loop.loop import Loop
from nightcure.profile import Profile, parse_profile
from nightcure.replay.recorded_series import RecordedSeries
from nightcure.replay.whatif import RecordedTick
from nightcure.settings import Settings
from nightcure.tick import Phase, Reading, TickInputs
from tests.foreign_oven import AIR, HEATER, M1, M1_CORE, M2, M2_CORE, Array, ForeignOven
from tests.nights import SETTINGS, start

#: A night short enough for a test: ramp, soak, cool.
PROFILE = parse_profile(
    {
        "name": "Foreign",
        "lag_c": 5.0,
        "band_c": 2.0,
        "segments": [
            {"kind": "ramp", "to_c": 36.0, "rate_c_per_h": 15.0},
            {"kind": "soak", "at_c": 36.0, "hours": 1.0},
            {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 29.0},
        ],
    }
)
TICK_S = 2.0


def settings_for(oven: ForeignOven) -> Settings:
    """An oven.toml by a person who knows the box roughly."""
    data = SETTINGS.model_dump(mode="json")
    data["heater"]["power_w"] = min(oven.power_w, 6000.0)
    data["model"] |= {
        "loss_w_per_k": 1.1 * oven.loss_w_per_k,
        "air_capacity_j_per_k": float(oven.capacities[1:5].sum()),
        "mould_capacity_j_per_k": float(oven.capacities[5:].sum()),
    }
    data["regulator"]["gain_w_per_k"] = 10.0 * oven.loss_w_per_k
    data["limits"] |= {"longest_night_h": 20.0, "longest_heater_on_h": 15.0}
    return Settings.model_validate(data)


@dataclass
class ForeignNight:
    """What happened: the truth, and what was recorded of it."""

    time_s: Array
    air_c: Array
    parts_c: tuple[Array, Array]
    phase: Phase
    ticks: list[RecordedTick]
    series: RecordedSeries


def heavier(oven: ForeignOven, times: float) -> ForeignOven:
    """The same box with other moulds of the same surface."""
    capacities = oven.capacities.copy()
    capacities[[M1, M1_CORE, M2, M2_CORE]] *= times
    return replace(oven, capacities=capacities)


def shed_c(t_s: float, colder_k: float = 0.0) -> float:
    """Of the night, °C."""
    return 10.0 - 4.0 * (1.0 - np.cos(np.pi * min(t_s, 36000.0) / 36000.0)) / 2.0 - colder_k


def foreign_night(
    oven: ForeignOven,
    settings: Settings,
    profile: Profile = PROFILE,
    colder_k: float = 0.0,
    door: tuple[float, float] | None = None,
    seed: int = 3,
    shed_rests_s: float = np.inf,
) -> ForeignNight:
    """Run the loop on the oven; the sensors have noise and a DS18B20's steps.

    From `shed_rests_s` on the shed stays as it is: what comes after a recorded night nobody knows.
    """
    rng = np.random.default_rng(seed)
    f, per_shed, per_heat = stepped(oven)
    opened = replace(oven, to_ambient=oven.to_ambient + 60.0 * (np.arange(9) == AIR))
    f_open, shed_open, heat_open = stepped(opened)
    state = np.full(9, shed_c(0.0, colder_k))
    loop, commands = Loop(settings), (start(profile),)
    ticks: list[RecordedTick] = []
    truth: list[tuple[float, float, float, float, float, float]] = []
    t_s = 0.0
    while t_s < 20.0 * 3600.0:
        m1, m2 = 0.4 * state[M1] + 0.6 * state[M1_CORE], 0.4 * state[M2] + 0.6 * state[M2_CORE]
        true = (state[AIR], m1, m2, shed_c(min(t_s, shed_rests_s), colder_k))
        noise = rng.normal(0.0, 0.03, 4)
        said = tuple(
            Reading(round((c + n) / 0.0625) * 0.0625, t_s) for c, n in zip(true, noise, strict=True)
        )
        d = loop.tick(TickInputs(t_s, 1.7e9 + t_s, said, commands))
        ticks.append(RecordedTick(t_s, 1.7e9 + t_s, said, commands, False, False))
        commands = ()
        truth.append((t_s, *true, float(d.heater_on)))
        if d.phase in (Phase.DONE, Phase.IDLE, Phase.TRIPPED):
            break
        is_open = door is not None and door[0] <= t_s < door[0] + door[1]
        a, b, c = (f_open, shed_open, heat_open) if is_open else (f, per_shed, per_heat)
        state = a @ state + b * true[3] + c * d.heater_on
        t_s += TICK_S
    columns = np.array(truth).T
    read = np.array([[r.value_c for r in tick.readings] for tick in ticks]).T
    parts_c = {"Lid": read[1], "Rim": read[2]}
    power_w = settings.heater.power_w
    series = RecordedSeries(columns[0], read[0], parts_c, read[3], columns[5], power_w)
    return ForeignNight(columns[0], columns[1], (columns[2], columns[3]), d.phase, ticks, series)


def stepped(oven: ForeignOven) -> tuple[Array, Array, Array]:
    """Exact step of a tick: state, shed, full heat; by scipy's matrix exponential."""
    a, from_ambient = oven.matrices()
    heat = np.zeros(9)
    heat[HEATER] = oven.power_w / oven.capacities[HEATER]
    block = np.zeros((11, 11))
    block[:9, :9], block[:9, 9], block[:9, 10] = a, from_ambient, heat
    whole = expm(block * TICK_S)
    return whole[:9, :9], whole[:9, 9], whole[:9, 10]


def replayed(night: ForeignNight) -> Iterator[RecordedTick]:
    """Its ticks."""
    return iter(night.ticks)
