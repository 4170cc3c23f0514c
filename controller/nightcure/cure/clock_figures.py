"""A resin in numbers, for one catalyst share: what the clock runs on. Small, fixed, JSON-ready.

A part in a profile carries these, so that a night's record holds everything it was decided by and
the loop never opens a file.
"""

from __future__ import annotations

from itertools import pairwise
from typing import Annotated, Literal

from pydantic import Field, field_validator

from ..settings import Section

Positive = Annotated[float, Field(gt=0.0, le=1e6)]
Row = tuple[Annotated[float, Field(ge=-40, le=200)], Positive]
#: Early, likely and late: the band of every figure.
Band = tuple[Positive, Positive, Positive]

#: What a band of one resin leaves out where nobody knows which it is (common practice, no source).
MAKERS_DIFFER = (
    "resins of its kind differ up to about threefold in gel time from maker to maker, which its "
    "band leaves out; a gel cup of yours settles it, and your data sheet (nightcure cure new) helps"
)

Emitter = Literal["resin", "gel-coat"]
#: What the free face is like: tacky whatever the cure, since air inhibits it; under a skin of wax;
#: an amine-cured epoxy's, dry or with a blush that washes off.
Face = Literal["air-inhibited", "waxed", "amine"]
Milestone = Literal["gelled", "laminate-opens", "laminate-closes", "demould", "full", "post-cured"]
#: In the order in which they come.
MILESTONES: tuple[Milestone, ...] = (
    "gelled",
    "laminate-opens",
    "laminate-closes",
    "demould",
    "full",
    "post-cured",
)
#: What a part past a milestone is.
MILESTONE_WORDS: dict[Milestone, str] = {
    "gelled": "gelled",
    "laminate-opens": "ready to laminate on",
    "laminate-closes": "past laminating on",
    "demould": "hard enough to leave its mould",
    "full": "as cured as it gets",
    "post-cured": "post-cured",
}


class SelfHeat(Section):
    """The generic law of a cold-curing resin: sqrt(a/(1-a)) grows straight with equivalent time.

    It is Kamal and Sourour's law with k1 = 0, m = 0.5, n = 1.5, in closed form.
    """

    seed: Annotated[float, Field(gt=0, lt=0.1)]
    """Degree of cure at mixing: a self-accelerating law started at nothing never starts."""
    gel_degree: Annotated[float, Field(gt=0, lt=0.9)]
    heat_j_per_kg_resin: Annotated[float, Field(gt=0, le=2e6)]


class GlassFigures(Section):
    """Glass transition over degree of cure, and where the cure slows by it: `Glass` of the card."""

    uncured_c: Annotated[float, Field(ge=-120, le=50)]
    full_c: Annotated[float, Field(ge=20, le=300)]
    lam: Annotated[float, Field(gt=0, le=1)]
    above_cure_k: Annotated[float, Field(ge=0, le=40)]
    diffusion: Annotated[float, Field(gt=0, le=300)] | None = None


class Bulk(Section):
    """The laminate as a body, for the virtual oven."""

    density_kg_per_m3: Positive
    heat_capacity_j_per_kg_k: Positive
    conductivity_w_per_m_k: Positive
    resin_pct: Annotated[float, Field(gt=0, le=100)]


class ClockFigures(Section):
    """What the cure clock needs to know of a resin with its catalyst."""

    gel_min: Annotated[tuple[Row, ...], Field(min_length=1, max_length=40)]
    """[°C, minutes] at this catalyst share, coldest first; below the first: no data."""
    cure_kj_per_mol: Annotated[float, Field(ge=10, le=250)]
    """Of everything after the gel, and of the gel above its hottest row."""
    reference_c: Annotated[float, Field(ge=0, le=200)]
    lowest_c: Annotated[float, Field(ge=-10, le=200)]
    """Below it the cure stands still, as far as anybody knows."""
    gel_band: Band
    """Factors on the gel time: early, 1, late."""
    generic: bool = False
    """Whether it stands for a kind of resin and not for one: its band is then too narrow."""
    opens_min: Band | None = None
    """Minutes after the gel, at the reference: when it may be laminated upon."""
    closes_min: Band | None = None
    demould_min: Band | None = None
    full_min: Band | None = None
    post_cure_h: tuple[Row, ...] = ()
    """[°C, hours] that finish it."""
    heat_before_gel: bool = False
    """Whether it may be warmed before it gels."""
    highest_c: Annotated[float, Field(ge=20, le=250)] | None = None
    ramp_c_per_h: Positive | None = None
    monomer_pct: Annotated[float, Field(ge=0, le=70)] | None = None
    emits_as: Emitter = "resin"
    """A gel coat loses several times a resin's share of its styrene."""
    self_heat: SelfHeat | None = None
    bulk: Bulk | None = None
    face: Face | None = None
    """What its free face is like when it cures in air."""
    glass: GlassFigures | None = None
    """Only beside `self_heat`, whose law tells the degree of cure."""

    def out_of_reach(self, hottest_c: float) -> str:
        """Which rows an oven that may be asked for `hottest_c` cannot reach; empty if none."""
        said = []
        for what, rows in (("gel", self.gel_min), ("post-cure", self.post_cure_h)):
            too_hot = [f"{at_c:g} °C" for at_c, _ in rows if at_c > hottest_c]
            if too_hot:
                said.append(f"the card's {what} at {' and '.join(too_hot)}")
        if not said:
            return ""
        one = len(said) == 1 and " and " not in said[0]
        return (
            f"{' and '.join(said)} {'is' if one else 'are'} out of reach: this oven may be asked "
            f"for {hottest_c:g} °C at the most."
        )

    @field_validator("gel_min", "post_cure_h")
    @classmethod
    def _quicker_when_warmer(cls, rows: tuple[Row, ...]) -> tuple[Row, ...]:
        for (cold_c, cold), (warm_c, warm) in pairwise(rows):
            if warm_c <= cold_c or warm > cold:
                raise ValueError(
                    f"{warm:g} at {warm_c:g} °C stands after {cold:g} at {cold_c:g} °C; the rows "
                    f"should become warmer and not slower."
                )
        return rows

    @field_validator("gel_band", "opens_min", "closes_min", "demould_min", "full_min")
    @classmethod
    def _early_likely_late(cls, band: Band | None) -> Band | None:
        if band is not None and list(band) != sorted(band):
            raise ValueError(f"it is {list(band)}; it should be early, likely, late.")
        return band
