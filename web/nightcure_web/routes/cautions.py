"""The cautions, and that somebody has read them."""

from __future__ import annotations

import time
from typing import Any

from fastapi import APIRouter

from nightcure.cautions import CAUTIONS

from ..models import told
from ..models.oven_models import CAUTIONS as EXAMPLE
from ..models.oven_models import Cautions
from ..request_context import CAUTIONS as WHAT
from ..request_context import Store, StoreOf, Who

router = APIRouter(prefix="/api", tags=["cautions"])


def _cautions(store: Store) -> dict[str, Any]:
    return {
        "cautions": [caution._asdict() for caution in CAUTIONS],
        "accepted": store.reader.accepted(WHAT),
    }


@router.get("/cautions", response_model=Cautions, responses=told(EXAMPLE, 401, 503))
def cautions(store: StoreOf) -> Any:
    """What a person must have read before this oven is heated, and who has accepted it."""
    return _cautions(store)


@router.post(
    "/cautions/accept",
    response_model=Cautions,
    responses=told(EXAMPLE, 400, 401, 403, 411, 413, 503),
)
def accept(store: StoreOf, who: Who) -> Any:
    """Accept the cautions for this oven, once; until then no night starts from the page."""
    with store.desk() as desk:
        desk.accept(WHAT, who, time.time())
    return _cautions(store)
