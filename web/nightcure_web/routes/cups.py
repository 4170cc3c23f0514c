"""Gel cups: some of a batch in a cup beside a thermometer. Behind a login; a command each."""

from __future__ import annotations

import asyncio
from typing import Annotated, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from nightcure.cure.card import load_card, shipped
from nightcure.errors import BadInput

from ..models.oven_models import Answer
from ..problems import Problem
from ..services import ServicesOf, Who
from .commands import Number, said

router = APIRouter(prefix="/api/commands", tags=["commands"])


class Poured(BaseModel):
    """A cup of a batch, mixed now."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "example": {
                "card": "polyester-laminating", "batch": "PL 2231", "catalyst_pct": 2.0,
                "grams": 50, "sensor": "Lid", "minutes_ago": 0,
            }
        },
    )  # fmt: skip

    card: str = Field(max_length=200, description="A card's name, shipped or your own.")
    batch: Annotated[str, Field(min_length=1, max_length=60)] | None = Field(
        None, description="What the parts of this batch are told, too; the card's name if null."
    )
    catalyst_pct: Annotated[Number, Field(gt=0, le=5)] | None = Field(
        None, description="As weighed; null where the ratio is fixed."
    )
    grams: Annotated[Number, Field(ge=2, le=1000)]
    sensor: str | None = Field(None, max_length=40, description="The thermometer beside it.")
    stands_c: Annotated[Number, Field(ge=-10, le=60)] | None = Field(
        None, description="How warm it stands, where no thermometer is beside it."
    )
    held: Literal["cup", "film", "probe"] = Field(
        "cup", description="A cup, a film of 3 mm at most, or a cup with the probe in it."
    )
    minutes_ago: Annotated[Number, Field(ge=0, le=240)] = Field(
        0.0, description="It was mixed so long before now."
    )


class Looked(BaseModel):
    """What was seen of a cup."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"example": {"batch": "PL 2231", "what": "gelled"}}
    )

    what: Literal["liquid", "gelled", "drop"] = Field(
        description="Still liquid; gelled; or forget the cup and what it showed."
    )
    batch: str | None = Field(None, max_length=60, description="Null where there is one cup only.")


@router.post("/cup", responses=said("The gel cup of PL 2231 stands; by its card it gels ..."))
async def cup(services: ServicesOf, who: Who, asked: Poured) -> Answer:
    """A gel cup was mixed: from now on its time counts, at its thermometer's temperature.

    Refused where nothing could be learned of it: an epoxy in bulk, a place colder than the card
    has gel times for.
    """
    own = await asyncio.to_thread(services.own_cards)
    if asked.card not in (*shipped(), *own):
        names = ", ".join([*shipped(), *own])
        raise Problem(422, f"There is no resin card {asked.card!r}; take {names}.")
    card = load_card(asked.card) if asked.card in shipped() else own[asked.card]
    try:
        figures = card.figures(asked.catalyst_pct)
    except BadInput as error:
        raise Problem(422, str(error)) from None
    told = asked.model_dump(exclude_none=True)
    told["batch"] = asked.batch or asked.card
    told["figures"] = figures.model_dump(mode="json")
    outcome, message = await services.command("cup", {"what": "mixed", "cup": told}, who)
    return _answer(outcome, message)


@router.post("/cup/seen", responses=said("PL 2231 has gelled, 26 min after mixing: ..."))
async def seen(services: ServicesOf, who: Who, asked: Looked) -> Answer:
    """Somebody looked at a gel cup. What it shows is kept with the batch and dates its parts."""
    args = asked.model_dump(exclude_none=True)
    outcome, message = await services.command("cup", args, who)
    return _answer(outcome, message)


def _answer(outcome: str, message: str) -> Answer:
    if outcome != "done":
        raise Problem(409, message)
    return Answer(outcome="done", message=message)
