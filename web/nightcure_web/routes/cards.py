"""Resin cards that a part may be laid up with: those that ship, and those made on the page."""

from __future__ import annotations

import json
from collections.abc import Sequence
from functools import cache
from typing import Annotated, Any

from fastapi import APIRouter, Query, Response
from fastapi import Path as InPath
from pydantic import BaseModel, ConfigDict, Field

from nightcure.cure.card import Card, load_card, shipped
from nightcure.cure.new import assemble, check_gel_row, checked_answer, questions
from nightcure.errors import BadInput
from nightcure.settings.toml_text import toml_text

from ..models import told
from ..problems import Problem, responses
from ..profile_input import shares_pct, usable_cards
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["profiles"])

#: Cards people may keep.
MOST_OWN = 50
#: Of which shipped card the other numbers are taken where nobody says.
LIKE = "polyester-laminating"


class CardOffer(BaseModel):
    """A resin card in short."""

    name: str = Field(description="What a part's `card` is set to.")
    title: str
    least_pct: float | None = Field(description="Least catalyst; null where it has a fixed ratio.")
    most_pct: float | None
    demould: bool = Field(description="Whether it tells when a part may leave its mould.")
    styrene: bool = Field(description="Whether it gives any off, so that the box's air matters.")
    own: bool = Field(False, description="Made on this page; else it ships.")


Answers = Annotated[dict[str, Annotated[str, Field(max_length=200)]], Field(max_length=20)]


