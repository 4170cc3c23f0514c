"""What is not known of a night, and nights drawn from it.

Every spread is stated here with its kind; medians are the believed values. What a survey knows only
together (a higher loss with a lower capacity) is drawn together. Nights are drawn by
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

from ..cure.clock_figures import ClockFigures
from ..cure.factors import MAKERS_SD
from ..cure.part import Part
from ..errors import BadInput
from ..oven.arrays import Array
from ..settings import Section
from .tonight import OvenFacts, Tonight, mould_sensors

#: A card's early and late figures are taken as its 5 % and 95 % points.
CARD_Z = 1.6448536269514722
#: A 95 % interval's half-width in standard deviations, as the survey gives them.
SURVEY_Z = 1.959963984540054
#: A slow maker's resin takes so many times as long as the generic card in the middle of its kind, a
#: quick one's as many times less: between the two lie 95 makers of a hundred.
SLOW_TIMES = math.exp(SURVEY_Z * MAKERS_SD)
#: No figure of the oven is drawn wider than this, whatever a survey of a few rows says.
WIDEST = 0.6
Share = Annotated[float, Field(ge=0.0, le=WIDEST)]
#: What a survey knows of the oven with one another's errors in it, and the plan draws together.
JOINT = ("loss_w_per_k", "air_capacity_j_per_k", "mould_capacity_j_per_k", "mould_lag_s")


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
    maker: Share = MAKERS_SD
    """Of the pace of a resin on a generic card, gel and cure alike, from maker to maker."""

    oven_log_covariance: tuple[tuple[float, ...], ...] | None = None
    """Of the logarithms of `JOINT`, as a survey found them; in place of `loss` and `capacity`."""

    @classmethod
    def none(cls) -> Spreads:
        """A night that is exactly as believed."""
        alone = cls.model_fields.keys() - {"oven_log_covariance"}
        return cls.model_validate(dict.fromkeys(alone, 0.0))


@dataclass(frozen=True)
class SampledParameters:
    """Drawn nights; every array has the nights first."""

    loss_times: Array
    air_capacity_times: Array
    mould_capacity_times: Array
    mould_surface_times: Array
    """Factor on what passes from the air into the moulds, W/K."""
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
    """(nights, parts): factor on the time of the cure after the gel, from the weighing and from
    what earlier nights showed of the resin."""
    maker_times: Array
    """(nights, parts): factor on gel and cure by whose resin it is; 1 where that is known."""
    gel_kj_per_mol: Array
    """(nights, parts): added to the gel's energy."""
    cure_kj_per_mol: Array
    """(nights, parts): added to the cure's energy."""

    @property
    def nights(self) -> int:
        """How many."""
        return len(self.loss_times)

    @classmethod
    def joined(cls, some: Sequence[SampledParameters]) -> SampledParameters:
        """Several draws' nights, one after the other."""
        names = vars(some[0])
        return cls(**{name: np.concatenate([getattr(s, name) for s in some]) for name in names})

    def __getitem__(self, some: slice) -> SampledParameters:
        """Some of the nights."""
        return SampledParameters(**{name: value[some] for name, value in vars(self).items()})


def draw(tonight: Tonight, spreads: Spreads, nights: int, seed: int = 0) -> SampledParameters:
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
    joint = spreads.oven_log_covariance
    widths = np.array([6, sensors, 4 * len(cards), len(parts), int(joint is not None), len(cards)])
    uniform = qmc.LatinHypercube(d=int(widths.sum()), seed=seed).random(nights)
    z: Array = ndtri(np.clip(uniform, 1e-9, 1.0 - 1e-9))
    oven, moulds, resins, mixes, lag, makers = np.split(z, np.cumsum(widths)[:-1], axis=1)
    resin = resins.reshape(nights, 4, len(cards))[:, :, of]
    if joint is None:
        logs = oven[:, :3] * (spreads.loss, spreads.capacity, spreads.capacity)
        # A heavier mould keeps its surface, and so lags the more.
        surface = np.zeros(nights)
    else:
        logs = np.concatenate([oven[:, :3], lag], axis=1) @ _factor(joint).T
        surface = logs[:, 2] - logs[:, 3]
    power = np.array([p.catalyst_power for p in parts])
    weighing = np.exp(-power * spreads.catalyst * mixes)
    gel_band, cure_z, cure_times = (
        np.stack(columns, axis=1)
        for columns in zip(
            *(_resin(tonight, i, *(spreads.card * resin[:, :2, i].T)) for i in range(len(parts))),
            strict=True,
        )
    ) if parts else (np.ones((nights, 0)),) * 3  # fmt: skip
    anybodys = np.array([float(of_any_maker(p.part)) for p in parts])
    return SampledParameters(
        loss_times=np.exp(logs[:, 0]),
        air_capacity_times=np.exp(logs[:, 1]),
        mould_capacity_times=np.exp(logs[:, 2]),
        mould_surface_times=np.exp(surface),
        power_times=np.exp(spreads.power * oven[:, 3]),
        ambient_k=spreads.ambient_c * oven[:, 4],
        air_offset_k=spreads.sensor_c * oven[:, 5],
        mould_offset_k=spreads.sensor_c * moulds,
        gel_times=gel_band * weighing,
        cure_z=cure_z,
        weighing_times=weighing * cure_times,
        maker_times=np.exp(spreads.maker * makers[:, of] * anybodys),
        gel_kj_per_mol=spreads.gel_kj_per_mol * resin[:, 2],
        cure_kj_per_mol=spreads.cure_kj_per_mol * resin[:, 3],
    )


