"""Nights, what happened in them, and what people asked for."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

from . import AskedBy

Ending = Literal["done", "stopped", "tripped", "lost"]


class NightSummary(BaseModel):
    """A night in the list."""

    id: int
    label: str
    oven: str
    version: str = Field(description="Of nightcure.")
    started_s: float
    ended_s: float | None
    outcome: Ending | None = Field(description="null while it runs.")
    reason: str | None
    profile_name: str | None


class Night(BaseModel):
    """One night."""

    id: int
    label: str
    oven: str
    version: str
    profile: dict[str, Any]
    thermometers: list[dict[str, Any]] = Field(description="As they were set that night.")
    power_w: float = Field(description="The heater's, as it was set that night.")
    started_s: float
    ended_s: float | None
    outcome: Ending | None
    reason: str | None


class Samples(BaseModel):
    """A night's series: columns of one length."""

    seq: list[int]
    wall_s: list[float]
    setpoint_c: list[float | None]
    control_c: list[float | None]
    duty: list[float]
    heater: list[int]
    phase: list[str]
    believed: list[list[float | None]] = Field(description="One column per thermometer, °C.")


class Happening(BaseModel):
    """Something that happened, in one sentence."""

    id: int
    night_id: int | None
    seq: int | None = Field(description="The tick it belongs to.")
    mono_s: float
    wall_s: float
    kind: str = Field(description="night, phase, alarm, trip, command, cure or note.")
    name: str
    state: str | None = Field(description="An alarm's state after it; a command's outcome.")
    message: str


class Asked(BaseModel):
    """A command, and what became of it."""

    id: int
    word: str
    who: AskedBy
    asked_s: float = Field(description="By the machine's clock.")
    taken_s: float | None
    outcome: Literal["done", "refused", "expired"] | None = Field(
        description="null: not answered yet."
    )
    message: str | None


SUMMARY = {
    "id": 12,
    "label": "Hatch lid 3",
    "oven": "Estuary box",
    "version": "0.2.0",
    "started_s": 1764100800.0,
    "ended_s": 1764144000.0,
    "outcome": "done",
    "reason": "'Lid and rim, overnight' is done.",
    "profile_name": "Lid and rim, overnight",
}
NIGHT = {
    **{k: v for k, v in SUMMARY.items() if k != "profile_name"},
    "profile": {
        "name": "Lid and rim, overnight",
        "segments": [{"kind": "soak", "at_c": 38.0, "hours": 9.0}],
    },
    "thermometers": [
        {"id": "28-0000000000a1", "role": "air", "name": "Air", "offset_c": -0.12},
    ],
    "power_w": 300.0,
}
SAMPLES = {
    "seq": [0, 30],
    "wall_s": [1764100800.0, 1764100860.0],
    "setpoint_c": [9.1, 9.4],
    "control_c": [9.1, 9.3],
    "duty": [0.2, 0.3],
    "heater": [0, 1],
    "phase": ["ramp", "ramp"],
    "believed": [[9.1, 9.3], [9.0, 9.0]],
}
HAPPENING = {
    "id": 431,
    "night_id": 12,
    "seq": 840,
    "mono_s": 6701.5,
    "wall_s": 1764102480.0,
    "kind": "alarm",
    "name": "sensor-lost",
    "state": "unacknowledged",
    "message": "Lid (missing) is lost; the night goes on by the others.",
}
ASKED = {
    "id": 88,
    "word": "extend",
    "who": "on the page, from another device (192.168.1.20)",
    "asked_s": 1764110000.1,
    "taken_s": 1764110000.4,
    "outcome": "done",
    "message": "The soak now lasts 9 h 30 min.",
}
