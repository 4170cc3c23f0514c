"""What is not known of a night, and nights drawn from it.

Every spread is stated here with its kind; medians are the believed values. Nights are drawn by
Latin hypercube (scipy.stats.qmc), so the same seed gives the same nights everywhere.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Annotated, Any

import numpy as np
from pydantic import Field
from scipy.special import ndtri
from scipy.stats import qmc

from ..cure.figures import ClockFigures
from ..errors import BadInput
from ..oven.arrays import Array
from ..settings import Section
from .tonight import OvenFacts, Tonight, mould_sensors

#: A card's early and late figures are taken as its 5 % and 95 % points.
CARD_Z = 1.6448536269514722
#: A 95 % interval's half-width in standard deviations, as the survey gives them.
SURVEY_Z = 1.959963984540054
Share = Annotated[float, Field(ge=0.0, le=0.6)]


class Spreads(Section):
    """One standard deviation of everything that is not known.

    Shares are of the logarithm. Values are common practice without a source unless said otherwise;
    a survey replaces the oven's own.
    """

    loss: Share = 0.08
    """Of the loss coefficient: lid, tape, wind."""
    capacity: Share = 0.10
    """Of the air's and, apart from it, the moulds' heat capacity."""
    power: Share = 0.03
    """Of the heater's watts: mains and its own tolerance."""
    ambient_c: Annotated[float, Field(ge=0, le=10)] = 1.5
    """Of the shed's whole night against the forecast, K."""
    sensor_c: Annotated[float, Field(ge=0, le=5)] = 0.25
    """Of every thermometer's offset, K; a DS18B20 is good for ±0.5 °C (maker's data sheet)."""
    catalyst: Share = 0.08
    """Of the weighed catalyst share, each mix for itself."""
    gel_kj_per_mol: Annotated[float, Field(ge=0, le=40)] = 6.0
    """Of the gel's activation energy about the card's table, at the card's reference."""
    cure_kj_per_mol: Annotated[float, Field(ge=0, le=40)] = 5.0
    """Of the cure's activation energy: 40-60 kJ/mol in published fits of redox cures."""
    card: Annotated[float, Field(ge=0, le=3)] = 1.0
    """Times the card's own band (its early and late figures)."""

    @classmethod
    def none(cls) -> Spreads:
        """A night that is exactly as believed."""
        return cls.model_validate(dict.fromkeys(cls.model_fields, 0.0))


@dataclass(frozen=True)
class Truths:
    """Drawn nights; every array has the nights first."""

    loss_times: Array
    air_capacity_times: Array
    mould_capacity_times: Array
    power_times: Array
    ambient_k: Array
    air_offset_k: Array
    """What the control sensor reads too much."""
    mould_offset_k: Array
    """(nights, mould sensors)."""
    gel_times: Array
    """(nights, parts): factor on the gel time, card and weighing together."""
    cure_z: Array
    """(nights, parts): where in its card's band the cure lies, in standard deviations."""
    weighing_times: Array
    """(nights, parts): factor on the time of the cure after the gel, from the weighing."""
    gel_kj_per_mol: Array
    """(nights, parts): added to the gel's energy."""
    cure_kj_per_mol: Array
    """(nights, parts): added to the cure's energy."""

    @property
    def nights(self) -> int:
        """How many."""
        return len(self.loss_times)

    def __getitem__(self, some: slice) -> Truths:
        """Some of the nights."""
        return Truths(**{name: value[some] for name, value in vars(self).items()})


