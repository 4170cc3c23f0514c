"""Will it do tonight? A profile, its parts and the shed, run through hundreds of nights."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field

from nightcure.cure.clock_figures import Milestone
from nightcure.oven.ambient import COLDEST_C, WARMEST_C
from nightcure.profile import Profile
from nightcure.record.batches import learned_parts
from nightcure.record.known_oven import known_oven

from ..models import told
from ..models.oven_models import SOAK
from ..models.plan_models import ADVICE, PLAN, Advice, Plan
from ..plan_job import PlanJob
from ..problems import Problem
from ..profile_input import ProfileBody, profile_from_page, without_files
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["plan"])

DAY_S = 86400.0
#: A shed falls by so much in a night where nobody says more, K.
USUAL_FALL_K = 7.0

TimeOfDay = Annotated[str, Field(pattern=r"^([01]?[0-9]|2[0-3]):[0-5][0-9]$")]
Shed = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=COLDEST_C, le=WARMEST_C)]
LID: Any = {"name": "Lid", "card": "polyester-laminating", "catalyst_pct": 2, "resin_kg": 0.8}


class TonightAsked(BaseModel):
    """A night to be judged. Times are of the wall clock, h:mm; each is the next after the start."""

    model_config = ConfigDict(
        json_schema_extra={
            "example": {"profile": {**SOAK, "parts": [LID]}, "lowest_c": 2, "evening_c": 9}
        }
    )

    profile: ProfileBody = Field(description="A profile as JSON, with parts on resin cards.")
    goal: Milestone = Field("demould", description="What must be reached.")
    start: TimeOfDay = Field("20:00", description="When the oven starts.")
    by: TimeOfDay = Field("8:00", description="The deadline.")
    lowest_c: Shed = Field(description="The shed's lowest.")
    lowest_at: TimeOfDay = Field("6:00", description="When it is lowest.")
    evening_c: Shed | None = Field(
        None, description="The shed at the start; 7 K above its lowest if null."
    )
    nights: Annotated[int, Field(ge=50, le=500, strict=True)] = Field(
        200, description="How many to draw."
    )


async def _the_planning(request: Request) -> PlanJob:
    found: PlanJob = request.app.state.planning
    return found


@router.post(
    "/plan",
    response_model=Plan,
    responses=told(PLAN, 400, 401, 403, 411, 413, 422, 429, 501, 503),
)
async def plan(
    services: ServicesOf,
    planning: Annotated[PlanJob, Depends(_the_planning)],
    _: Who,
    asked: TonightAsked,
) -> Any:
    """Whether a night will do, how surely, and what would make it surer.

    Hundreds of nights are drawn, each with its own loss, heater, shed, resin, weighing and
    thermometers within what is known of them, and run through regulator and cure clock: seconds of
    hard work, so it needs a login; one at a time and thirty an hour. Nothing is kept. What earlier
    nights, or a gel cup of the batch, showed of a resin takes the place of its card's bands, and
    what they showed of the oven that of oven.toml.
    """
    return await _asked_of(services, planning, asked)


@router.post(
    "/plan/advice",
    response_model=Advice,
    responses=told(ADVICE, 400, 401, 403, 411, 413, 422, 429, 501, 503),
)
async def advice(
    services: ServicesOf,
    planning: Annotated[PlanJob, Depends(_the_planning)],
    _: Who,
    asked: TonightAsked,
) -> Any:
    """The profiles of least stress, of least energy and the earliest for these parts tonight.

    Of the profile that is sent only parts and box count. It takes ten times as long as a plan.
    """
    return await _asked_of(services, planning, asked, advise=True)


async def _asked_of(
    services: Services, planning: PlanJob, asked: TonightAsked, advise: bool = False
) -> Any:
    own = await asyncio.to_thread(services.own_cards)
    profile = profile_from_page(asked.profile, own)
    if services.settings.ledger.exists():
        profile = await asyncio.to_thread(_known, services, profile)
    profile = without_files(profile)
    if not profile.parts:
        raise Problem(422, "No part has a resin card, so nothing cures; give the profile parts.")
    start_s = _of_day(asked.start)
    deadline_s = (_of_day(asked.by) - start_s) % DAY_S
    if deadline_s == 0.0:
        raise Problem(422, f"The deadline {asked.by} is the start; it should be later.")
    evening_c = asked.lowest_c + USUAL_FALL_K if asked.evening_c is None else asked.evening_c
    if evening_c < asked.lowest_c:
        raise Problem(
            422,
            f"The shed begins at {evening_c:g} °C and its lowest is {asked.lowest_c:g} °C; "
            f"the lowest should not be above the start.",
        )
    return await planning.plan(
        profile,
        {
            "goal": asked.goal,
            "start_s": start_s,
            "deadline_s": deadline_s,
            "lowest_c": asked.lowest_c,
            "lowest_s": (_of_day(asked.lowest_at) - start_s) % DAY_S,
            "evening_c": evening_c,
            "nights": asked.nights,
            "advise": advise,
        },
    )


def _known(services: Services, profile: Profile) -> Profile:
    """The profile with what earlier nights have shown of resins and oven."""
    parts = learned_parts(profile.parts, services.reader)
    oven = known_oven(services.settings, services.reader)
    return profile.model_copy(update={"parts": parts, "oven": oven})


def _of_day(text: str) -> float:
    """Seconds after midnight."""
    hours, minutes = text.split(":")
    return 3600.0 * int(hours) + 60.0 * int(minutes)
