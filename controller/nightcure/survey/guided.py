"""A guided heat-and-cool test: an ordinary night, ended as soon as the oven is known well enough.

The night is `heat_and_cool.profile_for`'s. The test asks for nothing but a start and, in its last
segment, for that segment's end, so every interlock stays active and the loop decides about the
heater as on any night. What runs it is given as a `LiveOven`.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any, Protocol

from ..errors import BadInput
from .heat_and_cool import enough
from .identified import Survey
from .log import Log
from .survey import survey


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

    def finish(self) -> None:
        """Enough is known: the night ends as done, nobody has stopped it."""


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
    """Run the test until it has begun to cool and the loss is known within ± `precision`.

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
        if enough(half, log.fallen_s, precision):
            oven.finish()
            return found