def draw(tonight: Tonight, spreads: Spreads, nights: int, seed: int = 0) -> Truths:
    """Nights drawn by Latin hypercube; the same arguments give the same nights.

    Parts on one card share its resin's truth; each mix is weighed for itself.

    Raises:
        BadInput: fewer than one night.
    """
    if not 1 <= nights <= 1_000_000:
        raise BadInput(f"{nights} nights are asked for; it should be 1 to 1 000 000.")
    parts = tonight.parts
    cards = sorted({p.part.card for p in parts})
    of = [cards.index(p.part.card) for p in parts]
    sensors = len(mould_sensors(tonight.settings))
    dimensions = 6 + sensors + 4 * len(cards) + len(parts)
    uniform = qmc.LatinHypercube(d=dimensions, seed=seed).random(nights)
    z: Array = ndtri(np.clip(uniform, 1e-9, 1.0 - 1e-9))
    oven, rest = z[:, :6], z[:, 6:]
    moulds, rest = rest[:, :sensors], rest[:, sensors:]
    resin = rest[:, : 4 * len(cards)].reshape(nights, 4, len(cards))[:, :, of]
    mixes = rest[:, 4 * len(cards) :]
    power = np.array([p.catalyst_power for p in parts])
    weighing = np.exp(-power * spreads.catalyst * mixes)
    gel_band = np.stack(
        [
            banded(resin[:, 0, i] * spreads.card, _figures(tonight, i).gel_band)
            for i in range(len(parts))
        ],
        axis=1,
    )
    return Truths(
        loss_times=np.exp(spreads.loss * oven[:, 0]),
        air_capacity_times=np.exp(spreads.capacity * oven[:, 1]),
        mould_capacity_times=np.exp(spreads.capacity * oven[:, 2]),
        power_times=np.exp(spreads.power * oven[:, 3]),
        ambient_k=spreads.ambient_c * oven[:, 4],
        air_offset_k=spreads.sensor_c * oven[:, 5],
        mould_offset_k=spreads.sensor_c * moulds,
        gel_times=gel_band * weighing,
        cure_z=spreads.card * resin[:, 1],
        weighing_times=weighing,
        gel_kj_per_mol=spreads.gel_kj_per_mol * resin[:, 2],
        cure_kj_per_mol=spreads.cure_kj_per_mol * resin[:, 3],
    )


def banded(z: Array, band: Sequence[float]) -> Array:
    """A figure of a card at `z` standard deviations: early and late are its 5 % and 95 % points.

    Log-normal on either side of the likely value, each side with its own width.
    """
    early, likely, late = band
    result: Array = likely * np.where(
        z < 0.0, (early / likely) ** (-z / CARD_Z), (late / likely) ** (z / CARD_Z)
    )
    return result


def _figures(tonight: Tonight, i: int) -> ClockFigures:
    figures = tonight.parts[i].part.figures
    assert figures is not None
    return figures


def from_survey(found: Any, facts: OvenFacts, spreads: Spreads) -> tuple[OvenFacts, Spreads]:
    """The oven and its spreads as `nightcure survey --json` found them.

    Args:
        found: the object that the survey printed.
        facts: what oven.toml says, for what the survey does not know.

    Raises:
        BadInput: it is not a survey, or its loss is unknown.
    """
    model = found.get("model") if isinstance(found, dict) else None
    loss = found.get("loss_w_per_k") if isinstance(found, dict) else None
    if not isinstance(model, dict) or not isinstance(loss, dict):
        raise BadInput(
            "the survey's file is not what 'nightcure survey --json' prints for a heater of known "
            "watts; it should hold 'loss_w_per_k' and 'model'."
        )
    try:
        wide = {
            "loss": _log_sd(loss),
            "capacity": _log_sd(found["heat_capacity_j_per_k"]),
        }
        power = found.get("heater_power_w")
        if isinstance(power, dict) and _log_sd(power) > 0.0:
            wide["power"] = _log_sd(power)
        names = ("loss_w_per_k", "air_capacity_j_per_k", "mould_capacity_j_per_k",
                 "mould_lag_s", "heater_lag_s")  # fmt: skip
        values = {name: float(model[name]) for name in names}
        if isinstance(power, dict):
            values["power_w"] = float(power["value"])
        if min(values.values()) < 0.0 or not all(map(math.isfinite, values.values())):
            raise ValueError("below zero")
    except (KeyError, TypeError, ValueError, ZeroDivisionError) as error:
        raise BadInput(
            f"the survey's file cannot be used ({error}); let 'nightcure survey --json' write it."
        ) from None
    spread = Spreads.model_validate({**spreads.model_dump(), **wide})
    return replace(facts, **values), spread


def _log_sd(interval: Any) -> float:
    """Of a 95 % interval {value, low, high}."""
    return min(math.log(interval["high"] / interval["low"]) / (2.0 * SURVEY_Z), 0.6)