class Draft(BaseModel):
    """A card being made from a data sheet."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={
            "example": {
                "like": LIKE,
                "answers": {"name": "shed-resin", "lowest_c": "15"},
                "gel_rows": ["20 2 18", "15 2 34"],
            }
        },
    )

    like: str = Field(LIKE, max_length=60, description="The card whose other numbers it takes.")
    answers: Answers = Field({}, description="By the questions' keys; empty keeps the generic one.")
    gel_rows: list[Annotated[str, Field(max_length=100)]] = Field(
        [], max_length=50, description="Temperature °C, catalyst % (not where fixed), minutes."
    )


class Question(BaseModel):
    """One question for a new card."""

    key: str
    question: str


class Questions(BaseModel):
    """The questions for a new card that is based on a shipped one, in the order of asking."""

    questions: list[Question]
    fixed_ratio: bool = Field(description="Mixed in one ratio, so that gel rows have no catalyst.")


class DraftCheck(BaseModel):
    """What the answers make."""

    faults: dict[str, str] = Field(
        description="A sentence by question; `gel/0` for a row, `card` for the whole."
    )
    card: CardOffer | None = Field(description="Null while there are faults.")
    unanswered: list[str] = Field(description="What the card cannot answer.")


def offer(card: Card, own: bool = False) -> dict[str, Any]:
    """A card in short."""
    return {
        "name": card.name,
        "title": card.title,
        "least_pct": min(shares_pct(card), default=None),
        "most_pct": max(shares_pct(card), default=None),
        "demould": card.demould is not None,
        "styrene": card.monomer_pct is None or card.monomer_pct.value > 0.0,
        "own": own,
    }


EXAMPLE = {
    "name": "polyester-laminating",
    "title": "Polyester laminating resin, generic",
    "least_pct": 1.0,
    "most_pct": 3.0,
    "demould": True,
    "styrene": True,
    "own": False,
}
ASKED = {"questions": [{"key": "title", "question": "The resin's name"}], "fixed_ratio": False}
CHECKED: Any = {"faults": {}, "card": EXAMPLE, "unanswered": []}


@cache
def _offers() -> Sequence[dict[str, Any]]:
    return [offer(card) for card in usable_cards()]


@router.get("/cards", response_model=list[CardOffer], responses=told([EXAMPLE], 401, 503))
def cards(services: ServicesOf) -> Any:
    """The resin cards that ship, which are starting points and no data sheets; then own ones."""
    return [*_offers(), *(offer(card, True) for card in services.own_cards().values())]


def _like(name: str) -> Card:
    """The shipped card of this name; a 404 Problem for any other."""
    if name not in [card.name for card in usable_cards()]:
        raise Problem(404, "There is no shipped resin card of this name.")
    return load_card(name)


@router.get(
    "/cards/{name}/questions", response_model=Questions, responses=told(ASKED, 401, 404, 422)
)
def card_questions(
    name: Annotated[str, InPath(max_length=60, description="A shipped card's name.")],
) -> Any:
    """What is asked to make a card like this one from a data sheet."""
    card = _like(name)
    asked = [{"key": key, "question": question} for key, question in questions(card.name)]
    return {"questions": asked, "fixed_ratio": not shares_pct(card)}


def _drafted(draft: Draft) -> tuple[dict[str, str], Card | None]:
    """Faults by question, and the card where there are none."""
    like = _like(draft.like).name
    known = {key for key, _ in questions(like)}
    faults: dict[str, str] = {}
    answers: dict[str, str] = {}
    for key, text in draft.answers.items():
        if key not in known:
            raise Problem(422, f"Nothing is asked by the name of '{key[:40]}'.")
        try:
            answers[key] = checked_answer(key, text)
        except BadInput as error:
            faults[key] = str(error)
    for number, row in enumerate(draft.gel_rows):
        try:
            check_gel_row(like, row)
        except BadInput as error:
            faults[f"gel/{number}"] = str(error)
    if faults:
        return faults, None
    try:
        card = assemble(like, answers, draft.gel_rows)
    except BadInput as error:
        return {"card": " ".join(error.sentences)}, None
    if card.name in shipped():
        return {"name": f"'{card.name}' ships with nightcure; give yours another name."}, None
    return {}, card


@router.post(
    "/cards/check",
    response_model=DraftCheck,
    responses=told(CHECKED, 400, 401, 404, 411, 413, 422),
)
def check_card(draft: Draft) -> Any:
    """What the answers make, with every fault at its question. Nothing is kept."""
    faults, card = _drafted(draft)
    if card is None:
        return {"faults": faults, "card": None, "unanswered": []}
    return {"faults": {}, "card": offer(card, True), "unanswered": card.unanswered()}


@router.post(
    "/cards",
    response_model=CardOffer,
    responses=told(EXAMPLE, 400, 401, 403, 404, 409, 411, 413, 422, 503),
)
def save_card(
    services: ServicesOf,
    _: Who,
    draft: Draft,
    replace: Annotated[bool, Query(description="Overwrite an own one of the same name.")] = False,
) -> Any:
    """Make a card and keep it; parts may be laid up with it from now on."""
    faults, card = _drafted(draft)
    if card is None:
        raise Problem(422, " ".join(faults.values()))
    own = services.own_cards()
    if card.name not in own and len(own) >= MOST_OWN:
        raise Problem(409, f"{MOST_OWN} cards are kept, which is the most; remove one first.")
    text = json.dumps(card.model_dump(mode="json"), ensure_ascii=False, allow_nan=False)
    with services.notes() as notes:
        if not notes.save_card(card.name, text, replace):
            raise Problem(409, f"There is a card '{card.name}' already; give this another name.")
    return offer(card, True)


Name = Annotated[str, InPath(max_length=60, description="An own card's name.")]


def _own(services: Services, name: str) -> Card:
    card = services.own_cards().get(name)
    if card is None:
        raise Problem(404, "There is no own card of this name.")
    return card


@router.delete(
    "/cards/{name}",
    response_model=CardOffer,
    responses=told(EXAMPLE, 400, 401, 403, 404, 409, 411, 413, 422, 503),
)
def remove_card(services: ServicesOf, _: Who, name: Name) -> Any:
    """Forget an own card; nights that ran with it keep its figures."""
    card = _own(services, name)
    with services.notes() as notes:
        notes.remove_card(name)
    return offer(card, True)


TOML: dict[int | str, dict[str, Any]] = {
    200: {"description": "Done.", "content": {"application/toml": {"example": "name = 'x'"}}},
    **responses(401, 404, 422, 503),
}


@router.get("/cards/{name}/file", response_class=Response, responses=TOML)
def card_file(services: ServicesOf, name: Name) -> Response:
    """An own card as the file that the commands read."""
    text = toml_text(
        _own(services, name).model_dump(mode="json", exclude_none=True),
        "From a data sheet; made on the oven's page.",
    )
    held = {"Content-Disposition": f'attachment; filename="{name}.toml"'}
    return Response(text, media_type="application/toml", headers=held)
