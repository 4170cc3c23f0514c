"""How a mould follows air and heater, learned from nights: the sums of a linear regression.

The next night of the same mould and thermometer starts from them. What air and heater explain of
the mould's temperature is then known beforehand, and what is left over is the part's own heat,
which is seen while it comes, not only afterwards.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from ..settings import Section

#: What a mould's temperature is explained by, see `own_heat.MEANS`.
TERMS = 8
#: Of what earlier nights have shown, a night keeps so much: moulds and thermometers are moved.
KEEPS = 0.5
#: A mould that is told as heavier or lighter than it was by more than this is another one.
SAME_MOULD = 1.15

Sums = Annotated[tuple[float, ...], Field(min_length=TERMS, max_length=TERMS)]


class MouldLaw(Section):
    """Sums over blocks of five minutes, each weighed, with the resin's heat taken out."""

    part: Annotated[str, Field(max_length=40)]
    sensor: Annotated[str, Field(max_length=40)]
    mould_j_per_k: Annotated[float, Field(gt=0)]
    xx: Annotated[tuple[Sums, ...], Field(min_length=TERMS, max_length=TERMS)]
    """Of what explains it, K h, h, K and K."""
    xy: Sums
    yy: Annotated[float, Field(ge=0)]
    """Of the mould's rise less what the coefficients' middles explain, K."""
    weight: Annotated[float, Field(ge=0)]
    noise_k: Annotated[float, Field(gt=0)]
    """What was left unexplained, K in five minutes."""
    nights: Annotated[int, Field(ge=1)] = 1

    def fits(self, part: str, sensor: str | None, mould_j_per_k: float) -> bool:
        """Whether a part lies in this mould, on this thermometer."""
        ratio = mould_j_per_k / self.mould_j_per_k
        same = 1.0 / SAME_MOULD <= ratio <= SAME_MOULD
        return same and (self.part, self.sensor) == (part, sensor)
