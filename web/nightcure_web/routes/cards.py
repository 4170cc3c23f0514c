"""Resin cards that ship: what a part may be laid up with."""

from __future__ import annotations

from functools import cache
from typing import Any

from fastapi import APIRouter
from pydantic import BaseModel, Field

from ..models import told
from ..profile_input import shares_pct, usable_cards

router = APIRouter(prefix="/api", tags=["profiles"])


class CardOffer(BaseModel):
    """A resin card in short."""

    name: str = Field(description="What a part's `card` is set to.")
    title: str
    least_pct: float | None = Field(description="Least catalyst; null where it has a fixed ratio.")
    most_pct: float | None
    demould: bool = Field(description="Whether it tells when a part may leave its mould.")
    styrene: bool = Field(description="Whether it gives any off, so that the box's air matters.")


EXAMPLE = [
    {
        "name": "polyester-laminating",
        "title": "Polyester laminating resin, generic",
        "least_pct": 1.0,
        "most_pct": 3.0,
        "demould": True,
        "styrene": True,
    }
]


@cache
def _offers() -> list[CardOffer]:
    return [
        CardOffer(
            name=card.name,
            title=card.title,
            least_pct=min(shares_pct(card), default=None),
            most_pct=max(shares_pct(card), default=None),
            demould=card.demould is not None,
            styrene=card.monomer_pct is None or card.monomer_pct.value > 0.0,
        )
        for card in usable_cards()
    ]


@router.get("/cards", response_model=list[CardOffer], responses=told(EXAMPLE, 401))
def cards() -> Any:
    """The resin cards that ship. They are starting points, not data sheets."""
    return _offers()
