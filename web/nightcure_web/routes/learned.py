"""What nights have taught of the oven, and how often what was foretold held."""

from __future__ import annotations

import math
from typing import Any, Literal

from fastapi import APIRouter
from pydantic import BaseModel, Field

from nightcure.record.known_oven import oven_by_nights
from nightcure.record.score import Z80, score

from ..models import told
from ..services import ServicesOf

router = APIRouter(prefix="/api", tags=["nights"])


class LearnedLoss(BaseModel):
    """The oven's loss as nights have shown it, beside that in oven.toml."""

    nights: int = Field(
        description="How many nights have shown something of it; 0: the figure is oven.toml's."
    )
    loss_w_per_k: list[float] = Field(description="Early, likely and late: 8 of 10 between.")
    stated_loss_w_per_k: float
    jumped: float | None = Field(
        None, description="The last night's loss over what was known before, where it has jumped."
    )


class HeldRange(BaseModel):
    """A range that was foretold, and what came."""

    night_id: int
    what: Literal["loss", "gel"] = Field(
        description="The oven's loss, W/K; or the factor on the card's gel time, by a gel cup."
    )
    name: str = Field(description="Of the batch; empty for the oven.")
    low: float
    high: float
    came: float
    held: bool


class LearnedAndScore(BaseModel):
    """What the next night starts from, and how well the nights before were foretold."""

    oven: LearnedLoss
    held: int = Field(description="So many ranges held what came; 8 of 10 should.")
    foretold: int
    ranges: list[HeldRange] = Field(description="Newest first.")


EXAMPLE: Any = {
    "oven": {"nights": 3, "loss_w_per_k": [4.1, 4.6, 5.1], "stated_loss_w_per_k": 4.0,
             "jumped": None},
    "held": 1, "foretold": 1,
    "ranges": [{"night_id": 3, "what": "loss", "name": "", "low": 3.9, "high": 5.3, "came": 4.7,
                "held": True}],
}  # fmt: skip


@router.get("/learned", response_model=LearnedAndScore, responses=told(EXAMPLE, 401, 503))
def learned(services: ServicesOf) -> Any:
    """What the nights have taught of the oven, and how often the ranges held what came."""
    by_nights = oven_by_nights(services.settings, services.reader)
    oven = by_nights.oven()
    reach = math.exp(Z80 * math.sqrt(oven.log_covariance[0][0]))
    rows = score(services.reader)
    return {
        "oven": {
            "nights": oven.nights,
            "loss_w_per_k": [round(oven.loss_w_per_k * f, 3) for f in (1.0 / reach, 1.0, reach)],
            "stated_loss_w_per_k": services.settings.model.loss_w_per_k,
            "jumped": None if by_nights.jump is None else round(by_nights.jump, 3),
        },
        "held": sum(row.held for row in rows),
        "foretold": len(rows),
        "ranges": [{**row._asdict(), "held": row.held} for row in reversed(rows)],
    }
