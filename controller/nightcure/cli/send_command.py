"""Sends commands to the running controller through its ledger, and follows a night it runs."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

from ..errors import BadInput
from ..ledger.inbox import Inbox
from ..ledger.reader import LedgerReader
from ..settings.cautions import ACCEPTED_AS

#: A controller whose live state is older than this is not running, s.
SILENT_S = 15.0
#: How long a command may take to be answered, s.
ANSWER_S = 15.0


def live_state_of(reader: LedgerReader) -> dict[str, Any]:
    """The running controller's live state. Raises BadInput where none runs on this ledger."""
    live = reader.live()
    if live is None or abs(time.time() - live["host_s"]) > SILENT_S:
        raise BadInput(
            f"No controller is running on {reader.path}; start it with nightcure controller."
        )
    return live


def who_types() -> str:
    """Who gives this command, as events and notes name them."""
    name = os.environ.get("SUDO_USER") or os.environ.get("USER") or "somebody"
    return f"{name} at the command line"


def send_command(ledger: Path, word: str, args: dict[str, Any], who: str) -> str:
    """Send a command and wait for its outcome; returns the controller's sentence.

    Raises:
        BadInput: it was refused, or the controller did not answer.
    """
    inbox = Inbox(ledger)
    number = inbox.put(word, args, who, time.time())
    end_s = time.monotonic() + ANSWER_S
    while time.monotonic() < end_s:
        answer = inbox.outcome(number)
        if answer is not None:
            if answer[0] != "done":
                raise BadInput(f"The oven refused: {answer[1]}")
            return answer[1]
        time.sleep(0.1)
    raise BadInput("The controller did not answer; see whether it runs.")


class AskedNight:
    """A night asked of the running controller: start and stop through the inbox, the rest by
    reading.

    Args:
        who: asks for it, as the night's events name it.
        what: it is, for a refusal.
        cut_out_tested: the person has confirmed the independent cut-out, as at every start.

    Raises:
        BadInput: no controller is running on this ledger, or a night is under way.
    """

    def __init__(self, ledger: Path, who: str, what: str, cut_out_tested: bool) -> None:
        self.ledger = ledger
        self._who = who
        self._cut_out_tested = cut_out_tested
        self.reader = LedgerReader(ledger)
        self.live = live_state_of(self.reader)
        if self.live["phase"] not in ("idle", "done"):
            raise BadInput(f"The oven is in '{self.live['phase']}'; {what} needs it idle.")
        self.night_id: int | None = None

    def start(self, profile: dict[str, Any], **more: Any) -> None:
        """Begin the night; `more` are further arguments of the command."""
        before = self.reader.nights(limit=1)
        newest = before[0]["id"] if before else 0
        args = {
            "cautions_accepted": self.reader.accepted(ACCEPTED_AS) is not None,
            "limit_device_confirmed": self._cut_out_tested,
            **more,
        }
        send_command(self.ledger, "start", {"profile": profile, **args}, self._who)
        end_s = time.monotonic() + ANSWER_S
        while time.monotonic() < end_s:
            nights = self.reader.nights(limit=1)
            if nights and nights[0]["id"] > newest:
                self.night_id = int(nights[0]["id"])
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
                raise BadInput("The controller has fallen silent; see whether it runs.")

    def _wall_s(self) -> float:
        live = self.reader.live()
        return 0.0 if live is None else float(live["wall_s"])

    def why_over(self) -> str | None:
        """Why the night has ended, or None."""
        assert self.night_id is not None
        night = self.reader.night(self.night_id)
        if night is None or night.outcome is None:
            return None
        return night.reason or f"The night is {night.outcome}."

    def finish(self) -> None:
        """The night has done what it was for: the rest of it is skipped, so that it is done."""
        live = self.reader.live() or {}
        left = live["segments"] - live["segment"] if live.get("segment") is not None else 0
        for _ in range(left):
            send_command(self.ledger, "skip", {}, self._who)

    def stop(self) -> None:
        """End the night."""
        send_command(self.ledger, "stop", {}, self._who)
