"""The sections of a resin card: every number with its range, and where it comes from."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import AfterValidator, Field, model_validator

from ..settings import Section

Source = Annotated[str, Field(min_length=3, max_length=200)]
"""Where a number comes from: a publication, "from memory", "your data sheet"."""
#: More peroxide than this may not cure right (common practice, no source).
MOST_CATALYST_PCT = 5.0
Catalyst = Annotated[float, Field(gt=0, le=MOST_CATALYST_PCT)]
Temperature = Annotated[float, Field(ge=-10, le=250)]
Minutes = Annotated[float, Field(gt=0, le=100_000)]
Energy = Annotated[float, Field(ge=10, le=250)]


class Number(Section):
    """A number and its source."""

    value: float
    source: Source


def between(low: float, high: float) -> AfterValidator:
    """A check of a `Number`'s range."""

    def check(number: Number) -> Number:
        if not low <= number.value <= high:
            raise ValueError(f"value is {number.value:g}; it should be {low:g} to {high:g}.")
        return number

    return AfterValidator(check)


class GelRow(Section):
    """Gel time at a temperature, and at a catalyst share where that is the mixer's choice."""

    temp_c: Temperature
    catalyst_pct: Catalyst | None = None
    minutes: Minutes
    source: Source


class Time(Section):
    """Minutes from mixing to a milestone, under the data sheet's conditions."""

    minutes: Minutes
    low_minutes: Minutes | None = None
    high_minutes: Minutes | None = None
    at_c: Temperature
    catalyst_pct: Catalyst | None = None
    source: Source

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        low, high = self.low_minutes or self.minutes, self.high_minutes or self.minutes
        if not low <= self.minutes <= high:
            raise ValueError(
                f"minutes is {self.minutes:g}; it should lie between low_minutes {low:g} and "
                f"high_minutes {high:g}."
            )
        return self


class Window(Section):
    """When a fresh layer may be laminated upon: from so many gel times, for so many hours."""

    opens_gel_times: tuple[Minutes, Minutes, Minutes]
    """Early, likely, late."""
    closes_h: tuple[Minutes, Minutes, Minutes]
    """Early, likely, late; hours from mixing at the reference."""
    source: Source

    @model_validator(mode="after")
    def _in_order(self) -> Self:
        for key, three in (("opens_gel_times", self.opens_gel_times), ("closes_h", self.closes_h)):
            if list(three) != sorted(three):
                raise ValueError(f"{key} is {list(three)}; it should be early, likely, late.")
        if self.opens_gel_times[0] < 1.0:
            raise ValueError("opens_gel_times starts before 1; nothing is laminated upon liquid.")
        return self


class PostCure(Section):
    """One way to finish the cure."""

    at_c: Temperature
    hours: Annotated[float, Field(gt=0, le=1000)]
    source: Source


class Kamal(Section):
    """Kamal and Sourour: da/dt = (k1 + k2 a^m)(1 - a)^n, k = A exp(-E/RT)."""

    law: Literal["kamal-sourour"]
    a1_per_min: Annotated[float, Field(ge=0)] = 0.0
    e1_kj_per_mol: Energy = 50.0
    a2_per_min: Annotated[float, Field(ge=0)]
    e2_kj_per_mol: Energy
    m: Annotated[float, Field(ge=0, le=4)]
    n: Annotated[float, Field(gt=0, le=4)]
    seed: Annotated[float, Field(ge=0, lt=0.1)] = 1e-5
    source: Source


class Piecewise(Section):
    """Lee, Loos and Springer's epoxy: (K1 + K2 a)(1 - a)(b - a) up to the knee, then K3 (1 - a)."""

    law: Literal["piecewise"]
    a_per_min: tuple[float, float, float]
    e_kj_per_mol: tuple[Energy, Energy, Energy]
    knee: Annotated[float, Field(gt=0, lt=1)]
    b: Annotated[float, Field(gt=0, lt=1)]
    seed: Annotated[float, Field(ge=0, lt=0.1)] = 1e-6
    source: Source


class FromGel(Section):
    """The generic law, calibrated by the card's own gel time (see `SelfHeat`)."""

    law: Literal["from-gel"]
    gel_degree: Annotated[float, Field(gt=0, lt=0.9)]
    seed: Annotated[float, Field(gt=0, lt=0.1)] = 1e-3
    diffusion: Annotated[float, Field(gt=0, le=300)] | None = 150.0
    """C of the factor 1/(1 + exp(C (a - a_c(T)))); none: nothing vitrifies."""
    source: Source


class Glass(Section):
    """Glass transition over degree of cure (DiBenedetto).

    Where it is `above_cure_k` above the resin's temperature the cure goes at half its pace, and
    all but stops soon after.
    """

    uncured_c: Annotated[float, Field(ge=-120, le=50)]
    full_c: Annotated[float, Field(ge=20, le=300)]
    lam: Annotated[float, Field(gt=0, le=1)]
    above_cure_k: Annotated[float, Field(ge=0, le=40)] = 11.0
    source: Source


class Laminate(Section):
    """The laminate as a heat conductor and a heat source."""

    density_kg_per_m3: Annotated[float, Field(ge=500, le=4000)]
    heat_capacity_j_per_kg_k: Annotated[float, Field(ge=500, le=4000)]
    conductivity_w_per_m_k: Annotated[float, Field(ge=0.02, le=50)]
    resin_pct: Annotated[float, Field(gt=0, le=100)]
    """Resin by weight."""
    source: Source
