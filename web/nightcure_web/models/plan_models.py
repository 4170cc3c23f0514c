"""Tonight's plan: whether the night will do, in words, times and curves."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

from nightcure.cure.clock_figures import Milestone


class Spread(BaseModel):
    """What one night in ten stays below, the middle, and what nine in ten stay below."""

    p10: float
    p50: float
    p90: float


class Coming(BaseModel):
    """When a part comes to a milestone, s after the start; null: not within the nights."""

    part: str
    name: Milestone
    p10_s: float | None
    p50_s: float | None
    p90_s: float | None


class Improvement(BaseModel):
    """One change, and what it does to the odds in the same nights."""

    what: str
    probability: float
    probability_gain: float


class Curve(BaseModel):
    """A temperature over the nights, °C: a value for each time."""

    name: str = Field(description="A part's, or `air`, or `shed`.")
    p10_c: list[float]
    p50_c: list[float]
    p90_c: list[float]


class Curves(BaseModel):
    """What the nights look like, thinned."""

    time_s: list[float] = Field(description="After the start.")
    lines: list[Curve]


class TooMuch(BaseModel):
    """More resin at once than the parts bear: it overheats."""

    parts: list[str]
    resin_kg: list[float] = Field(description="As planned, in each of them.")
    would_do_kg: list[float] = Field(description="As much at a time as passes no limit.")
    probability: float = Field(description="Share of the nights in which a limit is passed.")


class Plan(BaseModel):
    """Whether the night will do; hundreds of nights were drawn and run."""

    answer: str = Field(
        description="In one sentence, with the odds should the resin be a slow maker's, where a "
        "card is generic."
    )
    weak_point: str = Field(description="What spoils it, else what it hangs on most.")
    probability: float = Field(
        description="Share of the nights that reach the goal in time; on a generic card whoever "
        "made the resin."
    )
    probability_if_like_its_kind: float | None = Field(
        description="Should a resin on a generic card be as the card has it; null where none is."
    )
    probability_if_slow_maker: float | None = Field(
        description="Should it be a slow maker's; null likewise."
    )
    probability_if_quick_maker: float | None = Field(
        description="Should it be a quick maker's; null likewise."
    )
    too_much_at_once: TooMuch | None
    standard_error: float = Field(description="Of the probability, from the number of nights.")
    goal: Milestone
    deadline_s: float = Field(description="After the start.")
    energy_kwh: Spread
    cost: Spread | None = Field(description="Of the energy, where the oven has a price of it.")
    currency: str | None
    milestones: list[Coming]
    warnings: list[str]
    levers: list[Improvement] = Field(description="The strongest first.")
    nights: int
    curves: Curves


class Advised(BaseModel):
    """One profile that was searched for."""

    kind: Literal["least stress", "least energy", "earliest"]
    sure: bool = Field(description="Whether it meets the goal in 97 nights of 100.")
    course: str = Field(description="In words.")
    profile: dict[str, Any]
    plan: Plan


class Advice(BaseModel):
    """Three profiles for the same parts in the same night; all alike where none is sure."""

    advice: list[Advised]


PLAN: Any = {
    "answer": "Probably: with 32 °C for 7 h 00 min at most every part is hard by 08:00 in 89 of "
    "100 nights: 97 if your resin is like its kind, 72 if it is slow; a gel cup settles it. "
    "Usually at 22:40; uses 0.2 kWh (0.07 EUR).",
    "weak_point": "The weak point is whose resin it is (a gel cup settles it).",
    "probability": 0.89,
    "probability_if_like_its_kind": 0.97,
    "probability_if_slow_maker": 0.72,
    "probability_if_quick_maker": 1.0,
    "too_much_at_once": {
        "parts": ["Rim"],
        "resin_kg": [3.0],
        "would_do_kg": [2.1],
        "probability": 0.03,
    },
    "standard_error": 0.012,
    "goal": "demould",
    "deadline_s": 43200.0,
    "energy_kwh": {"p10": 0.191, "p50": 0.237, "p90": 0.288},
    "cost": {"p10": 0.06, "p50": 0.07, "p90": 0.09},
    "currency": "EUR",
    "milestones": [
        {"part": "Lid", "name": "gelled", "p10_s": 2581.9, "p50_s": 3480.7, "p90_s": 4263.0}
    ],
    "warnings": [],
    "levers": [{"what": "starting an hour earlier", "probability": 0.99, "probability_gain": 0.02}],
    "nights": 200,
    "curves": {
        "time_s": [0.0, 360.0],
        "lines": [
            {"name": "air", "p10_c": [8.6, 12.1], "p50_c": [9.0, 12.4], "p90_c": [9.4, 12.8]}
        ],
    },
}
ADVICE = {
    "advice": [
        {
            "kind": "least stress",
            "sure": True,
            "course": "up at 4.5 °C/h to 24 °C, held 2 h 00 min",
            "profile": {"name": "At 4.5 °C/h to 24 °C", "segments": []},
            "plan": PLAN,
        }
    ]
}
