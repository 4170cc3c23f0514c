"""Sends a command to the running controller through its ledger and waits for the outcome."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Any

from ..errors import BadInput
from ..ledger.inbox import Inbox
from ..ledger.reader import LedgerReader

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
