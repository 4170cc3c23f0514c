"""Profiles, settings, cautions, the session, and a command's answer."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, Field

from . import AskedBy


class Answer(BaseModel):
    """What the controller made of a command."""

    outcome: Literal["done"] = Field(description="Anything else is a problem with status 409.")
    message: str = Field(description="One sentence.")


class Offer(BaseModel):
    """A profile to choose."""

    profile: dict[str, Any]
    refusals: list[str] = Field(description="Why this oven would refuse it, a sentence each.")
    own: bool = Field(description="Whether a person saved it; the others ship with nightcure.")


class Vapour(BaseModel):
    """Styrene in the box at the profile's highest temperature."""

    styrene_g: float
    vol_pct: float
    percent_lel: float = Field(description="Of the lowest mixture that burns.")
    ppm: float
    saturated: bool
    ventilation_m3_per_h: float = Field(description="Keeps it at a quarter of that mixture.")
    sentence: str = Field(description="As plan and record say it; empty where none is given off.")


class MoistureOf(BaseModel):
    """Whether moulds and parts are dry enough to be laid up, as they are now."""

    dew_point_c: float = Field(description="Of the air where the humidity was read, °C.")
    dry: bool = Field(description="3 K above it everywhere, and the air below 85 %.")
    sentences: list[str] = Field(description="What is wet, and what to do; or that it is dry.")


class Mend(BaseModel):
    """What makes a refused profile start: one change, or what a person does first."""

    sentence: str
    button: str = Field(description="What a person presses who wants that, or has done it.")
    profile: dict[str, Any] = Field(description="As it would start.")


class Remembered(BaseModel):
    """Parts and box of the last night that had any."""

    parts: list[dict[str, Any]]
    box: dict[str, Any] | None


class ProfileCheck(BaseModel):
    """What the server makes of a profile."""

    refusals: list[str]
    mend: Mend | None = Field(description="null where nothing is refused, or nothing lifts it.")
    planned_s: float = Field(description="Shortest duration, nothing waiting.")
    highest_c: float
    notes: list[str] = Field(description="What does not hinder it: rows out of the oven's reach.")
    vapour: Vapour | None = Field(description="null where the profile tells no box.")
    moisture: MoistureOf | None = Field(
        description="null where box.humidity_pct is not told, the parts are hard, or nothing is "
        "measured."
    )
    course: list[tuple[float, float]] = Field(
        description="The setpoint's corners: seconds from the start, °C."
    )


class Removed(BaseModel):
    """What is gone."""

    name: str


class Caution(BaseModel):
    """One caution."""

    title: str
    text: str


class Accepted(BaseModel):
    """Who accepted the cautions first, and when by the machine's clock."""

    who: AskedBy
    host_s: float


class Cautions(BaseModel):
    """The cautions, and whether they were accepted for this oven."""

    cautions: list[Caution]
    accepted: Accepted | None


class Row(BaseModel):
    """One setting."""

    name: str
    value: str | float | bool | None
    unit: str
    explains: str


class Group(BaseModel):
    """Settings that belong together."""

    title: str
    rows: list[Row]


class LastCheck(BaseModel):
    """The latest check of a thermometer."""

    method: Literal["ice-point", "reference", "typed"]
    shown_c: float | None
    reference_c: float | None
    offset_c: float
    who: AskedBy
    wall_s: float


class SetThermometer(BaseModel):
    """The settings of a thermometer."""

    id: str
    name: str
    role: Literal["air", "part", "mould", "ambient", "heater"]
    offset_c: float = Field(description="Added to every reading.")
    last_check: LastCheck | None


class Consequence(BaseModel):
    """What the settings mean for the box or its place."""

    rating: Literal["ok", "look at", "wrong"] = Field(
        description="`wrong`: to be put right before the oven is left alone."
    )
    sentence: str


class OvenSettings(BaseModel):
    """The settings as a person sees them."""

    oven: str
    units: Literal["C", "F"]
    groups: list[Group]
    thermometers: list[SetThermometer]
    meaning: list[str] = Field(description="What its numbers come to, a sentence each.")
    consequences: list[Consequence]


class Session(BaseModel):
    """Whether this browser is logged in."""

    logged_in: bool
    has_passphrase: bool = Field(description="Without one the page takes no commands.")


class LoggedIn(BaseModel):
    """Whether this browser is logged in now."""

    logged_in: bool


SOAK: Any = {"name": "Warm", "segments": [{"kind": "soak", "at_c": 38.0, "hours": 9.0}]}
OFFER = {"profile": SOAK, "refusals": [], "own": True}
PROFILE_CHECK = {
    "refusals": ["profile 'Warm', vapour: 36 % of the lower explosive limit, above the ..."],
    "mend": {
        "sentence": "It starts once you open the vent (a hole low, one high).",
        "button": "The vent is open",
        "profile": SOAK,
    },
    "planned_s": 37152.0,
    "highest_c": 38.0,
    "notes": [
        "Lid: the card's post-cure at 60 °C and 80 °C are out of reach: this oven may be asked for "
        "55 °C at the most."
    ],
    "vapour": {
        "styrene_g": 3.1,
        "vol_pct": 0.18,
        "percent_lel": 20.1,
        "ppm": 1810.0,
        "saturated": False,
        "ventilation_m3_per_h": 0.0,
        "sentence": "Vapour: up to 3.1 g of styrene in 0.43 m³, 20 % of the lower explosive ...",
    },
    "moisture": {
        "dew_point_c": 9.6,
        "dry": False,
        "sentences": [
            "Lid at 8.0 °C is wet, colder than the dew point of 9.6 °C: warm it to 12.6 °C ..."
        ],
    },
    "course": [[0.0, 5.0], [4752.0, 38.0], [37152.0, 38.0]],
}
CAUTIONS = {
    "cautions": [{"title": "Fire", "text": "Foam burns, and so does resin."}],
    "accepted": {"who": "on the page, from another device (192.168.1.20)", "host_s": 1764100000.0},
}
SETTINGS = {
    "oven": "Estuary box",
    "units": "C",
    "meaning": ["With the mains 10 % low that is 62 K."],
    "groups": [
        {
            "title": "Limits",
            "rows": [
                {
                    "name": "Air",
                    "value": 60.0,
                    "unit": "°C",
                    "explains": "Hotter air trips the oven.",
                }
            ],
        }
    ],
    "thermometers": [
        {
            "id": "28-0000000000a1",
            "name": "Air",
            "role": "air",
            "offset_c": -0.12,
            "last_check": {
                "method": "ice-point",
                "shown_c": 0.12,
                "reference_c": 0.0,
                "offset_c": -0.12,
                "who": "on the page, from another device (192.168.1.20)",
                "wall_s": 1764000000.0,
            },
        }
    ],
    "consequences": [
        {
            "rating": "ok",
            "sentence": "Stuck on, on a day of 20 °C, 195 W bring the box to 70 °C: it cannot cook "
            "the foam.",
        }
    ],
}
SESSION = {"logged_in": True, "has_passphrase": True}
