"""Commands: start, stop, acknowledge, reset. Behind a login; every one is kept in the ledger."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Body, Request
from pydantic import BaseModel, Field

from nightcure.profile import parse_profile

from ..problems import Problem, responses, together
from ..store import Store, StoreOf

router = APIRouter(prefix="/api/commands", tags=["commands"])

PROBLEMS = responses(400, 401, 403, 409, 411, 413, 422, 503, 504)


class Answer(BaseModel):
    """What the controller made of a command."""

    outcome: str = Field(description="`done`; anything else is a problem with status 409.")
    message: str = Field(description="One sentence.")


async def _send(store: Store, word: str, args: dict[str, Any], who: str) -> Answer:
    outcome, message = await store.command(word, args, who)
    if outcome != "done":
        raise Problem(409, message)
    return Answer(outcome=outcome, message=message)


@router.post("/stop", responses=PROBLEMS)
async def stop(store: StoreOf, request: Request) -> Answer:
    """End the night: the heater is off when this answers."""
    return await _send(store, "stop", {}, store.access.require_command(request))


@router.post("/start", responses=PROBLEMS)
async def start(
    store: StoreOf,
    request: Request,
    profile: Annotated[dict[str, Any], Body(embed=True, description="A profile as JSON.")],
) -> Answer:
    """Start a night with a profile."""
    who = store.access.require_command(request)
    checked = parse_profile(profile)
    refusals = checked.refusals(store.settings.limits)
    if refusals:
        raise Problem(422, together(refusals))
    return await _send(store, "start", {"profile": checked.model_dump(mode="json")}, who)


@router.post("/acknowledge", responses=PROBLEMS)
async def acknowledge(
    store: StoreOf,
    request: Request,
    alarm: Annotated[str | None, Body(embed=True, description="Its name; all if null.")] = None,
) -> Answer:
    """A person has seen an alarm."""
    args = {} if alarm is None else {"alarm": alarm}
    return await _send(store, "acknowledge", args, store.access.require_command(request))


@router.post("/reset", responses=PROBLEMS)
async def reset(store: StoreOf, request: Request) -> Answer:
    """Clear a trip whose cause is gone."""
    return await _send(store, "reset", {}, store.access.require_command(request))
