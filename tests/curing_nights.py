"""Hidden nights of a curing laminate, by another program than the one that is judged by them.

An oven in zones with layered walls and moulds (`nightcure.simulate.zoned`) heats a laminate of
three layers on a mould of three; the resin in each layer follows a law of its own: a share of the
gel time while it is liquid, then da/dt = k a^m (1 - a)^n. The card knows none of m, n, the degree
at the gel and at the demould, nor by how much its maker differs from it.

Ranges are judgement (common practice, no source), but where a line says otherwise.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import NamedTuple

import numpy as np

from nightcure.cure.card import load_card
from nightcure.cure.clock_figures import ClockFigures
from nightcure.cure.rate import KELVIN, R_J_PER_MOL_K, TimeTable
from nightcure.oven.thermal import Layer
from nightcure.simulate.body import Held
from nightcure.simulate.zoned import LayeredMould, ZonedBody, ZonedOven

STEP_S, NIGHT_S = 10.0, 14 * 3600.0
#: The part stays in the box for so long after its demould.
STAYS_S = 2 * 3600.0
#: Hand lay-up of glass mat: density, heat capacity, conductivity, resin by weight (from memory).
LAMINATE, RESIN_SHARE = (1470.0, 1400.0, 0.22), 0.70
MOULD = (1500.0, 1300.0, 0.22)
#: One standard deviation of the logarithm of both factors: threefold between makers in all.
FACTOR_SD, FACTOR_RHO = 0.28, 0.5
CARDS = (("polyester-laminating", 1.0), ("polyester-laminating", 2.0),
         ("polyester-laminating", 3.0), ("vinyl-ester", 1.5))  # fmt: skip


@dataclass(frozen=True)
class HiddenResin:
    """What cures in truth."""

    figures: ClockFigures
    gel_times: float
    cure_times: float
    gel_degree: float
    demould_degree: float
    m: float
    n: float
    cure_kj_per_mol: float
    gel_tilt_per_k: float
    heat_j_per_kg: float

    @property
    def k_per_min(self) -> float:
        """Such that the demould's degree comes at the card's row times `cure_times`."""
        assert self.figures.demould_min is not None
        a = np.linspace(self.gel_degree, self.demould_degree, 4001)
        whole = np.trapezoid(1.0 / (a**self.m * (1.0 - a) ** self.n), a)
        return float(whole) / (self.cure_times * self.figures.demould_min[1])


@dataclass(frozen=True)
class Told:
    """What the controller is told of the part, as a person measures it."""

    figures: ClockFigures
    resin_kg: float
    thickness_mm: float
    mould_j_per_k: float
    power_w: float


@dataclass
class HiddenNight:
    """What the thermometers said, a mean a minute, and what was true."""

    told: Told
    resin: HiddenResin
    part_c: list[float] = field(default_factory=list)
    air_c: list[float] = field(default_factory=list)
    duty: list[float] = field(default_factory=list)
    gel_min: float = math.nan
    demould_min: float = math.nan
    own_heat_k: float = 0.0
    """The most by which its heat could warm mould and laminate, K."""


class Probes(NamedTuple):
    """How the thermometers of air and mould show: a share of the air in the mould's, noise, K, and
    what each shows too much, K."""

    view: float
    noise_k: float
    offset_air_k: float
    offset_part_k: float


class Course(NamedTuple):
    """A ramp from the start on to a soak, °C; the shed at first, and by how much it falls."""

    top_c: float
    shed_c: float
    falls_k: float


def hidden_night(seed: int, heatless: bool = False, minutes: float = NIGHT_S / 60) -> HiddenNight:
    """A night by chance; the same seed gives the same one. `heatless`: its resin gives no heat."""
    rng = np.random.default_rng([81, seed])
    night, oven = _drawn(rng, heatless)
    _run(night, oven, rng, minutes)
    return night


def night_before(seed: int, wet: bool) -> HiddenNight:
    """An earlier night of the oven, mould and thermometers of `hidden_night(seed)`: another shed,
    another setpoint, perhaps a door.

    `wet`: another batch of the resin cures in it; else its part was cured before, and is kept warm.
    """
    rng = np.random.default_rng([81, seed])
    night, oven = _drawn(rng, False)
    shows = _run(night, oven, rng, 1.0)
    own = np.random.default_rng([83, seed])
    other, _ = _drawn(np.random.default_rng([84, seed]), False)
    told, resin = night.told, other.resin
    resin = replace(resin, figures=told.figures, heat_j_per_kg=resin.heat_j_per_kg if wet else 0.0)
    before = HiddenNight(told, resin)
    _run(before, oven, own, NIGHT_S / 60, shows, stays=True)
    return before


def _drawn(rng: np.random.Generator, heatless: bool) -> tuple[HiddenNight, ZonedOven]:
    """An oven with a part in it, and what is told of them."""

    def between(low: float, high: float) -> float:
        return float(rng.uniform(low, high))

    def ratio(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(math.log(low), math.log(high))))

    name, share = CARDS[int(rng.integers(len(CARDS)))]
    card = load_card(name)
    figures = card.figures(share)
    z = rng.standard_normal(2)
    log_gel = FACTOR_SD * z[0]
    log_cure = FACTOR_SD * (FACTOR_RHO * z[0] + math.sqrt(1 - FACTOR_RHO**2) * z[1])
    assert figures.self_heat is not None
    resin = HiddenResin(
        figures, math.exp(log_gel), math.exp(log_cure), between(0.02, 0.08), between(0.68, 0.85),
        between(0.35, 0.7), between(1.2, 1.9),
        figures.cure_kj_per_mol + 4.0 * float(rng.standard_normal()),
        0.01 * float(rng.standard_normal()), 0.0 if heatless else 1e3 * between(300.0, 400.0),
    )  # fmt: skip
    kg, thick_m = ratio(0.1, 3.0), ratio(0.002, 0.012)
    while kg < LAMINATE[0] * RESIN_SHARE * thick_m * 0.03:  # no part is smaller than a hand
        kg, thick_m = ratio(0.1, 3.0), ratio(0.002, 0.012)
    area_m2 = kg / (LAMINATE[0] * RESIN_SHARE * thick_m)
    # From a thin laminate of glass to a solid block; its flange is bare.
    mould_m, mould_area = ratio(0.005, 0.050), area_m2 * between(1.0, 1.2)
    mould_kg = MOULD[0] * mould_area * mould_m
    film = between(6.0, 12.0) * mould_area
    laminate_j = kg / RESIN_SHARE * LAMINATE[1]
    wet = LayeredMould(
        mould_kg * MOULD[1], MOULD[2] * mould_area / (mould_m / 3.0), film, int(rng.integers(2)),
        laminate_j, LAMINATE[2] * area_m2 / (thick_m / 3.0),
    )  # fmt: skip
    bare_kg = ratio(2.0, 30.0)
    bare = LayeredMould(bare_kg * MOULD[1], 30.0 * bare_kg, 0.7 * bare_kg, int(rng.integers(2)))
    loss = ratio(1.5, 8.0) * max(1.0, (mould_kg + bare_kg) / 25.0) ** 0.5
    oven = ZonedOven(
        power_w=loss * between(60.0, 120.0), heater_capacity_j_per_k=loss * ratio(80.0, 300.0),
        heater_w_per_k=loss * between(0.8, 1.6), radiant_share=between(0.0, 0.4),
        zones_j_per_k=(loss * between(150, 400), loss * between(150, 400)),
        exchange_w_per_k=loss * between(3.0, 12.0), still_share=0.3,
        film_w_per_k=loss * between(5.0, 12.0),
        wall=tuple(Layer(loss * between(150.0, 500.0), loss * between(3.5, 6.0)) for _ in range(4)),
        wall_ambient_w_per_k=loss * between(4.0, 8.0), draught_w_per_k=loss * between(0.1, 0.4),
        moulds=(wet, bare), probe_zone=int(rng.integers(2)),
    )  # fmt: skip
    told = Told(
        figures, kg * math.exp(0.05 * rng.standard_normal()),
        1e3 * thick_m * math.exp(0.10 * rng.standard_normal()),
        (mould_kg * MOULD[1] + laminate_j) * math.exp(0.15 * rng.standard_normal()), oven.power_w,
    )  # fmt: skip
    night = HiddenNight(told, resin)
    night.own_heat_k = 0.7 * kg * resin.heat_j_per_kg / (mould_kg * MOULD[1])
    return night, oven


def _run(
    night: HiddenNight,
    oven: ZonedOven,
    rng: np.random.Generator,
    minutes: float,
    shows: Probes | None = None,
    stays: bool = False,
    course: Course | None = None,
) -> Probes:
    """Follow it: a ramp and a soak, a shed that cools, in three of ten a door.

    Args:
        course: how it is heated, and in which shed; by chance if None.
        shows: how the thermometers show; by chance if None.
        stays: to its end, whenever its part is hard.
    """
    body, resin = ZonedBody(oven), night.resin
    top_c, shed_c = rng.uniform(32.0, 40.0), rng.uniform(14.0, 23.0)
    falls_c = rng.uniform(0.0, 8.0)
    begin = ("start", "gel", "shed")[int(rng.integers(3))]
    if course is not None:
        (top_c, shed_c, falls_c), begin = course, "start"
    waits_s = 0.0 if begin != "shed" else rng.uniform(3.0, 5.0) * 3600.0
    door_s = rng.uniform(0.0, 10 * 3600.0) if rng.random() < 0.3 else math.inf
    door_for_s, door_w_per_k = rng.uniform(60.0, 300.0), 30.0 * oven.loss_w_per_k
    view, noise = rng.uniform(0.0, 0.12), rng.uniform(0.003, 0.03)
    if shows is None:
        shows = Probes(float(view), float(noise), *(0.3 * rng.standard_normal(2)).tolist())
    view, noise, offset_air, offset_part = shows
    body.state_c = np.full(len(oven.capacities), shed_c)
    loss = oven.loss_w_per_k
    gel = TimeTable(resin.figures.gel_min, resin.figures.cure_kj_per_mol)
    reference_c, lowest_c = resin.figures.reference_c, resin.figures.lowest_c
    e = resin.cure_kj_per_mol * 1e3 / R_J_PER_MOL_K
    inverse = 1.0 / (reference_c + KELVIN)
    k_per_min, dt_min = resin.k_per_min, STEP_S / 60.0
    shares, degrees = [0.0] * 3, [0.0] * 3
    first, back = oven.first_node(0), oven.first_node(0) + 5
    heat_w = [0.0] * len(body.parts)
    kg = night.told.resin_kg  # the heat is the true resin's: told's error is its own
    kg = oven.moulds[0].laminate_j_per_k / LAMINATE[1] * RESIN_SHARE
    seen_air = seen_part = shed_c
    integral = duty = 0.0
    setpoint_c, card_gel = shed_c, 0.0
    sums = [0.0, 0.0, 0.0]
    steps, a_minute = round(60.0 * minutes / STEP_S), round(60.0 / STEP_S)
    for i in range(1, steps + 1):
        t_s = i * STEP_S
        ambient_c = shed_c - falls_c * 0.5 * (1.0 - math.cos(math.pi * min(t_s / 36000.0, 1.0)))
        open_now = door_s <= t_s < door_s + door_for_s
        # the resin, layer by layer
        nodes_c = body.state_c[first : first + 3].tolist()
        for j, c in enumerate(nodes_c):
            before = degrees[j]
            if shares[j] < 1.0:
                at = gel.at(c)
                if at is not None:
                    tilt = math.exp(resin.gel_tilt_per_k * (c - 20.0))
                    shares[j] = min(shares[j] + dt_min / (at * tilt * resin.gel_times), 1.0)
                    degrees[j] = resin.gel_degree * shares[j] ** 2
            elif c >= lowest_c:
                k = k_per_min * math.exp(e * (inverse - 1.0 / (c + KELVIN)))
                a = degrees[j]
                degrees[j] = min(a + dt_min * k * a**resin.m * (1.0 - a) ** resin.n, 0.9999)
            heat_w[j] = kg / 3.0 * resin.heat_j_per_kg * (degrees[j] - before) / STEP_S
        if math.isnan(night.gel_min) and min(shares) >= 1.0:
            night.gel_min = t_s / 60.0
        if math.isnan(night.demould_min) and min(degrees) >= resin.demould_degree:
            night.demould_min = t_s / 60.0
        # the regulator: feed-forward and a PI on what the air's thermometer says
        ready = t_s >= waits_s and (begin != "gel" or card_gel >= 1.0 or t_s > 5 * 3600.0)
        if ready and not open_now:
            setpoint_c = min(max(setpoint_c, ambient_c) + 15.0 / 3600.0 * STEP_S, top_c)
        error = setpoint_c - seen_air
        if ready:
            p = 3.0 * loss * error
            integral = min(max(integral + 3.0 * loss * error * STEP_S / 1800.0, -oven.power_w),
                           oven.power_w)  # fmt: skip
            wanted = loss * (setpoint_c - ambient_c) + p + integral
            duty = min(max(wanted / oven.power_w, 0.0), 1.0)
        duty = 0.0 if open_now else duty
        body.step(STEP_S, Held(duty * oven.power_w, ambient_c, tuple(heat_w),
                               door_w_per_k if open_now else 0.0, True))  # fmt: skip
        state = body.state_c
        air_c = float(state[1 + oven.probe_zone])
        seen_air += (air_c - seen_air) * (1.0 - math.exp(-STEP_S / 45.0))
        true_part = (1.0 - view) * float(state[back]) + view * air_c
        seen_part += (true_part - seen_part) * (1.0 - math.exp(-STEP_S / 45.0))
        at = gel.at(seen_part)
        card_gel += 0.0 if at is None else dt_min / at
        for j, c in enumerate((seen_part + offset_part, seen_air + offset_air)):
            read = c + noise * float(rng.standard_normal())
            sums[j] += round(read / 0.0625) * 0.0625
        sums[2] += duty
        if not stays and t_s > 60.0 * night.demould_min + STAYS_S:
            break
        if i % a_minute == 0:
            for row, value in zip((night.part_c, night.air_c, night.duty), sums, strict=True):
                row.append(value / a_minute)
            sums = [0.0, 0.0, 0.0]
    return shows


def cup_gels_min(resin: HiddenResin, grams: float, at_c: float, rng: np.random.Generator) -> float:
    """When a cup of the batch gels, min; its walls, its heat and the batch's own spread differ."""
    kg, table = grams / 1000.0, TimeTable(resin.figures.gel_min, resin.figures.cure_kj_per_mol)
    loss = 0.098 * (grams / 100.0) ** (2.0 / 3.0) * math.exp(0.25 * float(rng.standard_normal()))
    batch = math.exp(0.05 * float(rng.standard_normal()))
    share = warmer_k = t_s = 0.0
    while share < 1.0 and t_s < 86400.0:
        card_min = table.at(at_c + warmer_k)
        assert card_min is not None
        tilt = math.exp(resin.gel_tilt_per_k * (at_c + warmer_k - 20.0))
        gained = 5.0 / (60.0 * card_min * tilt * resin.gel_times * batch)
        heat_j = kg * resin.heat_j_per_kg * resin.gel_degree * ((share + gained) ** 2 - share**2)
        warmer_k += (heat_j - 5.0 * loss * warmer_k) / (kg * 1700.0)
        share += gained
        t_s += 5.0
    return t_s / 60.0
