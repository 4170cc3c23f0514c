"""A happening as a message: a title and a line or two, as a lock screen shows them."""

from __future__ import annotations

import re
import socket
from datetime import datetime, timedelta
from typing import Any

from ..ledger.outbox import Message
from ..settings import Notifications, Settings
from ..settings.notifications import Kind

#: Characters of a title and of a text: what a phone's lock screen shows (common practice, no
#: source).
TITLE, TEXT = 60, 140

LOOPBACK = ("127.0.0.1", "::1", "localhost")
HEADS: dict[Kind, str] = {
    Kind.TRIP: "tripped, heater off",
    Kind.WARNING: "warning",
    Kind.LAMINATE: "laminate now",
    Kind.DEMOULD: "hard",
    Kind.NIGHT: "the night is over",
    Kind.ODDS: "may not be hard in time",
    Kind.NO_ANSWER: "no answer",
    Kind.TEST: "test message",
}


def clock_time(wall_s: float) -> str:
    """The local time of day."""
    return f"{datetime.fromtimestamp(wall_s).astimezone():%H:%M}"


def shortened(text: str, most: int = TEXT) -> str:
    """Whole sentences as far as they fit, else whole words."""
    text = " ".join(text.split())
    if len(text) <= most:
        return text
    kept = ""
    for sentence in re.findall(r".*?[.!?:;](?:\s|$)", text):
        if len(kept) + len(sentence.rstrip()) > most:
            break
        kept += sentence
    if kept.strip():
        return kept.strip().rstrip(":;") if kept.strip()[-1] in ":;" else kept.strip()
    return text[: most - 1].rsplit(" ", 1)[0].rstrip(",;: ") + "…"


def due_s(told: Notifications, kind: Kind, now_s: float) -> float | None:
    """From when people are told (host clock, s); None: never."""
    when = told.when(kind)
    if when == "never":
        return None
    if when == "now":
        return now_s
    hour, minute = (int(part) for part in told.morning.split(":"))
    now = datetime.fromtimestamp(now_s).astimezone()
    morning = now.replace(hour=hour, minute=minute, second=0, microsecond=0)
    if morning <= now:
        morning = (morning + timedelta(days=1)).replace(hour=hour, minute=minute)
    return morning.timestamp()


class Writer:
    """Makes messages of one oven."""

    def __init__(self, oven: str, told: Notifications) -> None:
        self._oven, self._told = oven, told

    def message(
        self, key: str, kind: Kind, text: str, at_s: float, now_s: float, head: str = ""
    ) -> Message:
        """`at_s`: when it happened (wall); 0 where nobody knows."""
        title = f"{self._oven}: {head or HEADS[kind]}"
        said = f"{clock_time(at_s)} {text}" if at_s else text
        return Message(
            key, kind.value, at_s or now_s, due_s(self._told, kind, now_s),
            shortened(title, TITLE), shortened(said),
        )  # fmt: skip


def page_of(settings: Settings) -> str | None:
    """The page's address for a link: as declared, else this machine's name where it is served to
    the network; None where only this machine sees it."""
    if settings.notifications.page is not None:
        return settings.notifications.page
    if settings.web.address in LOOPBACK:
        return None
    return f"http://{socket.gethostname().partition('.')[0]}.local:{settings.web.port}"


def with_link(message: Message, page: str | None) -> str:
    """The text as it is sent: with a link that bears the message's number, else with the number."""
    if page is None:
        return f"{message.text} ({message.id})"
    return f"{message.text}\n{page.rstrip('/')}/#message-{message.id}"


def window(live: dict[str, Any], part: str) -> str:
    """Until when a part may be laminated upon; empty where its card does not tell."""
    for one in live.get("cure") or []:
        if one["name"] != part:
            continue
        for milestone in one["milestones"]:
            at_s = milestone["low_s"] or milestone["at_s"]
            if milestone["name"] == "laminate-closes" and at_s:
                return f" until {clock_time(at_s)}"
    return ""
