"""Who is told what, and the ovens around."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class ServiceTold(BaseModel):
    """One service of the notifier."""

    name: str
    waiting: int = Field(description="Messages that are due and were not taken yet.")
    sent_s: float | None = Field(None, description="When it took one last, UTC; null: never.")
    failing_s: float | None = Field(None, description="Since when it fails; null: it does not.")
    sentence: str | None = Field(None, description="Why.")


class ToldMessage(BaseModel):
    """One message."""

    id: int
    kind: str
    at_s: float
    title: str
    text: str


class Telling(BaseModel):
    """How it stands with the notifier."""

    runs: bool = Field(description="It was seen within the last half minute.")
    seen_s: float | None = Field(None, description="When it was seen last, UTC; null: never.")
    services: list[ServiceTold]
    messages: list[ToldMessage] = Field(description="The last ones, newest first.")


TELLING = {
    "runs": True,
    "seen_s": 1764104400.2,
    "services": [
        {
            "name": "phone",
            "waiting": 0,
            "sent_s": 1764104300.0,
            "failing_s": None,
            "sentence": None,
        }
    ],
    "messages": [
        {
            "id": 17,
            "kind": "laminate",
            "at_s": 1764104300.0,
            "title": "Estuary box: laminate Lid until 14:20",
            "text": "22:40 Lid is ready to be laminated upon, 3 h 05 min after mixing.",
        }
    ],
}


class Push(BaseModel):
    """Whether this browser can be told by the page itself."""

    possible: bool
    why_not: str | None = Field(None, description="One sentence; null where it is possible.")
    key: str | None = Field(
        None, description="For PushManager.subscribe: the page's key (RFC 8292), base64url."
    )
    browsers: int = Field(description="How many are told.")


PUSH = {
    "possible": False,
    "why_not": "A browser takes messages only from a page that is served over https.",
    "key": None,
    "browsers": 0,
}


class PushKeys(BaseModel):
    """A browser's keys (RFC 8291)."""

    p256dh: str = Field(pattern=r"^[A-Za-z0-9_=-]{80,100}$")
    auth: str = Field(pattern=r"^[A-Za-z0-9_=-]{16,40}$")


class Browser(BaseModel):
    """A subscription as the browser gives it (W3C Push API, PushSubscription.toJSON)."""

    model_config = ConfigDict(
        json_schema_extra={
            "example": {
                "endpoint": "https://push.example/abc",
                "keys": {"p256dh": "B" * 87, "auth": "A" * 22},
            }
        }
    )

    endpoint: str = Field(pattern=r"^https://[^\s]+$", max_length=1000)
    keys: PushKeys


class OvenCard(BaseModel):
    """An oven, as far as it says."""

    address: str = Field(description="Its own page; its Stop and its login are there.")
    found: Literal["here", "listed", "host", "network"]
    name: str
    line: str = Field(description="How it is, in a sentence.")
    phase: str | None = None
    air_c: float | None = None
    setpoint_c: float | None = None
    units: Literal["C", "F"]
    milestone: str | None = Field(
        None, description="What comes next, in words; null: nothing foreseen."
    )
    milestone_s: float | None = Field(None, description="When, UTC.")
    alarm: str | None = Field(None, description="The worst alarm's sentence.")
    tripped: bool
    age_s: float | None = Field(
        None, description="Of its controller's word; null: it says nothing."
    )


class Ovens(BaseModel):
    """All ovens, the ones that need somebody first."""

    ovens: list[OvenCard]
    asked_s: float | None = Field(None, description="When the others were asked last, UTC.")


OVENS = {
    "ovens": [
        {
            "address": "http://oven-2.local:8733",
            "found": "network",
            "name": "Mast shed",
            "line": "6 h 10 min of soak left, then cool-down to 25.0 °C.",
            "phase": "soak",
            "air_c": 37.9,
            "setpoint_c": 38.0,
            "units": "C",
            "milestone": "Lid hard",
            "milestone_s": 1764120000.0,
            "alarm": None,
            "tripped": False,
            "age_s": 1.2,
        }
    ],
    "asked_s": 1764104400.0,
}
