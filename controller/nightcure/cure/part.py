"""A part in a profile: what it is laid up with, how much of it, where it sits, since when."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

from pydantic import Field

from ..errors import BadInput
from ..settings import Section
from .card import load_card
from .clock_figures import ClockFigures
from .factors import Prior
from .mould_law import MouldLaw


class Part(Section):
    """One part of the night. In a file:

    [[parts]]
    name = "Lid"
    card = "polyester-laminating"   # a shipped card, or a card's file beside the profile
    batch = "PL 2231"               # of the resin; a gel cup of it dates this part, too
    catalyst_pct = 2.0              # left out where the resin's ratio is fixed
    resin_kg = 0.8
    sensor = "Lid"                  # the thermometer on its mould; the air if left out
    start_h = -2.0                  # mixed so long after the night's start; before it if negative
    before_c = 20.0                 # it gelled in a corner as warm as this
    """

    name: Annotated[str, Field(min_length=1, max_length=40)]
    card: Annotated[str, Field(min_length=1, max_length=200)]
    catalyst_pct: Annotated[float, Field(gt=0, le=5)] | None = None
    resin_kg: Annotated[float, Field(gt=0, le=100)]
    sensor: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    start_h: Annotated[float, Field(ge=-72, le=72)] = 0.0
    before_c: Annotated[float, Field(ge=-20, le=60)] | None = None
    """Where it stood from its mixing to the night's start, °C; as warm as the oven if left out."""
    mould_j_per_k: Annotated[float, Field(ge=100, le=1e7)] | None = None
    """Heat capacity of the mould with the part; the model's, shared evenly, if left out.

    Worth telling for a thick laminate: its own heat is expected by it.
    """
    thickness_mm: Annotated[float, Field(ge=0.5, le=100)] | None = None
    """Of the laminate: the virtual oven then follows its core, which runs ahead of the mould."""
    batch: Annotated[str, Field(min_length=1, max_length=60)] | None = None
    """What its resin's batch is called: a gel cup of that batch is one of this part's resin."""
    figures: ClockFigures | None = None
    """The card's numbers at this catalyst share; filled in when a profile is read."""
    prior: Prior | None = None
    """How far its resin may be from its card; filled in when a night is asked for. With it what is
    seen in the night corrects the card."""
    law: MouldLaw | None = None
    """How its mould follows air and heater, by earlier nights; filled in when a night is asked for.
    It is left out where thermometer or mould is another one."""

    @property
    def batch_name(self) -> str:
        """What its batch is called; by its card where nobody named it."""
        return self.batch or self.card


def with_figures(data: Any, folder: Path | None = None) -> Any:
    """Profile data with every part's figures filled in from its card, relative to `folder`.

    What has figures already keeps them; what is not shaped like a part is left for the profile's
    own check. Raises BadInput for a card that cannot be used.
    """
    parts = data.get("parts") if isinstance(data, dict) else None
    if not isinstance(parts, list):
        return data
    filled = []
    for number, part in enumerate(parts, 1):
        if isinstance(part, dict) and isinstance(part.get("card"), str) and not part.get("figures"):
            share = part.get("catalyst_pct")
            if share is None or (isinstance(share, int | float) and not isinstance(share, bool)):
                try:
                    figures = load_card(part["card"], folder).figures(share)
                except BadInput as error:
                    raise BadInput(*(f"part {number}: {s}" for s in error.sentences)) from None
                part = {**part, "figures": figures.model_dump(mode="json")}
        filled.append(part)
    return {**data, "parts": filled}
