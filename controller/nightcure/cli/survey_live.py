"""The live oven behind a guided survey: start and stop through the inbox, the rest by reading."""

from __future__ import annotations

import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ..cautions import ACCEPTED_AS
from ..errors import BadInput
from ..ledger.reader import LedgerReader
from ..settings import Role, Settings
from ..survey.night_log import log_of_night
from .send_command import ANSWER_S, SILENT_S, live_state_of, send_command
from .show import err

if TYPE_CHECKING:
    from ..survey.identified import Survey
    from ..survey.log import Log
    from ..survey.relay_test import Swing

WHO = "survey at the oven"


class InboxOven:
    """The oven as its ledger shows it; implements `survey.guided.LiveOven`.

    Args:
        cut_out_tested: the person has confirmed the independent cut-out, as at every start.

    Raises:
        BadInput: no controller is running on this ledger, or a night is under way.
    """

    def __init__(self, ledger: Path, cut_out_tested: bool) -> None:
        self._ledger = ledger
        self._cut_out_tested = cut_out_tested
        self._reader = LedgerReader(ledger)
        live = live_state_of(self._reader)
        if live["phase"] not in ("idle", "done"):
            raise BadInput(f"The oven is in '{live['phase']}'; a survey needs it idle.")
        self.live = live
        self._night_id: int | None = None

    def _send(self, word: str, args: dict[str, Any]) -> str:
        return send_command(self._ledger, word, args, WHO)

    def start(self, profile: dict[str, Any]) -> None:
        """Begin the night."""
        before = self._reader.nights(limit=1)
        newest = before[0]["id"] if before else 0
        confirmed = {
            "cautions_accepted": self._reader.accepted(ACCEPTED_AS) is not None,
            "limit_device_confirmed": self._cut_out_tested,
        }
        self._send("start", {"profile": profile, **confirmed})
        end_s = time.monotonic() + ANSWER_S
        while time.monotonic() < end_s:
            nights = self._reader.nights(limit=1)
            if nights and nights[0]["id"] > newest:
                self._night_id = int(nights[0]["id"])
                return
            time.sleep(0.1)
        raise BadInput("The night was started but is not in the ledger; see the controller's log.")

    def wait(self, seconds: float) -> None:
        """Until so much of the oven's own time has passed (a demo's clock runs fast)."""
        first_s = self._wall_s()
        last_seen_s = time.monotonic()
        newest_s = first_s
        while newest_s - first_s < seconds and self.why_over() is None:
            time.sleep(0.2)
            now_s = self._wall_s()
            if now_s > newest_s:
                newest_s, last_seen_s = now_s, time.monotonic()
            if time.monotonic() - last_seen_s > SILENT_S:
                raise BadInput("The controller has fallen silent; the survey ends here.")

    def _wall_s(self) -> float:
        live = self._reader.live()
        return 0.0 if live is None else float(live["wall_s"])

    def log(self) -> Log:
        """The night so far."""
        return log_of_night(self._ledger, self._night_id)

    def why_over(self) -> str | None:
        """Why the night has ended, or None."""
        assert self._night_id is not None
        night = self._reader.night(self._night_id)
        if night is None or night.outcome is None:
            return None
        return night.reason or f"The night is {night.outcome}."

    def stop(self) -> None:
        """End the night."""
        self._send("stop", {})


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


def live_relay(settings: Settings, ambient_c: float | None, cut_out_tested: bool) -> Swing:
    """Let the oven swing under bang-bang until the swing is steady, with progress on stderr."""
    from ..survey.guided import relayed
    from ..survey.heat_and_cool import relay_profile_for

    def progress(noted_s: float, why: str) -> None:
        err.print(f"{noted_s / 60:.0f} min noted. {why}", highlight=False)

    oven = InboxOven(settings.ledger, cut_out_tested)
    profile = relay_profile_for(settings.limits, shed_c(oven, settings, ambient_c))
    with _ended_by_hand(oven):
        return relayed(oven, profile, 300.0, progress)


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
