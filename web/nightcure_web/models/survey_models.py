"""Surveys: what a heat-and-cool test has told so far."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field


class Interval(BaseModel):
    """A number with its 95 % interval."""

    value: float
    low: float
    high: float


class Found(BaseModel):
    """As `nightcure survey --json` gives it; null where the log cannot say."""

    model_config = ConfigDict(extra="allow")

    loss_w_per_k: Interval | None
    heat_capacity_j_per_k: Interval | None
    heater_power_w: Interval | None
    time_constants_s: list[Interval]
    dead_time_s: Interval
    assumed: list[str]
    unknown: list[str] = Field(description="What the log does not tell, and what would.")


class SurveyNow(BaseModel):
    """The guided test, under way or the last one."""

    running: bool
    night_id: int | None = None
    precision_pct: float | None = Field(None, description="It ends once the loss is known so well.")
    noted_s: float | None = Field(None, description="Of the oven's own time.")
    half_width_pct: float | None = Field(
        None, description="Half of the loss's 95 % interval; null while it is not known."
    )
    sentence: str
    found: Found | None = Field(None, description="Null while the loss is not known.")
    meaning: list[str] = Field([], description="What it comes to, a sentence each.")
    written: bool = Field(False, description="Whether oven.toml has it; from the next start on.")


class Written(BaseModel):
    """Where it was put."""

    sentence: str


SURVEY_NOW = {
    "running": True,
    "night_id": 3,
    "precision_pct": 10.0,
    "noted_s": 3600.0,
    "half_width_pct": 14.2,
    "sentence": "The loss is 3.9 W/K, known within ±14 %.",
    "found": None,
    "meaning": [],
    "written": False,
}
WRITTEN = {"sentence": "oven.toml has it; the old file is oven.toml.bak."}
FOUND = {
    "loss_w_per_k": {"value": 3.9, "low": 3.7, "high": 4.1},
    "heat_capacity_j_per_k": {"value": 28000.0, "low": 26000.0, "high": 30000.0},
    "heater_power_w": {"value": 300.0, "low": 300.0, "high": 300.0},
    "time_constants_s": [{"value": 7200.0, "low": 6900.0, "high": 7500.0}],
    "dead_time_s": {"value": 12.0, "low": 6.0, "high": 20.0},
    "assumed": ["The heater gives 300 W, as stated."],
    "unknown": [],
}
