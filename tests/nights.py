"""Nights for tests: the shipped scenario through the real Loop, recorded tick by tick."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

from nightcure.measure.reading import Reading
from nightcure.oven.faults import FaultAt, parse_fault
from nightcure.oven.thermal import Network
from nightcure.profile import Profile, parse_profile
from nightcure.records import Command, Decision, TickInputs
from nightcure.rehearse import Rehearsal, rehearse
from nightcure.scenario import BOX, ambient_c, scenario
from nightcure.settings import Settings

SETTINGS, PROFILE = scenario()

#: A short night for tests that need a whole one.
SHORT = parse_profile(
    {
        "name": "Short",
        "lag_c": 5.0,
        "band_c": 2.0,
        "segments": [
            {"kind": "ramp", "to_c": 25.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 25.0, "hours": 0.5},
            {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 22.0},
        ],
    }
)


def changed(settings: Settings, **sections: dict[str, Any]) -> Settings:
    """Settings with some fields of some sections replaced (validated again)."""
    data = settings.model_dump(mode="json")
    for name, fields in sections.items():
        data[name] = {**(data[name] or {}), **fields}
    return Settings.model_validate(data)


def night(
    profile: Profile = PROFILE,
    settings: Settings = SETTINGS,
    network: Network = BOX,
    faults: Sequence[str | FaultAt] = (),
    seed: int = 0,
    ambient: Callable[[float], float] = ambient_c,
) -> tuple[Rehearsal, list[tuple[TickInputs, Decision]]]:
    """A rehearsed night and its every tick."""
    ticks: list[tuple[TickInputs, Decision]] = []
    parsed = [parse_fault(f) if isinstance(f, str) else f for f in faults]
    result = rehearse(
        settings,
        profile,
        network,
        ambient,
        parsed,
        seed,
        on_tick=lambda i, d: ticks.append((i, d)),
    )
    return result, ticks


def readings(t_s: float, *values_c: float | None) -> tuple[Reading, ...]:
    """Good readings taken at `t_s`; None is a missing sensor."""
    return tuple(Reading(v, t_s) for v in values_c)


def start(profile: Profile = PROFILE, number: int = 1) -> Command:
    """The command that starts a night."""
    return Command(number, "start", {"profile": profile.model_dump(mode="json")}, "test")


def word(name: str, number: int = 9, **args: Any) -> Command:
    """Any other command."""
    return Command(number, name, args, "test")
