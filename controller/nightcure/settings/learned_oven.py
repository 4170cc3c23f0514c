"""What earlier nights have shown of the oven: recorded with each night that starts from it."""

from __future__ import annotations

from typing import Annotated

from pydantic import Field

from .section import Section

Positive = Annotated[float, Field(gt=0, le=1e7)]
Row = Annotated[tuple[float, ...], Field(min_length=3, max_length=3)]


class LearnedOven(Section):
    """Loss and heat capacities as learned, beside the model that a person wrote into oven.toml.

    Feed-forward and plan start from it; no interlock reads it.
    """

    loss_w_per_k: Positive
    air_capacity_j_per_k: Positive
    mould_capacity_j_per_k: Annotated[float, Field(ge=0, le=1e7)]
    log_covariance: Annotated[tuple[Row, ...], Field(min_length=3, max_length=3)]
    """Of the logarithms of the three, in this order, one night's own spread in it."""
    nights: Annotated[int, Field(ge=0)]
    """How many have shown something; 0: the three are the model's own."""
