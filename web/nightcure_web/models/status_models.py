"""The oven's state, as the API gives it."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict, Field


class Thermometer(BaseModel):
    """One thermometer now."""

    name: str
    role: Literal["air", "part", "mould", "ambient", "heater"]
    id: str = Field(description="1-Wire id.")
    value_c: float | None = Field(description="Offset applied; null while it is not believed.")
    fault: str | None = Field(description="Why it is not believed.")
    age_s: float = Field(description="Since it was measured.")


class Alarm(BaseModel):
    """An alarm that is not normal; states after ISA-18.2 / IEC 62682."""

    name: str
    words: str = Field("", description="What it is called; empty: by an earlier controller.")
    state: Literal["unacknowledged", "acknowledged", "returned-unacknowledged", "latched"]
    latching: bool = Field(description="A trip: it holds the oven off until a person resets it.")
    message: str
    since_s: float


class WhyOff(BaseModel):
    """Why the heater may not be on."""

    code: str
    fields: dict[str, str] = Field(description="What goes with the code: alarm, fault or phase.")
    sentence: str


class Status(BaseModel):
    """The live state. `phase` alone, null, while no controller has ever written one."""

    model_config = ConfigDict(extra="allow")

    phase: Literal["idle", "ramp", "soak", "cool", "done", "tripped"] | None
    host_s: float | None = Field(None, description="When it was written, by the machine's clock.")
    now_s: float | None = Field(None, description="When this was answered, by the same clock.")
    wall_s: float | None = Field(None, description="The oven's clock; it runs fast in a demo.")
    oven: str | None = None
    units: Literal["C", "F"] | None = None
    speed: float | None = None
    tick_s: float | None = None
    night_id: int | None = None
    seq: int | None = None
    profile: dict[str, Any] | None = None
    segment: int | None = Field(None, description="Of the profile's, from 0.")
    segments: int | None = None
    setpoint_c: float | None = None
    control_c: float | None = Field(None, description="The air the regulator believes.")
    duty: float | None = Field(None, description="Share of full power, 0 to 1.")
    heater: bool | None = None
    contactor: bool | None = None
    fan: bool | None = None
    why_off: WhyOff | None = Field(
        None, description="Why the heater may not be on; null where it may, on or off just now."
    )
    left_s: float | None = None
    ends_s: float | None = None
    waiting: bool | None = Field(None, description="Ramp or soak clock waits for the oven.")
    next: str | None = Field(None, description="What comes next, in one sentence.")
    cure: list[dict[str, Any]] | None = None
    cups: list[dict[str, Any]] | None = Field(None, description="Gel cups that stand or gelled.")
    trip: Alarm | None = None
    thermometers: list[Thermometer] | None = None
    alarms: list[Alarm] | None = None
    siren: bool | None = Field(None, description="It sounds; null where none is declared.")
    switchings: int | None = None
    limits: dict[str, float] | None = None
    regulator: str | None = None
    power_w: float | None = None
    stop_pressed: bool | None = Field(None, description="The button at the oven is held.")
    box_open: bool | None = Field(None, description="Somebody has said that the box is open.")
    wet_resin: bool | None = Field(
        None, description="Wet resin was laid in it and is not confirmed to have gelled yet."
    )
    night_s: float | None = Field(None, description="How long the night has lasted, or did.")
    clock_set: bool | None = Field(
        None, description="False: the board's clock is not set yet, so times may be wrong."
    )


STATUS = {
    "phase": "soak",
    "host_s": 1764104400.2,
    "now_s": 1764104400.9,
    "wall_s": 1764104400.2,
    "oven": "Estuary box",
    "units": "C",
    "night_id": 12,
    "seq": 5400,
    "segment": 1,
    "segments": 3,
    "setpoint_c": 38.0,
    "control_c": 37.9,
    "duty": 0.41,
    "heater": True,
    "why_off": None,
    "next": "6 h 10 min of soak left, then cool-down to 25.0 °C.",
    "trip": None,
    "alarms": [],
}


class Health(BaseModel):
    """Whether this server answers."""

    ok: bool
    controller_age_s: float | None = Field(
        description="Seconds since the controller last wrote its state; null if it never did."
    )


class StartCheck(BaseModel):
    """One of the checks before a night starts."""

    name: str
    ok: bool
    sentence: str
    needed: bool = Field(description="Whether `ready` asks for it; else it is a note only.")


class StartChecks(BaseModel):
    """Whether a night could be started now."""

    ready: bool
    checks: list[StartCheck]


START_CHECKS = {
    "ready": False,
    "checks": [
        {
            "name": "cautions",
            "ok": False,
            "sentence": "The cautions have not been accepted for this oven; read and accept them.",
            "needed": True,
        }
    ],
}
