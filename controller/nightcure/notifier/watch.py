"""Looks at the ledger, and at the latch beside it, and says what there is to tell.

The latch tells of a trip where no ledger can: it is written first, whatever becomes of the ledger.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from ..errors import NightcureError
from ..ledger.latch_file import TRIPPED, Latch, read_latch, state_folder
from ..ledger.outbox import Message
from ..ledger.reader import LedgerReader
from ..settings import Settings
from ..settings.notifications import Kind
from .falling_odds import FallingOdds
from .wording import Writer, window

#: Events read at a time.
AT_ONCE = 200
#: Of a ledger that took another's place only what is not older is told, s.
RECENT_S = 600.0
#: An alarm that comes and goes is told so often at the most, s of the oven's clock.
CHATTERS_S = 900.0
#: ... unless a person has acknowledged or reset it since.
SEEN = ("acknowledged", "latched", "normal")
#: What a trip that a new start finds standing says after its own sentence.
RETOLD = "That was before this start"


class Seen(NamedTuple):
    """What one look brought."""

    messages: list[Message]
    place: str
    """How far the ledger has been read."""
    live: dict[str, Any] | None
    """The controller's last word; None where there never was one."""
    answers: bool
    """Whether it is fresh."""
    trouble: str
    """Why the ledger cannot be read; empty where it can."""


