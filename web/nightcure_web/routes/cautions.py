"""The cautions, and that somebody has read them."""

from __future__ import annotations

import time
from typing import Any

from fastapi import APIRouter

from nightcure.settings.cautions import ACCEPTED_AS, CAUTIONS

from ..models import told
from ..models.oven_models import CAUTIONS as EXAMPLE
from ..models.oven_models import Cautions
from ..services import Services, ServicesOf, Who

router = APIRouter(prefix="/api", tags=["cautions"])


def _cautions(services: Services) -> dict[str, Any]:
    return {
        "cautions": [caution._asdict() for caution in CAUTIONS],
        "accepted": services.reader.accepted(ACCEPTED_AS),
    }


@router.get("/cautions", response_model=Cautions, responses=told(EXAMPLE, 401, 503))
def cautions(services: ServicesOf) -> Any:
    """What a person must have read before this oven is heated, and who has accepted it."""
    return _cautions(services)


@router.post(
    "/cautions/accept",
    response_model=Cautions,
    responses=told(EXAMPLE, 400, 401, 403, 411, 413, 503),
)
def accept(services: ServicesOf, who: Who) -> Any:
    """Accept the cautions for this oven, once; until then no night starts from the page."""
    with services.notes() as notes:
        notes.accept(ACCEPTED_AS, who, time.time())
    return _cautions(services)
