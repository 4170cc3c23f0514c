"""Nights for tests: the shipped scenario through the real Loop, recorded tick by tick."""

from __future__ import annotations

import json
from collections.abc import Callable, Sequence
from functools import lru_cache
from typing import Any

from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.oven.thermal import Network
from nightcure.profile import Profile, parse_profile
from nightcure.settings import Settings
from nightcure.simulate.faults import FaultAt, parse_fault
from nightcure.simulate.rehearse import Rehearsal, rehearse
from nightcure.simulate.scenario import BOX, ambient_c, scenario
from nightcure.tick import Command, Decision, Phase, Reading, TickInputs

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


#: The shipped oven on slow ticks, for nights whose course does not hang on the tick.
COARSE = changed(SETTINGS, timing={"tick_s": 4.0, "dead_man_s": 8.0})

Night = tuple[Rehearsal, Sequence[tuple[TickInputs, Decision]]]


def night(
    profile: Profile = PROFILE,
    settings: Settings = SETTINGS,
    network: Network = BOX,
    faults: Sequence[str | FaultAt] = (),
    seed: int = 0,
    ambient: Callable[[float], float] = ambient_c,
) -> Night:
    """A rehearsed night and its every tick; to be looked at only, for the last ones are kept."""
    told = tuple(parse_fault(f) if isinstance(f, str) else f for f in faults)
    return _night(_Told(profile), _Told(settings), network, told, seed, ambient)


class _Told:
    """Settings or a profile, known by what is in them."""

    def __init__(self, model: Any) -> None:
        self.model = model
        self._text: str = model.model_dump_json()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, _Told) and self._text == other._text

    def __hash__(self) -> int:
        return hash(self._text)


@lru_cache(maxsize=3)  # a long one has 20 000 ticks
def _night(
    profile: _Told, settings: _Told, network: Network, faults: tuple[FaultAt, ...], seed: int,
    ambient: Callable[[float], float],
) -> Night:  # fmt: skip
    ticks: list[tuple[TickInputs, Decision]] = []
    result = rehearse(
        settings.model, profile.model, network, ambient, faults, seed,
        on_tick=lambda i, d: ticks.append((i, d)),
    )  # fmt: skip
    return result, tuple(ticks)


def readings(t_s: float, *values_c: float | None) -> tuple[Reading, ...]:
    """Good readings taken at `t_s`; None is a missing sensor."""
    return tuple(Reading(v, t_s) for v in values_c)


def start(profile: Profile = PROFILE, number: int = 1) -> Command:
    """The command that starts a night."""
    args = {"profile": profile.model_dump(mode="json"), **ALL_CONFIRMED}
    return Command(number, "start", args, "test")


def word(name: str, number: int = 9, **args: Any) -> Command:
    """Any other command."""
    return Command(number, name, args, "test")


COLD = (9.0, 9.0, 9.0, 9.0)


def still(t_s: float, *commands: Command, values: tuple[float | None, ...] = COLD) -> TickInputs:
    """A tick in an oven where nothing moves."""
    return TickInputs(t_s, 1000.0 + t_s, readings(t_s, *values), commands)


def run(loop: Loop, ticks: Sequence[TickInputs]) -> list[Decision]:
    """The loop's answers."""
    return [loop.tick(i) for i in ticks]


def through_text(loop: Loop) -> dict[str, Any]:
    """The loop's snapshot as the ledger gives it back."""
    state: dict[str, Any] = json.loads(json.dumps(loop.snapshot(), allow_nan=False))
    return state


def tripped() -> tuple[Loop, float]:
    """A loop that has lost its control sensor."""
    loop = Loop(SETTINGS)
    loop.tick(still(0.0, start()))
    t_s = 0.0
    while loop.phase is not Phase.TRIPPED:
        t_s += 2.0
        d = loop.tick(still(t_s, values=(None, 9.0, 9.0, 9.0)))
        assert not d.heater_on
        assert t_s < 100.0
    return loop, t_s
