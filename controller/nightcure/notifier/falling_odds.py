"""Whether a part that was foreseen hard by the night's end still is.

By the cure clock's foreseen time and its band, as the page shows them. Not by a plan's share of
nights: nothing reckons a plan anew during a night, and the controller could not (numerics).
"""

from __future__ import annotations

from typing import Any

from ..ledger.outbox import Message
from ..settings.notifications import Kind
from .wording import Writer, clock_time

#: A worse outlook is told when it has lasted so long, s of the oven's clock: it may be a draught.
LASTS_S = 600.0

SURE, LIKELY, HARDLY = 2, 1, 0


def outlook(milestone: dict[str, Any], end_s: float) -> int:
    """Of a part's milestone against the night's end: sure, likely or hardly."""
    at_s, high_s = milestone["at_s"], milestone["high_s"]
    if at_s is None or at_s > end_s:
        return HARDLY
    return LIKELY if high_s is None or high_s > end_s else SURE


class FallingOdds:
    """By part: the best outlook of this night, what was told of it, and since when it is worse."""

    def __init__(self, writer: Writer) -> None:
        self._writer = writer
        self._night: Any = None
        self._told: dict[str, int] = {}
        self._worse_s: dict[str, float] = {}

    def look(self, live: dict[str, Any], now_s: float) -> list[Message]:
        """A message for every part whose odds have fallen."""
        if live.get("night_id") != self._night:
            self._night = live.get("night_id")
            self._told, self._worse_s = {}, {}
        wall_s, left_s = live["wall_s"], live.get("most_s") or live.get("left_s")
        if left_s is None:
            return []
        end_s = wall_s + left_s
        messages = []
        for part in live.get("cure") or []:
            name = part["name"]
            hard = next((m for m in part["milestones"] if m["name"] == "demould"), None)
            if hard is None:
                continue
            now = outlook(hard, end_s)
            before = self._told.setdefault(name, now)
            if now >= before:
                self._told[name] = now
                self._worse_s.pop(name, None)
                continue
            if wall_s - self._worse_s.setdefault(name, wall_s) < LASTS_S:
                continue
            self._told[name] = now
            messages.append(self._message(name, now, hard, end_s, wall_s, now_s))
        return messages

    def _message(
        self, part: str, now: int, hard: dict[str, Any], end_s: float, wall_s: float, now_s: float
    ) -> Message:
        foreseen = hard["at_s"] if now == HARDLY else hard["high_s"]
        when = "not in sight" if foreseen is None else f"foreseen {clock_time(foreseen)}"
        if now == LIKELY:
            when = "not in sight at its latest" if foreseen is None else f"at its latest {when[9:]}"
        text = f"{part} was to be hard when the night ends at {clock_time(end_s)}; now {when}."
        return self._writer.message(
            f"odds {self._night} {part} {now}", Kind.ODDS, text, wall_s, now_s
        )
