"""Nights: the list, one of them, its samples, its events, its label and what was noted."""

from __future__ import annotations

import time
from typing import Annotated, Any

from fastapi import APIRouter, Path, Query
from pydantic import BaseModel, ConfigDict, Field

from nightcure.ledger.notes import LONGEST_LABEL, LONGEST_NOTE

from ..models import AskedBy, told
from ..models.night_models import (
    HAPPENING,
    NIGHT,
    SAMPLES,
    SUMMARY,
    Happening,
    Night,
    NightSummary,
    Samples,
)
from ..problems import Problem
from ..services import InTurn, Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["nights"])

NightId = Annotated[int, Path(ge=1, le=2**53, description="A night's number.")]
#: JSON Schema's view (ECMA 262) of `ledger.notes`.
LABEL_PATTERN = r"^(?!\s*(\d+|last)\s*$)[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$"
NOTE_PATTERN = r"^[^\x00-\x08\x0b-\x1f\x7f-\x9f\u2028\u2029]*$"
WRITES = (400, 401, 403, 404, 411, 413, 422, 503)


# What a label and a note may be is `ledger.notes`' to decide; the schema says what can be said.
LabelText = Annotated[
    str,
    Field(
        description="One line; '' takes it away. Neither a number nor 'last': nights are called so "
        "without a label.",
        json_schema_extra={"maxLength": LONGEST_LABEL, "pattern": LABEL_PATTERN},
    ),
]
Note = Annotated[str, Field(json_schema_extra={"maxLength": LONGEST_NOTE, "pattern": NOTE_PATTERN})]


class Label(BaseModel):
    """A night's name."""

    model_config = ConfigDict(json_schema_extra={"example": {"label": "Hatch lid 3"}})

    label: LabelText


class Notes(BaseModel):
    """What a person noted about a night; empty where nothing was."""

    model_config = ConfigDict(
        extra="forbid",
        json_schema_extra={"example": {"mould_number": "M-3", "catalyst_weighed_g": "16.2"}},
    )

    mould_number: Note = ""
    part_number: Note = ""
    made_by: Note = ""
    resin_batch: Note = ""
    catalyst_weighed_g: Note = ""
    remarks: Note = ""


class Written(BaseModel):
    """Who wrote the latest note, and when by the machine's clock."""

    who: AskedBy
    host_s: float


class Noted(Notes):
    """What was noted, and who wrote last."""

    last: Written | None = Field(description="null where nothing was noted.")


NOTED = {
    "mould_number": "M-3",
    "catalyst_weighed_g": "16.2",
    "remarks": "",
    "last": {"who": "on the page, from another device (192.168.1.20)", "host_s": 1764144600.0},
}


def _night(services: Services, night_id: int) -> Any:
    night = services.reader.night(night_id)
    if night is None:
        raise Problem(404, f"There is no night {night_id}.")
    return night


def _shown(services: Services, night_id: int) -> dict[str, Any]:
    row = _night(services, night_id)
    parsed = services.reader.parsed
    settings = parsed(row.settings)
    return {
        "id": row.id,
        "label": row.label,
        "oven": row.oven,
        "version": row.version,
        "profile": parsed(row.profile),
        "thermometers": settings["thermometers"],
        "power_w": settings["heater"]["power_w"],
        "started_s": row.started_s,
        "ended_s": row.ended_s,
        "outcome": row.outcome,
        "reason": row.reason,
    }


def _notes(services: Services, night_id: int) -> dict[str, Any]:
    kept = services.reader.noted(night_id)
    written = services.reader.notes(night_id).values()
    last = max(written, key=lambda note: note["host_s"], default=None)
    return {**{field: kept.get(field, "") for field in Notes.model_fields}, "last": last}


@router.get("/nights", response_model=list[NightSummary], responses=told([SUMMARY], 401, 422, 503))
def nights(
    services: ServicesOf,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
    offset: Annotated[int, Query(ge=0, le=2**53)] = 0,
    search: Annotated[
        str | None,
        Query(max_length=80, description="In label, profile's name, reason and notes."),
    ] = None,
) -> Any:
    """Nights, newest first."""
    return services.reader.nights(limit, offset, search)


@router.get("/nights/{night_id}", response_model=Night, responses=told(NIGHT, 401, 404, 422, 503))
def night(services: ServicesOf, night_id: NightId) -> Any:
    """One night: its profile, the settings it ran with, how it ended, its thermometers."""
    return _shown(services, night_id)


@router.patch("/nights/{night_id}", response_model=Night, responses=told(NIGHT, *WRITES))
def label(services: ServicesOf, _: Who, night_id: NightId, asked: Label) -> Any:
    """Give a night a label of your own, 80 characters at most."""
    _night(services, night_id)
    with services.notes() as notes:
        notes.label(night_id, asked.label)
    return _shown(services, night_id)


@router.get(
    "/nights/{night_id}/notes",
    response_model=Noted,
    responses=told(NOTED, 401, 404, 422, 503),
)
def notes(services: ServicesOf, night_id: NightId) -> Any:
    """What a person noted about a night, and who wrote last."""
    _night(services, night_id)
    return _notes(services, night_id)


@router.put(
    "/nights/{night_id}/notes",
    response_model=Noted,
    responses=told(NOTED, *WRITES),
)
def note(services: ServicesOf, who: Who, night_id: NightId, asked: Notes) -> Any:
    """Note something about a night: the fields that are sent; an empty one forgets it."""
    _night(services, night_id)
    with services.notes() as notes:
        notes.note(night_id, asked.model_dump(exclude_unset=True), who, time.time())
    return _notes(services, night_id)


@router.get(
    "/nights/{night_id}/samples",
    response_model=Samples,
    responses=told(SAMPLES, 401, 404, 422, 503),
    dependencies=[InTurn],
)
def samples(
    services: ServicesOf,
    night_id: NightId,
    points: Annotated[int, Query(ge=10, le=5000, description="About so many.")] = 600,
    after_seq: Annotated[
        int | None, Query(ge=-1, le=2**53, description="Only ticks after this one.")
    ] = None,
) -> Any:
    """A night's series in columns, thinned without losing any series' peaks."""
    _night(services, night_id)
    return services.reader.samples(night_id, points, after_seq)


@router.get("/events", response_model=list[Happening], responses=told([HAPPENING], 401, 422, 503))
def events(
    services: ServicesOf,
    night_id: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    after_id: Annotated[int, Query(ge=0, le=2**53)] = 0,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> Any:
    """What happened, oldest first."""
    return services.reader.events(night_id, after_id, limit)
