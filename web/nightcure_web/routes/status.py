"""What is true now, and whether the page can know it."""

from __future__ import annotations

import time
from typing import Any

from fastapi import APIRouter

from ..models import told
from ..models.status_models import STATUS, Health, Status
from ..services import ServicesOf

router = APIRouter(prefix="/api", tags=["now"])


@router.get(
    "/status",
    response_model=Status,
    response_model_exclude_unset=True,
    responses=told(STATUS, 401, 503),
)
def status(services: ServicesOf) -> Any:
    """The live state as the controller wrote it last.

    `host_s` is when that was and `now_s` when this was answered, both by the machine's own clock;
    `wall_s` is the oven's clock, which runs fast in a demo. Temperatures in °C.
    """
    state = services.reader.live()
    return {"phase": None} if state is None else {**state, "now_s": time.time()}


@router.get(
    "/health",
    response_model=Health,
    responses=told({"ok": True, "controller_age_s": 0.8}, 503),
)
def health(services: ServicesOf) -> Any:
    """Whether this server answers, and how old (s) the controller's last word is."""
    age_s = None
    if services.settings.ledger.exists():
        state = services.reader.live()
        if state is not None:
            age_s = round(time.time() - state["host_s"], 3)
    return {"ok": True, "controller_age_s": age_s}
