"""An oven where nothing moves, for tests that ask it one thing after the other."""

from __future__ import annotations

from typing import Any

from nightcure.loop.loop import Loop
from nightcure.profile import parse_profile
from nightcure.settings import Settings
from nightcure.tick import Command, Decision

from .nights import COLD, SETTINGS, start, still, through_text, word

AIR, LID = "28-0000000000a1", "28-0000000000b1"
HOURS = parse_profile(
    {
        "name": "Hours",
        "segments": [
            {"kind": "ramp", "to_c": 12.0, "rate_c_per_h": 20.0},
            {"kind": "soak", "at_c": 12.0, "hours": 2.0},
            {"kind": "soak", "at_c": 10.0, "hours": 1.0},
            {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 5.0},
        ],
    }
)
Values = tuple[float | None, ...]
#: Warmer than outside, so that a cool-down has something to do.
WARM = (14.0, 14.0, 14.0, 9.0)
RAMP, SOAK, SECOND, COOL = range(4)


class Standing:
    """A loop in an oven where nothing moves, asked one thing after the other."""

    def __init__(self, settings: Settings = SETTINGS, values: Values = COLD) -> None:
        self.loop, self.t_s, self.values = Loop(settings), 0.0, values

    def tick(self, *commands: Command, values: Values | None = None) -> Decision:
        decision = self.loop.tick(still(self.t_s, *commands, values=values or self.values))
        self.t_s += 2.0
        return decision

    def ticks(self, count: int, values: Values | None = None) -> None:
        for _ in range(count):
            self.tick(values=values)

    def ask(self, name: str, **args: Any) -> tuple[str, str]:
        outcome = self.tick(word(name, **args)).outcomes[0]
        return outcome.outcome, outcome.message

    def refused(self, name: str, **args: Any) -> str:
        before = through_text(self.loop)["run"]
        outcome, message = self.ask(name, **args)
        assert outcome == "refused", message
        assert message.endswith("."), message
        after = through_text(self.loop)["run"]
        assert (after and after["profile"]) == (before and before["profile"])
        return message

    def done(self, name: str, **args: Any) -> str:
        outcome, message = self.ask(name, **args)
        assert outcome == "done", message
        return message


def under_way(segment: int, settings: Settings = SETTINGS) -> Standing:
    """A night in one of the segments of HOURS."""
    oven = Standing(settings, WARM if segment == COOL else COLD)
    oven.tick(start(HOURS))
    for _ in range(segment):
        oven.done("skip")
    assert oven.loop.run is not None
    assert oven.loop.run.index == segment
    return oven