class Watch:
    """Watches one oven's ledger, from `place` on, which is how far the notifier before it came."""

    def __init__(self, settings: Settings, place: str | None, mono_s: float) -> None:
        """`mono_s`: the monotonic clock now, s."""
        self._settings = settings
        self._writer = Writer(settings.name, settings.notifications)
        self._reader: LedgerReader | None = None
        self._place = place
        self._live: dict[str, Any] | None = None
        self._word_s, self._heard_s = 0.0, mono_s
        """The last word's own time, and when (monotonic) it was seen to be new."""
        self._first = True
        self._clock_set = True
        self._odds = FallingOdds(self._writer)
        self._raised_s: dict[str, float] = {}
        """When each alarm was told last."""
        self._silent: float | None = None
        """The last word of a controller that was told to be silent."""

    def look(self, mono_s: float, now_s: float) -> Seen:
        """What is new."""
        messages: list[Message] = []
        trouble = ""
        try:
            messages += self._events(now_s)
            self._hear(mono_s, now_s)
        except NightcureError as error:
            trouble = str(error)
            self._reader = None
        latch = read_latch(state_folder(self._settings.ledger))
        if latch.state == TRIPPED:
            messages.append(self._of_latch(latch, now_s))
        messages += self._answers(mono_s, now_s)
        if self._live is not None:
            messages += self._odds.look(self._live, now_s)
        answers = self._live is not None and self._silent_s(mono_s) <= self._after_s
        return Seen(messages, self._place or "", self._live, answers, trouble)

    # ---- events --------------------------------------------------------------------------------

    def _events(self, now_s: float) -> list[Message]:
        if self._reader is None:
            self._reader = LedgerReader(self._settings.ledger)
        reader, ledger = self._reader, self._identity()
        known, _, number = (self._place or "").rpartition(" ")
        if self._place is None:
            self._place = f"{ledger} {reader.newest_event()}"
            return []
        after_id, oldest_s = int(number or 0), 0.0
        if known != ledger:
            live = reader.live()
            after_id, oldest_s = 0, (0.0 if live is None else live["wall_s"] - RECENT_S)
        messages: list[Message] = []
        while True:
            events = reader.events(after_id=after_id, limit=AT_ONCE)
            for event in events:
                after_id = event["id"]
                if event["wall_s"] >= oldest_s:
                    messages += self._of_event(f"{ledger} {after_id}", event, now_s)
            if len(events) < AT_ONCE:
                break
        self._place = f"{ledger} {after_id}"
        return messages

    def _identity(self) -> str:
        """What sets this ledger's file apart from one that takes its place."""
        try:
            found = self._settings.ledger.stat()
        except OSError:
            return "?"
        return f"{found.st_dev}.{found.st_ino}"

    def _of_event(self, key: str, event: dict[str, Any], now_s: float) -> list[Message]:
        kind, name, text = event["kind"], event["name"], event["message"]
        at_s = event["wall_s"] if self._clock_set else 0.0
        new = event["state"] == "unacknowledged"
        make = self._writer.message
        if kind in ("trip", "alarm"):
            if event["state"] in SEEN:
                self._raised_s.pop(name, None)
            if not new or self._chatters(name, event["wall_s"]):
                return []
            if kind == "trip":
                return [make(self._trip_key(key, event), Kind.TRIP, text, at_s, now_s)]
            return [make(key, Kind.WARNING, text, at_s, now_s)]
        if kind == "night" and name in ("done", "stopped"):
            return [make(key, Kind.NIGHT, text, at_s, now_s)]
        if kind == "night" and name == "resumed":
            return [make(key, Kind.WARNING, text, at_s, now_s, "goes on after a break")]
        if kind == "note" and name == "not-resumed":
            return [make(key, Kind.WARNING, text, at_s, now_s, "the night did not go on")]
        if kind != "cure":
            return []
        if name == "laminate-opens":
            part = text.partition(" is ready to be laminated upon")[0]
            until = window(self._reader_live(), part)
            return [make(key, Kind.LAMINATE, text, at_s, now_s, f"laminate {part}{until}")]
        if name == "demould":
            return [make(key, Kind.DEMOULD, text, at_s, now_s)]
        if name in ("not-in-time", "not-reached"):
            return [make(key, Kind.ODDS, text, at_s, now_s)]
        return []

    def _chatters(self, name: str, at_s: float) -> bool:
        """Whether an alarm was told a short while ago; it is the same matter, still."""
        told_s = self._raised_s.get(name)
        if told_s is not None and 0.0 <= at_s - told_s < CHATTERS_S:
            return True
        self._raised_s[name] = at_s
        return False

    def _reader_live(self) -> dict[str, Any]:
        assert self._reader is not None
        return self._reader.live() or {}

    # ---- trips ---------------------------------------------------------------------------------

    def _trip_key(self, key: str, event: dict[str, Any]) -> str:
        """The latch's where it holds this very trip: so a trip is told once, by whichever first."""
        latch = read_latch(state_folder(self._settings.ledger))
        if latch.state == TRIPPED and latch.trip == event["name"]:
            told_again = latch.message and RETOLD in event["message"]
            if told_again or abs(latch.wall_s - event["wall_s"]) < 0.001:
                return f"trip {latch.token}"
        return key

    def _of_latch(self, latch: Latch, now_s: float) -> Message:
        text = latch.message or "The oven has tripped."
        return self._writer.message(f"trip {latch.token}", Kind.TRIP, text, latch.wall_s, now_s)

    # ---- whether the controller answers ----------------------------------------------------------

    @property
    def _after_s(self) -> float:
        return self._settings.notifications.no_answer_after_s

    def _hear(self, mono_s: float, now_s: float) -> None:
        live = self._reader_live()
        if not live:
            return
        self._live = live
        self._clock_set = bool(live.get("clock_set", True))
        if live["host_s"] != self._word_s:
            self._word_s = live["host_s"]
            # The first word may be old; from then on the clock that never jumps tells.
            old_s = min(max(now_s - self._word_s, 0.0), 2 * self._after_s) if self._first else 0.0
            self._heard_s = mono_s - old_s
            self._first = False

    def _silent_s(self, mono_s: float) -> float:
        return mono_s - self._heard_s

    def _answers(self, mono_s: float, now_s: float) -> list[Message]:
        if self._live is None:
            return []
        make, word = self._writer.message, f"{self._settings.ledger.name} {self._word_s}"
        if self._silent_s(mono_s) > self._after_s:
            self._silent = self._word_s
            text = (
                "The controller says nothing since then, so nobody knows what the heater does. "
                "If in doubt, pull the heater's plug."
            )
            return [make(f"silent {word}", Kind.NO_ANSWER, text, self._word_s, now_s)]
        if self._silent is not None and self._silent != self._word_s:
            was, self._silent = self._silent, None
            text = "The controller answers again."
            key = f"again {self._settings.ledger.name} {was}"
            return [make(key, Kind.NO_ANSWER, text, now_s, now_s, "answers again")]
        return []
