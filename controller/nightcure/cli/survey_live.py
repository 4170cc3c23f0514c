"""The live oven behind a guided survey: start and stop through the inbox, the rest by reading."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from ..errors import BadInput
from ..settings import Role, Settings
from ..survey.night_log import log_of_night
from .send_command import AskedNight
from .show import err

if TYPE_CHECKING:
    from ..survey.identified import Survey
    from ..survey.log import Log

WHO = "survey at the oven"


class InboxOven(AskedNight):
    """The oven as its ledger shows it; implements `survey.guided.LiveOven`. Raises as AskedNight.

    Args:
        cut_out_tested: the person has confirmed the independent cut-out, as at every start.
    """

    def __init__(self, ledger: Path, cut_out_tested: bool) -> None:
        super().__init__(ledger, WHO, "a survey", cut_out_tested)

    def log(self) -> Log:
        """The night so far."""
        return log_of_night(self.ledger, self.night_id)


def live_survey(
    settings: Settings, precision: float, ambient_c: float | None, cut_out_tested: bool
) -> Survey:
    """Heat and cool the oven under its controller until it is known, with progress on stderr."""
    from ..survey.guided import guided
    from ..survey.heat_and_cool import profile_for

    def progress(noted_s: float, half: float | None) -> None:
        so_far = "not known yet" if half is None else f"known within ±{100 * half:.0f} %"
        err.print(f"{noted_s / 60:.0f} min noted; the loss is {so_far}.", highlight=False)

    oven = InboxOven(settings.ledger, cut_out_tested)
    profile = profile_for(settings.limits, shed_c(oven, settings, ambient_c))
    with _ended_by_hand(oven):
        return guided(oven, profile, precision, 300.0, progress)


def shed_c(oven: InboxOven, settings: Settings, stated_c: float | None) -> float:
    """The shed's temperature: as stated, as its thermometer says, or as the settings assume."""
    if stated_c is not None:
        return stated_c
    known = [
        t["value_c"]
        for t in oven.live["thermometers"]
        if t["role"] == Role.AMBIENT and t["value_c"] is not None
    ]
    return known[0] if known else settings.model.assumed_ambient_c


@contextmanager
def _ended_by_hand(oven: InboxOven) -> Iterator[None]:
    try:
        yield
    except KeyboardInterrupt:
        oven.stop()
        raise BadInput("Ended by hand; the heater is off.") from None
