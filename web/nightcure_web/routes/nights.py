"""Nights: the list, one of them, its samples, its events."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Path, Query

from ..problems import Problem, responses
from ..store import Store, StoreOf

router = APIRouter(prefix="/api", tags=["nights"])

NightId = Annotated[int, Path(ge=1, le=2**53, description="A night's number.")]


def _night(store: Store, night_id: int) -> Any:
    night = store.reader.night(night_id)
    if night is None:
        raise Problem(404, f"There is no night {night_id}.")
    return night


@router.get("/nights", responses=responses(422, 503))
def nights(
    store: StoreOf,
    limit: Annotated[int, Query(ge=1, le=500)] = 50,
    offset: Annotated[int, Query(ge=0, le=2**53)] = 0,
) -> list[dict[str, Any]]:
    """Nights, newest first."""
    return store.reader.nights(limit, offset)


@router.get("/nights/{night_id}", responses=responses(404, 422, 503))
def night(store: StoreOf, night_id: NightId) -> dict[str, Any]:
    """One night: its profile, the settings it ran with, how it ended, its thermometers."""
    row = _night(store, night_id)
    parsed = store.reader.parsed
    settings = parsed(row.settings)
    return {
        "id": row.id,
        "label": row.label,
        "oven": row.oven,
        "version": row.version,
        "profile": parsed(row.profile),
        "thermometers": settings["thermometers"],
        "started_s": row.started_s,
        "ended_s": row.ended_s,
        "outcome": row.outcome,
        "reason": row.reason,
    }


@router.get("/nights/{night_id}/samples", responses=responses(404, 422, 503))
def samples(
    store: StoreOf,
    night_id: NightId,
    points: Annotated[int, Query(ge=10, le=5000, description="About so many.")] = 600,
    after_seq: Annotated[
        int | None, Query(ge=-1, le=2**53, description="Only ticks after this one.")
    ] = None,
) -> dict[str, list[Any]]:
    """A night's series in columns, thinned without losing any series' peaks."""
    _night(store, night_id)
    return store.reader.samples(night_id, points, after_seq)


@router.get("/events", responses=responses(422, 503))
def events(
    store: StoreOf,
    night_id: Annotated[int | None, Query(ge=1, le=2**53)] = None,
    after_id: Annotated[int, Query(ge=0, le=2**53)] = 0,
    limit: Annotated[int, Query(ge=1, le=1000)] = 200,
) -> list[dict[str, Any]]:
    """What happened, oldest first."""
    return store.reader.events(night_id, after_id, limit)
