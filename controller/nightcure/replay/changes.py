"""What may be changed of a recorded night, and how it is said."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from pydantic import ValidationError, create_model

from ..errors import BadInput, faults_as_sentences
from ..oven.thermal import Network
from ..profile import Profile
from ..settings import Section, Settings
from ..units import parse_duration, show_duration

#: What an open door lets out besides, W/K (as in the virtual oven).
DOOR_W_PER_K = 60.0


@dataclass(frozen=True)
class Door:
    """Opened at a time of the night, for so long."""

    at_s: float
    for_s: float

    def open(self, t_s: float) -> bool:
        """Whether it is."""
        return self.at_s <= t_s < self.at_s + self.for_s


@dataclass(frozen=True)
class Changes:
    """What a what-if changes about a recorded night."""

    colder_k: float = 0.0
    """The whole night, the oven at its start too, colder by so much; warmer if negative."""
    mould_times: float = 1.0
    """Heat capacity of every mould with its part, of the same surface."""
    heater_w: float | None = None
    doors: tuple[Door, ...] = ()
    regulator: dict[str, Any] = field(default_factory=dict)
    """Fields of the settings' [regulator]."""
    profile: Profile | None = None

    def __bool__(self) -> bool:
        """Whether anything is changed."""
        return self != Changes()

    def settings(self, settings: Settings) -> Settings:
        """The oven's settings with the changes; only these are checked. Raises BadInput."""
        changed: dict[str, dict[str, Any]] = {}
        if self.regulator:
            changed["regulator"] = self.regulator
        if self.heater_w is not None:
            changed["heater"] = {"power_w": self.heater_w}
        sections: dict[str, Section] = {}
        for name, fields in changed.items():
            section: Section = getattr(settings, name)
            try:
                checked = _only(type(section), fields).model_validate(fields)
            except ValidationError as error:
                raise BadInput(*faults_as_sentences(error, f"the change of {name}")) from None
            sections[name] = section.model_copy(update=checked.model_dump())
        return settings.model_copy(update=sections)

    def network(self, network: Network) -> Network:
        """The oven with the changes; a stronger heater is that much larger too."""
        changed = network.with_mould_times(self.mould_times)
        if self.heater_w is not None:
            times = self.heater_w / network.power_w
            changed = replace(
                changed,
                power_w=self.heater_w,
                heater_capacity_j_per_k=changed.heater_capacity_j_per_k * times,
                heater_air_w_per_k=changed.heater_air_w_per_k * times,
            )
        return changed

    def told(self) -> str:
        """In a few words."""
        said = []
        if self.colder_k:
            kind = "colder" if self.colder_k > 0 else "warmer"
            said.append(f"{abs(self.colder_k):g} K {kind}")
        if self.mould_times != 1.0:
            said.append(f"moulds {self.mould_times:g} times as heavy")
        if self.heater_w is not None:
            said.append(f"a heater of {self.heater_w:g} W")
        for door in self.doors:
            said.append(f"the door open for {show_duration(door.for_s)}")
        if self.regulator.get("kind") == "bang-bang":
            said.append("bang-bang")
        said += [f"{k} {v:g}" for k, v in self.regulator.items() if k != "kind"]
        if self.profile is not None:
            said.append(f"the profile '{self.profile.name}'")
        return ", ".join(said) or "nothing changed"


def _only(section: type[Section], fields: Iterable[str]) -> type[Section]:
    """A section with some of its fields alone, so that the others are not checked again."""
    known: dict[str, Any] = {
        name: (section.model_fields[name].annotation, section.model_fields[name])
        for name in fields
        if name in section.model_fields
    }
    return create_model(section.__name__, __base__=Section, **known)


_CLOCK = re.compile(r"([01]?\d|2[0-3]):([0-5]\d)", re.ASCII)


def time_of_night(text: str, started_wall_s: float, option: str) -> float:
    """Seconds of the night at a clock time (02:00) or after its start (3h20).

    Args:
        started_wall_s: UTC s of the night's start.

    Raises:
        BadInput: it is neither.
    """
    match = _CLOCK.fullmatch(text.strip())
    if match is None:
        try:
            return parse_duration(text)
        except ValueError:
            raise BadInput(
                f"{option} is '{text}'; write a time of the clock as 02:00, or since the start as "
                f"3h20 or 90min."
            ) from None
    start = datetime.fromtimestamp(started_wall_s).astimezone()
    minutes = 60 * int(match[1]) + int(match[2])
    since = 60.0 * minutes - (3600.0 * start.hour + 60.0 * start.minute + start.second)
    return since % 86400.0
