"""Surveys: a guided heat-and-cool test of the oven, and what any recorded night tells of it."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from pydantic import BaseModel, ConfigDict, Field

from ..models import told
from ..models.survey_models import FOUND, SURVEY_NOW, WRITTEN, Found, SurveyNow, Written
from ..problems import Problem
from ..services import ServicesOf, Who
from ..survey_job import SurveyJob
from .nights import NightId

router = APIRouter(prefix="/api", tags=["survey"])


async def _the_surveying(request: Request) -> SurveyJob:
    found: SurveyJob = request.app.state.surveying
    return found


Survey = Annotated[SurveyJob, Depends(_the_surveying)]


class SurveyTest(BaseModel):
    """A test to run."""

    model_config = ConfigDict(
        json_schema_extra={"example": {"precision_pct": 10, "limit_device_confirmed": True}}
    )

    precision_pct: Annotated[float, Field(ge=1, le=50, strict=True, allow_inf_nan=False)] = Field(
        10.0,
        description="It ends once half of the loss's 95 % interval is within so many %.",
    )
    limit_device_confirmed: Annotated[bool, Field(strict=True)] = Field(
        False,
        description="An independent over-temperature cut-out is in the heater's circuit, tested.",
    )


@router.get("/survey", responses=told(SURVEY_NOW, 401), response_model=SurveyNow)
def survey_now(surveying: Survey) -> Any:
    """The guided test under way, or what the last one found."""
    return surveying.now


@router.post(
    "/survey",
    responses=told(SURVEY_NOW, 400, 401, 403, 409, 411, 413, 422, 503, 504),
    response_model=SurveyNow,
)
async def start_survey(services: ServicesOf, surveying: Survey, who: Who, asked: SurveyTest) -> Any:
    """Heat and cool the oven until its loss is known: a night like any other, ended early.

    Every interlock stays active; stop it as any night. Stay with the oven.
    """
    confirmed = {
        "limit_device_confirmed": asked.limit_device_confirmed,
        "cautions_accepted": await asyncio.to_thread(lambda: services.cautions_accepted),
    }
    return await surveying.start(asked.precision_pct, who, confirmed)


@router.get(
    "/nights/{night_id}/survey",
    responses=told(FOUND, 401, 403, 404, 409, 422, 503),
    response_model=Found,
)
async def survey_of_night(
    services: ServicesOf, surveying: Survey, _: Who, night_id: NightId
) -> dict[str, Any]:
    """What a recorded night tells of the oven; seconds of hard work, so it needs a login."""
    if await asyncio.to_thread(services.reader.night, night_id) is None:
        raise Problem(404, f"There is no night {night_id}.")
    return await surveying.of_night(night_id)


@router.post(
    "/nights/{night_id}/survey/write",
    responses=told(WRITTEN, 400, 401, 403, 404, 409, 411, 413, 422, 503),
    response_model=Written,
)
async def write_survey(
    services: ServicesOf, surveying: Survey, _: Who, night_id: NightId
) -> dict[str, Any]:
    """Put what a night tells of the oven into oven.toml, [model] and [regulator]; the old file is
    kept. It counts from the next start of controller and page."""
    if await asyncio.to_thread(services.reader.night, night_id) is None:
        raise Problem(404, f"There is no night {night_id}.")
    return {"sentence": await surveying.write(night_id)}
