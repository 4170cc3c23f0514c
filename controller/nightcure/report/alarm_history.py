"""The night's alarms and trips as histories: raised, acknowledged by whom, over, reset."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from ..ledger.rows import EventRow


@dataclass
class AlarmHistory:
    """One time an alarm stood; wall times in s, None for what did not happen."""

    name: str
    trip: bool
    message: str
    raised_s: float
    acknowledged_s: float | None = None
    acknowledged_by: str | None = None
    over_s: float | None = None
    """Its cause was gone."""
    reset_s: float | None = None
    reset_by: str | None = None
    times: int = 1
    """How often it was raised before it was over and done with."""


def alarm_histories(events: Iterable[EventRow]) -> list[AlarmHistory]:
    """Every alarm of a night, in the order they were raised."""
    known = list(events)
    who = _who(known)
    told: list[AlarmHistory] = []
    standing: dict[str, AlarmHistory] = {}
    for e in known:
        if e.kind not in ("alarm", "trip"):
            continue
        history = standing.get(e.name)
        if e.state == "unacknowledged":
            if history is None:
                history = standing[e.name] = AlarmHistory(
                    e.name, e.kind == "trip", e.message, e.wall_s
                )
                told.append(history)
            else:
                history.times += 1
                history.over_s = None
            continue
        if history is None:
            continue
        if e.message.endswith(": acknowledged."):
            history.acknowledged_s = e.wall_s
            history.acknowledged_by = who.get((e.seq, "acknowledge"))
        elif e.message.endswith(": reset."):
            history.reset_s, history.reset_by = e.wall_s, who.get((e.seq, "reset"))
        else:
            history.over_s = e.wall_s
        if e.state == "normal":
            del standing[e.name]
    return told


def _who(events: list[EventRow]) -> dict[tuple[int | None, str], str]:
    """By tick and command: who gave it and was heard."""
    return {
        (e.seq, e.name): e.message.rpartition(": ")[0] or e.message
        for e in events
        if e.kind == "command" and e.state == "done"
    }
