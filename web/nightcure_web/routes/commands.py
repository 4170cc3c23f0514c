"""Commands to the controller. Behind a login; every one is kept in the ledger with its outcome."""

from __future__ import annotations

import asyncio
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Body, Query
from pydantic import BaseModel, ConfigDict, Field

from nightcure.record.known_oven import known_night

from ..models import told
from ..models.night_models import ASKED, Asked
from ..models.oven_models import SOAK, Answer
from ..problems import Problem, together
from ..profile_input import ProfileBody, profile_from_page
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api/commands", tags=["commands"])

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


def said(message: str) -> Any:
    """OpenAPI entries of a command."""
    example = {"outcome": "done", "message": message}
    return told(example, 400, 401, 403, 409, 411, 413, 422, 503, 504)


class Start(BaseModel):
    """A night to start."""

    model_config = ConfigDict(
        json_schema_extra={"example": {"profile": SOAK, "limit_device_confirmed": True}}
    )

    profile: ProfileBody = Field(description="A profile as JSON.")
    limit_device_confirmed: Annotated[bool, Field(strict=True)] = Field(
        False,
        description="An independent over-temperature cut-out is in the heater's circuit, tested.",
    )
    learned: Annotated[bool, Field(strict=True)] = Field(
        True,
        description="Start from what earlier nights showed of the resins; else from the cards.",
    )


class Extend(BaseModel):
    """A soak made longer or shorter."""

    model_config = ConfigDict(json_schema_extra={"example": {"minutes": 30}})

    minutes: Number = Field(description="Shorter if negative.")


class Setpoint(BaseModel):
    """Another temperature for the present segment."""

    model_config = ConfigDict(json_schema_extra={"example": {"celsius": 40}})

    celsius: Number


class Offset(BaseModel):
    """A thermometer held against something known."""

    model_config = ConfigDict(
        json_schema_extra={"example": {"sensor_id": "28-0000000000a1", "method": "ice-point"}}
    )

    sensor_id: str = Field(max_length=40, description="Its 1-Wire id.")
    method: Literal["ice-point", "reference", "typed"]
    reference_c: Number | None = Field(None, description="What is true; for `reference`.")
    offset_c: Number | None = Field(None, description="Added to readings; for `typed`.")


class Opened(BaseModel):
    """The box is being opened."""

    model_config = ConfigDict(json_schema_extra={"example": {"laying": True}})

    laying: bool = Field(description="To lay wet resin; false: only to look.")


class Shut(BaseModel):
    """The box is shut."""

    model_config = ConfigDict(json_schema_extra={"example": {"aired": True}})

    aired: bool = Field(
        False, description="The person confirms that the wet resin has gelled with the box open."
    )


async def _send(services: Services, who: str, word: str, args: dict[str, Any]) -> Answer:
    outcome, message = await services.command(word, args, who)
    if outcome != "done":
        raise Problem(409, message)
    return Answer(outcome="done", message=message)


@router.get("", responses=told([ASKED], 401, 422, 503), response_model=list[Asked])
def commands(
    services: ServicesOf,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
    offset: Annotated[int, Query(ge=0, le=2**53)] = 0,
) -> Any:
    """What was asked for, by whom, when, and what became of it; newest first."""
    return services.reader.commands(limit, offset)


@router.post("/stop", responses=said("Stopped; the heater is off."))
async def stop(services: ServicesOf, who: Who) -> Answer:
    """End the night: the heater is off when this answers."""
    return await _send(services, who, "stop", {})


@router.post("/start", responses=said("Started 'Warm'."))
async def start(services: ServicesOf, who: Who, asked: Start) -> Answer:
    """Start a night with a profile.

    Refused until the cautions were accepted for this oven, and unless the person has confirmed
    the independent cut-out.
    """
    profile = profile_from_page(asked.profile, await asyncio.to_thread(services.own_cards))
    refusals = profile.refusals(services.settings.limits)
    if refusals:
        raise Problem(422, together(refusals))
    profile = await asyncio.to_thread(
        known_night, profile, services.settings, services.reader, asked.learned
    )
    args = {
        "profile": profile.model_dump(mode="json"),
        "limit_device_confirmed": asked.limit_device_confirmed,
        "cautions_accepted": await asyncio.to_thread(lambda: services.cautions_accepted),
    }
    return await _send(services, who, "start", args)


@router.post("/skip", responses=said("Left segment 1 (ramp)."))
async def skip(services: ServicesOf, who: Who) -> Answer:
    """Leave the present segment for the next; after the last the night is done."""
    return await _send(services, who, "skip", {})


@router.post("/extend", responses=said("The soak now lasts 9 h 30 min."))
async def extend(services: ServicesOf, who: Who, asked: Extend) -> Answer:
    """Make the present soak longer, or shorter, within the longest night the oven allows."""
    return await _send(services, who, "extend", asked.model_dump())


@router.post("/setpoint", responses=said("The soak now goes to 40.0 °C."))
async def setpoint(services: ServicesOf, who: Who, asked: Setpoint) -> Answer:
    """Give the present soak, or the present ramp's end, another temperature.

    A soak that holds its ramp's end goes along with it; any other keeps its own.
    The oven's limits, and those of the parts' resins, hold as for a profile.
    """
    return await _send(services, who, "setpoint", asked.model_dump())


@router.post("/open", responses=said("The heater is off; the night goes on by itself ..."))
async def open_box(services: ServicesOf, who: Who, asked: Opened) -> Answer:
    """Say that the box is being opened: the heater is off, the night waits.

    After a look the night goes on by itself once the air shows that the box is shut. After wet
    resin was laid the heat stays off until `shut` confirms that it has gelled with the box open.
    """
    return await _send(services, who, "open", asked.model_dump())


@router.post("/shut", responses=said("The night goes on."))
async def shut_box(services: ServicesOf, who: Who, asked: Shut) -> Answer:
    """Say that the box is shut, and whether wet resin laid in it has gelled with the box open.

    Refused while wet resin has not gelled, unless the profile's declared ducted air
    keeps its vapour below the limit.
    """
    return await _send(services, who, "shut", asked.model_dump())


@router.post("/offset", responses=said("Air is corrected by -0.12 K from now on."))
async def offset(services: ServicesOf, who: Who, asked: Offset) -> Answer:
    """Correct a thermometer, while no night runs: from now on, and after every restart.

    `ice-point` and `reference` compare what it has steadily shown; `typed` takes `offset_c`.
    """
    return await _send(services, who, "offset", asked.model_dump(exclude_none=True))


@router.post("/acknowledge", responses=said("Acknowledged."))
async def acknowledge(
    services: ServicesOf,
    who: Who,
    alarm: Annotated[
        str | None,
        Body(embed=True, max_length=80, description="Its name; all if null.", examples=["late"]),
    ] = None,
) -> Answer:
    """A person has seen an alarm."""
    return await _send(services, who, "acknowledge", {} if alarm is None else {"alarm": alarm})


@router.post(
    "/silence", responses=said("The siren is silent; its alarms still want to be acknowledged.")
)
async def silence(services: ServicesOf, who: Who) -> Answer:
    """Silence the siren until something new happens. Nothing is acknowledged or reset by it."""
    return await _send(services, who, "silence", {})


@router.post("/reset", responses=said("Reset; the oven may be started again."))
async def reset(services: ServicesOf, who: Who) -> Answer:
    """Clear a trip whose cause is gone."""
    return await _send(services, who, "reset", {})
