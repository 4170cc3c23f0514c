"""`[notifications]` in oven.toml: whom the notifier tells what, and when. No secret stands here."""

from __future__ import annotations

from enum import StrEnum
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from .section import Section


class Kind(StrEnum):
    """What is told of."""

    TRIP = "trip"
    WARNING = "warning"
    LAMINATE = "laminate"
    """A part is ready to be laminated upon."""
    DEMOULD = "demould"
    """A part is hard enough to leave its mould."""
    NIGHT = "night"
    """It is over."""
    ODDS = "odds"
    """A part may not be hard by the night's end after all, by what is foreseen of it (no plan)."""
    NO_ANSWER = "no_answer"
    """The controller says nothing; and that it answers again."""
    TEST = "test"


Delivery = Literal["now", "morning", "never"]
#: A host's name or address, for a broker.
HostPart = Annotated[str, Field(pattern=r"^[A-Za-z0-9_.:-]{1,253}$")]
#: A level of a topic, or several: no wildcards, none empty (MQTT 5.0, section 4.7).
Topic = Annotated[str, Field(pattern=r"^[^+#/\x00$][^+#/\x00]*(/[^+#/\x00]+)*$", max_length=200)]


class Mqtt(Section):
    """A broker to publish to. Nothing is subscribed: no broker can steer the oven."""

    host: HostPart
    port: Annotated[int, Field(ge=1, le=65535)] | None = None
    """1883, or 8883 with `tls`."""
    username: Annotated[str, Field(min_length=1, max_length=200)] | None = None
    tls: bool = False
    ca: Path | None = None
    """The authority that signed the broker's certificate, where it is your own (PEM)."""
    topic: Topic | None = None
    """`nightcure/` and the oven's name if left out."""
    every_s: Annotated[float, Field(ge=1, le=600)] = 10.0
    hub_discovery: Topic | None = None
    """The prefix under which a home hub looks for devices, such as `homeassistant`."""

    @model_validator(mode="after")
    def _authority_needs_tls(self) -> Self:
        if self.ca is not None and not self.tls:
            raise ValueError("ca is set and tls is not, so it would not be used; set tls = true.")
        return self

    @property
    def port_used(self) -> int:
        """The port, or the protocol's own."""
        return self.port or (8883 if self.tls else 1883)


class Notifications(Section):
    """Whom the notifier tells what, and when."""

    secrets: Path | None = None
    """The file with the services' addresses and passwords, mode 0600; under the service manager
    its credential `notifications` goes ahead of it."""
    page: Annotated[str, Field(pattern=r"^https?://[^\s/]+(/[^\s]*)?$", max_length=300)] | None = (
        None
    )
    """The page's address as a phone opens it, for the link in a message; this machine's own name
    if left out."""
    morning: Annotated[str, Field(pattern=r"^([01]?[0-9]|2[0-3]):[0-5][0-9]$")] = "07:00"
    trip: Literal["now"] = "now"
    """A trip is never quiet."""
    warning: Delivery = "now"
    laminate: Delivery = "now"
    demould: Delivery = "morning"
    night: Delivery = "morning"
    odds: Delivery = "now"
    no_answer: Delivery = "now"
    no_answer_after_s: Annotated[float, Field(ge=10, le=600)] = 20.0
    """The controller counts as silent after so long."""
    heartbeat_every_s: Annotated[float, Field(ge=5, le=3600)] = 60.0
    """How often the address `heartbeat` of the secrets is asked."""
    mqtt: Mqtt | None = None

    def when(self, kind: Kind) -> Delivery:
        """When a kind is told."""
        chosen: Delivery = getattr(self, kind.value, "now")
        return chosen

    def located(self, folder: Path) -> Notifications:
        """The same settings, with file names relative to `folder` made absolute."""
        mqtt = self.mqtt
        if mqtt is not None and mqtt.ca is not None:
            mqtt = mqtt.model_copy(update={"ca": folder / mqtt.ca})
        secrets = None if self.secrets is None else folder / self.secrets
        return self.model_copy(update={"mqtt": mqtt, "secrets": secrets})
