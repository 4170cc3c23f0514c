"""What was seen of batches of resin, night by night; and that a batch is a new one."""

from __future__ import annotations

import math
import time
from typing import Annotated, Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, ConfigDict, Field

from nightcure.ledger.rows import EvidenceRow

from ..models import told
from ..problems import Problem
from ..services import ServicesOf, Who
from .nights import WRITES

router = APIRouter(prefix="/api", tags=["nights"])


class SeenOfBatch(BaseModel):
    """One observation."""

    kind: Literal["cup", "heat", "end", "new"] = Field(
        description="A gel cup; a part's own heat; how far a part came; said to be a new batch."
    )
    wall_s: float
    night_id: int | None = None
    gel_factor: list[float] | None = Field(
        None, description="On the card's gel time: likely, and by what factor it may be off (1 sd)."
    )
    cure_factor: list[float] | None = Field(
        None, description="On its time from the gel to hard; alike."
    )


class BatchSeen(BaseModel):
    """A batch, and all that was seen of it, oldest first."""

    batch: str
    card: str
    seen: list[SeenOfBatch]


BATCHES: Any = [
    {
        "batch": "PL 2231",
        "card": "polyester-laminating",
        "seen": [
            {"kind": "cup", "wall_s": 1764104400.2, "night_id": None,
             "gel_factor": [1.31, 1.15], "cure_factor": None}
        ],
    }
]  # fmt: skip


class NewBatch(BaseModel):
    """A batch is a new one, whatever it is called."""

    model_config = ConfigDict(extra="forbid", json_schema_extra={"example": {"batch": "PL 2231"}})

    batch: Annotated[str, Field(min_length=1, max_length=60)]


@router.get("/batches", response_model=list[BatchSeen], responses=told(BATCHES, 401, 503))
def batches(services: ServicesOf) -> Any:
    """Batches of resin of which something was seen; the next night starts from it."""
    return _batches(services.reader.evidence())


@router.post("/batches/new", response_model=list[BatchSeen], responses=told(BATCHES, *WRITES))
def new_batch(services: ServicesOf, who: Who, asked: NewBatch) -> Any:
    """Say that a batch is a new one: only what was learned of the resin itself is kept.

    A batch with a name of its own is new without being said to be.
    """
    rows = services.reader.evidence()
    if asked.batch not in {row.batch for row in rows}:
        known = ", ".join(sorted({row.batch for row in rows})) or "none"
        raise Problem(404, f"Nothing was seen of a batch {asked.batch!r}; there is: {known}.")
    live = services.reader.live() or {}
    row = EvidenceRow(asked.batch, "new", {"who": who}, None, live.get("wall_s", time.time()))
    with services.notes() as notes:
        notes.evidence(row)
    return _batches([*rows, row])


def _batches(rows: list[EvidenceRow]) -> list[dict[str, Any]]:
    found: dict[str, dict[str, Any]] = {}
    for row in rows:
        if not row.batch:  # of a mould, or of the oven
            continue
        one = found.setdefault(row.batch, {"batch": row.batch, "card": "", "seen": []})
        one["card"] = row.found.get("card") or one["card"]
        one["seen"].append(
            {
                "kind": row.kind,
                "wall_s": row.wall_s,
                "night_id": row.night_id,
                "gel_factor": _factor(row.found.get("gel")),
                "cure_factor": _factor(row.found.get("cure")),
            }
        )
    return list(found.values())


def _factor(seen: list[float] | None) -> list[float] | None:
    return None if seen is None else [round(math.exp(v), 3) for v in seen]