def _factor(covariance: Sequence[Sequence[float]]) -> Array:
    """What makes independent standard normals (columns) covary so; none wider than `WIDEST`."""
    sd = np.sqrt(np.diag(covariance))
    narrow = np.minimum(sd, WIDEST) / np.where(sd > 0.0, sd, 1.0)
    values, vectors = np.linalg.eigh(np.array(covariance) * np.outer(narrow, narrow))
    result: Array = vectors * np.sqrt(np.maximum(values, 0.0))
    return result


def banded(z: Array, band: Sequence[float]) -> Array:
    """A figure of a card at `z` standard deviations: early and late are its 5 % and 95 % points.

    Log-normal on either side of the likely value, each side with its own width.
    """
    early, likely, late = band
    result: Array = likely * np.where(
        z < 0.0, (early / likely) ** (-z / CARD_Z), (late / likely) ** (z / CARD_Z)
    )
    return result


def _resin(tonight: Tonight, i: int, gel_z: Array, cure_z: Array) -> tuple[Array, Array, Array]:
    """A part's resin at standard deviations of its gel and its cure: the factor on its gel time,
    where in its card's band its cure lies, and the factor on that.

    By what earlier nights showed of it, where they did; else by its card's bands.
    """
    prior = tonight.parts[i].part.prior
    if prior is None:
        return banded(gel_z, _figures(tonight, i).gel_band), cure_z, np.ones_like(cure_z)
    apart = math.sqrt(1.0 - prior.together**2)
    cure = prior.cure_mean + prior.cure_sd * (prior.together * gel_z + apart * cure_z)
    return np.exp(prior.gel_mean + prior.gel_sd * gel_z), np.zeros_like(cure_z), np.exp(cure)


def of_any_maker(part: Part) -> bool:
    """Whether nothing is known of whose resin a part is of: a generic card, and no gel cup and no
    earlier night of its batch."""
    return part.figures is not None and part.figures.generic and part.prior is None


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
        wide: dict[str, Any] = {
            "loss": _log_sd(loss),
            "capacity": _log_sd(found["heat_capacity_j_per_k"]),
        }
        if "log_covariance" in found:
            wide["oven_log_covariance"] = _joint(found["log_covariance"])
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


def _joint(told: Any) -> tuple[tuple[float, ...], ...]:
    """A survey's covariance of `JOINT`. Raises ValueError or KeyError where it is none."""
    at = [told["of"].index(name) for name in JOINT]
    rows = np.array(told["rows"], dtype=np.float64)
    if rows.shape != (len(told["of"]), len(told["of"])) or not np.allclose(rows, rows.T):
        raise ValueError("its log_covariance is not a symmetric table, a row for each name")
    some = rows[np.ix_(at, at)]
    values = np.linalg.eigvalsh(some)
    if not np.isfinite(some).all() or values[0] < -1e-3 * values[-1]:
        raise ValueError("its log_covariance is none: it has a negative variance")
    return tuple(tuple(row) for row in some.tolist())


def _log_sd(interval: Any) -> float:
    """Of a 95 % interval {value, low, high}."""
    return min(math.log(interval["high"] / interval["low"]) / (2.0 * SURVEY_Z), 0.6)
