"""Sentences of earlier versions that have since been put into other words.

A night that holds them is compared as if it had been told in today's: what was decided is the same.
"""

from __future__ import annotations

import re
from typing import Any

from ..loop.waiting import begins
from ..tick import FAULT_WORDS, INTERLOCK_WORDS, asked_by, asker, interlock_title, interlock_words

INTERLOCK = f"({'|'.join(INTERLOCK_WORDS)})"
FAULT = re.compile(rf"\(({'|'.join(FAULT_WORDS)})\)")
#: Sentences in which a thermometer's fault stands.
OF_FAULTS = "No believable air temperature for", "Sensor lost: nothing believable from"


def in_todays_words(recorded: Any) -> Any:
    """Events or outcomes as recorded, whose sentences are the third of each."""
    if not isinstance(recorded, list):
        return recorded
    return [
        [*one[:2], reworded(one[2]), *one[3:]]
        if isinstance(one, list) and len(one) > 2 and isinstance(one[2], str)
        else one
        for one in recorded
    ]


def reworded(message: str) -> str:
    """One sentence in today's words; one of today's stays as it is."""
    if message.startswith(OF_FAULTS):
        return FAULT.sub(lambda m: f"({FAULT_WORDS[m[1]]})", message)
    for pattern, now in WORDS:
        message = re.sub(pattern, now, message)
    return message


WORDS = (
    (rf"^{INTERLOCK}(?=: (?:the cause is gone|acknowledged|reset)\.$)",
     lambda m: interlock_title(m[1])),
    (rf"^The night was ended by {INTERLOCK}\.$",
     lambda m: f"The night was ended by a trip: {interlock_words(m[1])}."),
    (rf"(?<=has tripped )\({INTERLOCK}\)", lambda m: f"({interlock_words(m[1])})"),
    (rf"{INTERLOCK} still holds: ", lambda _: "the cause is still there. "),
    (r"by (page, \S+)\.$", lambda m: f"{asked_by(m[1])}."),
    (r"^(page, \S+): ", lambda m: f"{asker(m[1])}: "),
    (r"^Segment (\d+) of (\d+): (ramp|soak|cool)\.$",
     lambda m: begins(m[3], int(m[1]), int(m[2]))),
)  # fmt: skip
