"""Ovens by chance, of the survey's structure (A) and of another (B), and the settings that a person
has for them after a survey.

Ranges are those of home-made boxes (common practice, no source).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from nightcure.oven.thermal import Layer, Mould, Network, network_from_model
from nightcure.settings import Settings
from nightcure.simulate.virtual import NOISE_RANGE_C, Probe
from nightcure.simulate.zoned import LayeredMould, ZonedOven
from nightcure.survey.tuning import tune

LAMINATE_J_PER_KG_K, MOULD_J_PER_KG_K = 1300.0, 1200.0


class Draw:
    """Numbers by chance."""

    def __init__(self, *seed: int) -> None:
        self.rng = np.random.default_rng(seed)

    def between(self, low: float, high: float) -> float:
        """Evenly."""
        return float(self.rng.uniform(low, high))

    def ratio(self, low: float, high: float) -> float:
        """Evenly in the logarithm."""
        return float(np.exp(self.rng.uniform(np.log(low), np.log(high))))

    def about(self, middle: float, spread: float, low: float, high: float) -> float:
        """Log-normal, cut off."""
        return float(np.clip(middle * np.exp(self.rng.normal(0.0, spread)), low, high))

    def chance(self, share: float) -> bool:
        return bool(self.rng.random() < share)

    def one(self, choices: Any) -> Any:
        return choices[int(self.rng.integers(len(choices)))]


@dataclass(frozen=True)
class Truth:
    """What a perfect survey would find, W, W/K, J/K and s."""

    power_w: float
    loss_w_per_k: float
    air_j_per_k: float
    mould_j_per_k: float
    mould_lag_s: float
    heater_lag_s: float

    @property
    def kappa_k(self) -> float:
        """How far full heat carries the air in the time in which one thermometer can tell: above
        20 K no software is quick enough."""
        wait_s = 40.0 + min(self.heater_lag_s, 300.0)
        moulds = self.mould_j_per_k / self.mould_lag_s
        return self.power_w * wait_s / (self.air_j_per_k + moulds * wait_s)

    @property
    def whole_j_per_k(self) -> float:
        return self.air_j_per_k + self.mould_j_per_k


@dataclass(frozen=True)
class DrawnOven:
    """An oven, its probes, and what its owner has typed."""

    plant: Network | ZonedOven
    truth: Truth
    probes: tuple[Probe, ...]
    settings: Settings
    laminates_kg: tuple[float, ...]
    """Of each mould; 0: nothing lies in it."""

    @property
    def kind(self) -> str:
        return "B" if isinstance(self.plant, ZonedOven) else "A"


def drawn_oven(d: Draw, *, changed_since: bool = True, errors: bool = True) -> DrawnOven:
    """An oven.

    Args:
        changed_since: moulds of another weight and a heater of another power since the survey.
        errors: the probes err within their class, as bought; else they were checked.
    """
    truth = _truth(d)
    count = d.one((1, 2, 2))
    laminates = tuple(d.ratio(0.1, 3.0) if d.chance(0.6) else 0.0 for _ in range(count))
    share = d.between(0.35, 0.65) if count == 2 else 1.0
    shares = (share, 1.0 - share)[:count]
    hot_heater = not d.chance(0.15)
    over_k = d.between(60.0, 140.0) if hot_heater else d.between(25.0, 45.0)
    zoned = d.chance(0.5)
    plant = (_zoned if zoned else _lumped)(d, truth, over_k, shares, laminates)
    if isinstance(plant, ZonedOven):
        truth = Truth(**{**vars(truth), "loss_w_per_k": plant.loss_w_per_k})
    thermometers = _thermometers(d, count, not hot_heater)
    probes = tuple(_probe(d, t["role"], zoned, errors) for t in thermometers)
    settings = _settings(d, truth, thermometers, changed_since)
    return DrawnOven(plant, truth, probes, settings, laminates)


def _truth(d: Draw) -> Truth:
    """The headline numbers; the heater was chosen for the box, more or less."""
    while True:
        loss = d.ratio(0.8, 10.0)
        power = loss * d.ratio(50.0, 170.0)
        kg = d.about(5.0 * loss, 0.8, 2.0, 150.0)
        found = Truth(
            power, loss, loss * d.about(1200.0, 0.4, 400.0, 3500.0), kg * MOULD_J_PER_KG_K,
            d.ratio(600.0, 4000.0), d.ratio(40.0, 400.0),
        )  # fmt: skip
        strong = found.kappa_k > 20.0
        if 150.0 <= power <= 2500.0 and (not strong or d.chance(0.7)):
            return found


def _lumped(
    d: Draw, t: Truth, over_k: float, shares: tuple[float, ...], laminates: tuple[float, ...]
) -> Network:
    leak = t.loss_w_per_k * d.between(0.1, 0.5)
    walls = t.loss_w_per_k - leak
    film = walls * d.between(5.0, 12.0)
    heater = t.power_w / over_k
    air = t.air_j_per_k * d.between(0.2, 0.45)
    moulds = tuple(
        Mould(
            f"mould {i + 1}",
            t.mould_j_per_k * s + kg * LAMINATE_J_PER_KG_K,
            t.mould_j_per_k * s / t.mould_lag_s,
        )
        for i, (s, kg) in enumerate(zip(shares, laminates, strict=True))
    )
    return Network(
        t.power_w, heater * t.heater_lag_s, heater, air, t.air_j_per_k - air, film,
        film * walls / (film - walls), leak, moulds,
    )  # fmt: skip


def _zoned(
    d: Draw, t: Truth, over_k: float, shares: tuple[float, ...], laminates: tuple[float, ...]
) -> ZonedOven:
    draught = t.loss_w_per_k * d.between(0.05, 0.4)
    walls = t.loss_w_per_k - draught
    film, outside = walls * d.between(5.0, 12.0), walls * d.between(5.0, 12.0)
    layers = d.one((4, 5, 6))
    between = (layers - 1) / (1.0 / walls - 1.0 / film - 1.0 / outside)
    zones = d.one((1, 2, 3))
    air = t.air_j_per_k * d.between(0.25, 0.5)
    skin, foam = (t.air_j_per_k - air) * 0.7, (t.air_j_per_k - air) * 1.2 / (layers - 1)
    wall = [Layer(skin, 1.0), *[Layer(foam, between)] * (layers - 1)]
    if d.chance(0.3):  # 6 mm of plywood outside: about 1.2 kJ/K for each W/K of wall (from memory)
        wall[-1] = Layer(foam + 1200.0 * walls, between)
    radiant = d.between(0.0, 0.8)
    films = [0.5 * t.mould_j_per_k * s / t.mould_lag_s for s in shares]
    moulds = tuple(
        LayeredMould(
            t.mould_j_per_k * s, film_m * d.between(4.0, 15.0), film_m, d.one(range(zones)),
            kg * LAMINATE_J_PER_KG_K, film_m * d.between(5.0, 20.0) if kg else 0.0,
        )
        for s, film_m, kg in zip(shares, films, laminates, strict=True)
    )  # fmt: skip
    heater = t.power_w / over_k
    return ZonedOven(
        t.power_w, heater * t.heater_lag_s, heater, radiant, (air / zones,) * zones,
        t.loss_w_per_k * d.between(3.0, 20.0), d.between(0.2, 0.6), film, tuple(wall), outside,
        draught, moulds, radiant * d.between(0.0, 0.03), d.one(range(zones)),
    )  # fmt: skip


def _thermometers(d: Draw, moulds: int, heater: bool) -> list[dict[str, Any]]:
    roles = ["air"] * d.one((1, 1, 1, 1, 1, 1, 1, 2, 2, 3))
    if d.chance(0.65):
        roles += ["part"] * d.one((1, moulds, moulds))
    if d.chance(0.15):
        roles.append("mould")
    if d.chance(0.65):
        roles.append("ambient")
    if heater:
        roles.append("heater")
    if d.chance(0.05):
        roles += ["part"] * (16 - len(roles))
    return [
        {"id": f"28-{i:012x}", "role": role, "name": f"{role} {i}"}
        for i, role in enumerate(roles, 1)
    ]


def _probe(d: Draw, role: str, zoned: bool, errors: bool) -> Probe:
    """In a zoned oven slow and late as they may be; noise from its range, error in its class."""
    lag_s = 30.0 if role in ("part", "mould") else 15.0
    delay_s = 0.0
    if zoned:
        lag_s, delay_s = d.ratio(10.0, 120.0), d.one((0.0, d.between(0.0, 60.0)))
    error_c = d.between(-0.5, 0.5) if errors else 0.0
    return Probe(lag_s, d.ratio(*NOISE_RANGE_C), error_c, delay_s)


def _settings(
    d: Draw, t: Truth, thermometers: list[dict[str, Any]], changed_since: bool
) -> Settings:
    """An oven.toml after a survey: its errors as measured on surveys of ovens that are not ours
    (loss: one in twenty far too small), and what has changed since."""
    loss = t.loss_w_per_k * (d.between(0.34, 0.7) if d.chance(0.05) else d.about(1, 0.1, 0.7, 1.3))
    capacity = d.about(1.0, 0.3, 0.4, 2.5)
    moulds = d.about(1.0, 0.25, 0.4, 2.5)
    power_w = t.power_w
    if changed_since:
        if d.chance(0.4):
            moulds /= d.ratio(0.3, 3.0)
        if d.chance(0.3):
            power_w *= d.between(0.83, 1.2)
    model = {
        "loss_w_per_k": loss,
        "air_capacity_j_per_k": t.air_j_per_k * capacity,
        "mould_capacity_j_per_k": t.mould_j_per_k * moulds,
        "mould_lag_s": t.mould_lag_s * d.about(1.0, 0.25, 0.5, 2.0),
        "heater_lag_s": t.heater_lag_s * d.about(1.0, 0.25, 0.5, 2.0) / capacity**0.3,
        "assumed_ambient_c": d.between(0.0, 12.0),
    }
    window_s, on_s = d.between(10.0, 60.0), 2.0
    if d.chance(0.3):
        window_s, on_s = d.between(60.0, 300.0), 10.0
    network = network_from_model(
        model["loss_w_per_k"], model["air_capacity_j_per_k"], model["mould_capacity_j_per_k"],
        model["mould_lag_s"], model["heater_lag_s"], power_w, ("mould",),
    )  # fmt: skip
    data = {
        "name": "Drawn",
        "heater": {"power_w": round(power_w, 1), "pin": 17, "window_s": round(window_s, 1),
                   "min_on_s": on_s, "min_off_s": on_s},
        "contactor": {"pin": 27} if d.chance(0.75) else None,
        "fan": {"pin": 22} if d.chance(0.7) else None,
        "thermometers": thermometers,
        "regulator": tune(network, window_s).regulator(),
        "model": {k: round(v, 4) for k, v in model.items()},
    }  # fmt: skip
    return Settings.model_validate(data)
