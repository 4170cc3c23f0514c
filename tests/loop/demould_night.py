"""The shipped night until demould, as it is and changed, rehearsed."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import cache
from typing import Any

from nightcure.cure.box_air import Box
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.simulate.rehearse import Rehearsal, rehearse
from nightcure.simulate.scenario import BOX, PROFILES, ambient_c
from nightcure.tick import Decision, Phase, TickInputs
from tests import nights
from tests.nights import COARSE, SETTINGS, still, word

#: Aired outside, so that vapour hinders nobody.
AIRED = Box(volume_m3=0.43, evaporated_pct=0.5, over_h=2.0, air_changes_per_h=4.0)
UNTIL_DEMOULD = load_profile(PROFILES / "until-demould.toml").model_copy(update={"box": AIRED})
TICK_S = COARSE.timing.tick_s
Ticks = Sequence[tuple[TickInputs, Decision]]


def night(
    profile: Profile, ambient: Callable[[float], float] = ambient_c, **more: Any
) -> tuple[Rehearsal, Ticks]:
    """A rehearsed night and its every tick."""
    if not more.keys() - {"faults"}:
        return nights.night(profile, COARSE, ambient=ambient, **more)
    ticks: list[tuple[TickInputs, Decision]] = []
    result = rehearse(
        COARSE, profile, BOX, ambient, on_tick=lambda i, d: ticks.append((i, d)), **more
    )
    return result, ticks


def edited(**changes: Any) -> Profile:
    """The shipped night until demould with some fields of its segments and parts replaced.

    `soak`, `wait`, `lid`, `rim`: updates of the soak, the waiting ramp and the parts.
    """
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["segments"][2] |= changes.get("soak", {})
    data["segments"][1] |= changes.get("wait", {})
    data["parts"][0] |= changes.get("lid", {})
    data["parts"][1] |= changes.get("rim", {})
    if "parts" in changes:
        data["parts"] = changes["parts"]
    return parse_profile(data)


@cache
def colder(by_k: float) -> Callable[[float], float]:
    """The shed colder by so much; the same function each time, by which nights are known again."""
    return ambient_c if by_k == 0.0 else lambda t_s: ambient_c(t_s) - by_k


def refused(profile: dict[str, Any], parts: Any = None) -> str:
    loop = Loop(SETTINGS)
    args = {"profile": profile, **({} if parts is None else {"parts": parts}), **ALL_CONFIRMED}
    d = loop.tick(still(0.0, word("start", 1, **args)))
    assert d.outcomes[0].outcome == "refused"
    assert d.phase is Phase.IDLE
    assert not d.heater_on
    return d.outcomes[0].message


def cold_profile(at_c: float, hours: float, until: str = "demould") -> Profile:
    data = UNTIL_DEMOULD.model_dump(mode="json")
    data["segments"] = [
        {"kind": "ramp", "to_c": at_c, "rate_c_per_h": 15.0},
        {"kind": "soak", "at_c": at_c, "hours": hours, "until": until},
    ]
    return parse_profile(data)
