"""A guided heat-and-cool test: an ordinary night, ended as soon as the oven is known well enough.

It asks for nothing but a start and a stop, so every interlock stays active and the loop decides
about the heater as on any night. What runs it is given as a `LiveOven`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from ..errors import BadInput
from ..settings import Limits
from .log import Log
from .survey import Survey, survey

#: The air is brought so far above the shed, K: enough to tell a loss, little enough for any box.
RISE_K = 25.0
#: Not nearer to a limit than this, K.
BELOW_LIMIT_K = 8.0
#: The cool-down ends so far above the shed, K.
ENDS_ABOVE_K = 6.0


class LiveOven(Protocol):
    """An oven that can be asked for a night and looked at."""

    def start(self, profile: dict[str, Any]) -> None:
        """Begin the night. Raises BadInput if it is refused."""

    def wait(self, seconds: float) -> None:
        """Let oven time pass."""

    def log(self) -> Log:
        """What has been recorded of the night so far."""

    def why_over(self) -> str | None:
        """A sentence once the night has ended, else None."""

    def stop(self) -> None:
        """End the night."""


def profile_for(limits: Limits, ambient_c: float) -> dict[str, Any]:
    """The test as a profile: up as fast as the moulds may, a pause, up once more, then cool.

    Args:
        limits: of the oven; the test stays well below them.
        ambient_c: the shed now.
    """
    top_c = min(ambient_c + RISE_K, limits.air_c - BELOW_LIMIT_K, limits.part_c - BELOW_LIMIT_K)
    if top_c < ambient_c + 10.0:
        raise BadInput(
            f"The limits of {min(limits.air_c, limits.part_c):g} °C leave no room for a test in a "
            f"shed of {ambient_c:.0f} °C; it needs {ambient_c + 10.0 + BELOW_LIMIT_K:.0f} °C."
        )
    rate = limits.ramp_c_per_h
    # A profile knows no frost: in a colder shed the test begins and ends at 0 °C.
    top_c, middle_c, ends_c = (
        max(round(c, 1), 0.0) for c in (top_c, (top_c + ambient_c) / 2.0, ambient_c + ENDS_ABOVE_K)
    )
    return {
        "name": "Survey: heat and cool",
        "lag_c": 10.0,
        "band_c": 10.0,
        "segments": [
            {"kind": "ramp", "to_c": middle_c, "rate_c_per_h": rate},
            {"kind": "soak", "at_c": middle_c, "hours": 0.15},
            {"kind": "ramp", "to_c": top_c, "rate_c_per_h": rate},
            {"kind": "soak", "at_c": top_c, "hours": 0.15},
            {"kind": "cool", "rate_c_per_h": rate, "below_c": ends_c},
        ],
    }


def half_width(found: Survey) -> float:
    """Half of the loss's 95 % interval, relative; of the rise where the power is unknown."""
    return float((found.rise_k.high / found.rise_k.low) ** 0.5 - 1.0)


def guided(
    oven: LiveOven,
    profile: dict[str, Any],
    precision: float = 0.1,
    every_s: float = 300.0,
    on_progress: Callable[[float, float | None], None] | None = None,
) -> Survey:
    """Run the test until the loss is known within ± `precision`, or it has ended.

    Args:
        every_s: oven time between two looks.
        on_progress: told the seconds noted and the half-width so far (None: nothing known yet).

    Returns:
        The survey; its `unknown` says what the test did not settle.

    Raises:
        BadInput: the start was refused, or the night ended before anything was known.
    """
    oven.start(profile)
    while True:
        oven.wait(every_s)
        why = oven.why_over()
        log = oven.log()
        found: Survey | None = None
        try:
            found = survey(log)
        except BadInput as error:
            if why is not None:
                raise BadInput(f"The test ended too soon: {why} {error}") from None
        half = None if found is None else half_width(found)
        if on_progress is not None:
            on_progress(log.length_s, half)
        if found is None or half is None:
            continue
        if why is not None:
            told = f"The test ended before ±{100 * precision:.0f} % was reached: {why}"
            return survey(replace(log, assumed=(*log.assumed, told)))
        if half <= precision:
            oven.stop()
            return found
