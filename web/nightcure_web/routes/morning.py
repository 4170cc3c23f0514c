"""The morning: the verdict, what may be done next, what the parts feel like, and a photo."""

from __future__ import annotations

import asyncio
import time
from importlib.util import find_spec
from typing import Annotated, Any, Literal

from fastapi import APIRouter, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from nightcure.errors import BadInput
from nightcure.ledger.photo import FIELD, keep_photo, photo_of, remove_photo
from nightcure.record.batches import ACETONE, BARCOL, TOUCH
from nightcure.report.facts import gather
from nightcure.report.next_steps import next_steps
from nightcure.report.verdict import verdict

from ..models import told
from ..problems import Problem, responses
from ..services import InTurn, Services, ServicesOf, Who
from .nights import WRITES, NightId

router = APIRouter(prefix="/api", tags=["nights"])


class Next(BaseModel):
    """One part in the morning."""

    part: str
    sentence: str = Field(description="What may be done with it next.")
    foretold: str = Field(description="How far it came, and by what that is known.")
    found: str = Field(description="What it felt like; empty until somebody said so.")


class Morning(BaseModel):
    """What a person asks in the morning."""

    verdict: str
    tone: Literal["good", "fair", "bad"]
    parts: list[Next]
    photo: str = Field(description="Its SHA-256; empty where there is none.")
    pdf: bool = Field(description="Whether the record can be had as a PDF.")


MORNING: Any = {
    "verdict": "Done: 'Warm' ran 9 h 40 min; Lid: hard enough to leave its mould.",
    "tone": "good",
    "parts": [
        {
            "part": "Lid",
            "sentence": "Touch it, then take it out of its mould.",
            "foretold": "hard enough to leave its mould, by its card",
            "found": "hard",
        }
    ],
    "photo": "",
    "pdf": True,
}


class Touched(BaseModel):
    """What a part feels like."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"example": {"felt": "hard"}})

    felt: Literal["tacky", "leathery", "hard"]
    barcol: Annotated[float, Field(strict=True, ge=0, le=100)] | None = Field(
        None, description="Barcol hardness, where somebody has measured it."
    )
    acetone: Literal["clean", "softens"] | None = Field(
        None,
        description="After ten double rubs with a cloth wet with acetone: nothing came off, or "
        "face or cloth turned tacky.",
    )


def _morning(services: Services, night_id: int) -> dict[str, Any]:
    try:
        facts = gather(services.reader, night_id)
    except BadInput as error:
        raise Problem(404, str(error)) from None
    said, tone = verdict(facts)
    return {
        "verdict": said,
        "tone": tone,
        "parts": [step._asdict() for step in next_steps(facts)],
        "photo": facts.notes[FIELD] if facts.photo is not None else "",
        "pdf": find_spec("reportlab") is not None,
    }


def _profile(services: Services, night_id: int) -> dict[str, Any]:
    night = services.reader.night(night_id)
    if night is None:
        raise Problem(404, f"There is no night {night_id}.")
    found: dict[str, Any] = services.reader.parsed(night.profile)
    return found


@router.get(
    "/nights/{night_id}/morning",
    response_model=Morning,
    responses=told(MORNING, 401, 404, 422, 503),
    dependencies=[InTurn],
)
def morning(services: ServicesOf, night_id: NightId) -> Any:
    """The verdict, and what may be done next with each part."""
    return _morning(services, night_id)


@router.put(
    "/nights/{night_id}/touch/{number}",
    response_model=Morning,
    responses=told(MORNING, *WRITES),
    dependencies=[InTurn],
)
def touch(services: ServicesOf, who: Who, night_id: NightId, number: int, asked: Touched) -> Any:
    """Say what a part feels like; `number` is its place in the profile, from 1."""
    parts = _profile(services, night_id).get("parts") or []
    if not 1 <= number <= len(parts):
        raise Problem(404, f"Night {night_id} has {len(parts)} parts; there is no part {number}.")
    noted: dict[str, str] = {TOUCH.format(number): asked.felt}
    if asked.barcol is not None:
        noted[BARCOL.format(number)] = f"{asked.barcol:g}"
    if asked.acetone is not None:
        noted[ACETONE.format(number)] = asked.acetone
    with services.notes() as notes:
        notes.note(night_id, noted, who, time.time())
    return _morning(services, night_id)


JPEG: dict[int | str, dict[str, Any]] = {
    200: {"description": "Done.", "content": {"image/jpeg": {"example": "\u00ff\u00d8"}}},
    **responses(401, 404, 422, 503),
}


@router.get("/nights/{night_id}/photo", response_class=Response, responses=JPEG)
def photo(services: ServicesOf, night_id: NightId) -> Response:
    """The night's photo."""
    _profile(services, night_id)
    data = photo_of(services.settings.ledger, services.reader.noted(night_id).get(FIELD))
    if data is None:
        raise Problem(404, f"Night {night_id} has no photo.")
    return Response(data, media_type="image/jpeg", headers={"Cache-Control": "no-store"})


@router.put(
    "/nights/{night_id}/photo",
    response_model=Morning,
    responses=told(MORNING, *WRITES),
    openapi_extra={
        "requestBody": {
            "required": True,
            "content": {
                "image/jpeg": {
                    "schema": {"type": "string", "format": "binary", "example": "\u00ff\u00d8"}
                }
            },
        }
    },
    dependencies=[InTurn],
)
async def put_photo(services: ServicesOf, who: Who, night_id: NightId, request: Request) -> Any:
    """Keep a photo of the part with the night, a JPEG of 1 MB at most; the one before is gone."""
    data = await request.body()

    def keep() -> dict[str, Any]:
        _profile(services, night_id)
        ledger = services.settings.ledger
        before = services.reader.noted(night_id).get(FIELD)
        sha256 = keep_photo(ledger, data)
        with services.notes() as notes:
            notes.note(night_id, {FIELD: sha256}, who, time.time())
        if before != sha256:
            remove_photo(ledger, before)
        return _morning(services, night_id)

    return await asyncio.to_thread(keep)
