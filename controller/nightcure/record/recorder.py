"""The recorder: a thread that writes what the loop hands it, so that no disk ever delays a tick.

What cannot be written is kept and tried again; how long nothing was written is an input of the
loop, whose interlock decides when a blind oven is switched off.
"""

from __future__ import annotations

import logging
import threading
import time
from collections import deque
from dataclasses import dataclass, field
from typing import Any

from .. import __version__
from ..errors import NightcureError
from ..ledger.latch_file import LatchFile
from ..ledger.writer import CheckRow, EventRow, EvidenceRow, LedgerWriter, TickRow
from ..settings import UNRECORDED, Settings, corrected
from ..tick import Decision, Event, Mark, OffCode, Outcome, Phase, TickInputs, WhyOff
from .codec import decision_fields, dumps, encode_inputs
from .latch_keeper import LatchKeeper
from .taking_up import stamped

log = logging.getLogger("nightcure")

#: A power cut costs at most this much of the samples.
DURABLE_EVERY_S = 10.0
#: Ticks kept while nothing can be written; beyond it the oldest quiet ones are given up.
KEEP_TICKS = 3600
RETRY_S = 1.0

#: A night's times are put right where they are so far from how long it has lasted, s.
MISDATED_S = 60.0

UNDER_WAY = (Phase.RAMP, Phase.SOAK, Phase.COOL)

#: What the recorder knows of the night it writes.
PLACE = ("_night_id", "_started_s", "_seq", "_ended", "_settings", "_told")

#: Names of the events that end a night, and so its outcomes.
OUTCOMES = ("done", "stopped", "tripped")


@dataclass
class Batch:
    """One tick for the ledger."""

    inputs: TickInputs
    decision: Decision
    live: dict[str, Any]
    host_s: float
    opening: dict[str, Any] | None = None
    """The loop's snapshot before this tick, where a night may begin with it."""
    snapshot: dict[str, Any] | None = None
    resumed_from: dict[str, Any] | None = None
    notes: list[Event] = field(default_factory=list)
    """Events of the daemon itself."""
    refused: list[Outcome] = field(default_factory=list)
    """Commands that never reached the loop: expired, or not readable."""
    token: str = ""
    """Of the latch as it is to stand with this tick; the recorder's own."""

    @property
    def weighty(self) -> bool:
        """Whether anything in it must never be lost."""
        d = self.decision
        return bool(d.events or d.outcomes or self.notes or self.refused or self.resumed_from)


class Recorder:
    """Owns the ledger's writing side. `put` never blocks; `start` and `stop` frame its thread."""

    def __init__(self, settings: Settings, writer: LedgerWriter, latch: LatchFile) -> None:
        self._settings = settings
        self._writer = writer
        self._latch = LatchKeeper(latch)
        self._waiting: deque[Batch] = deque()
        self._wake = threading.Condition()
        self._closing = False
        self._night_id: int | None = None
        self._started_s = 0.0
        """Wall time at which the night is said to have begun."""
        self._seq = 0
        self._ended = False
        self._told: tuple[WhyOff | None] | None = None
        """Why the heater was off at the night's last written tick; None before its first."""
        self._durable_at_s = 0.0
        self._durable_every_s = DURABLE_EVERY_S - settings.timing.tick_s
        self._blind_s: float | None = None
        """Monotonic time (s) of the first tick given up since one was written last."""
        self._given_up: list[Event] = []
        self._thread = threading.Thread(target=self._work, name="recorder", daemon=True)

    def take_up(self, night_id: int, seq: int) -> None:
        """Go on with a night that a crash or power cut broke off after tick `seq`."""
        self._night_id, self._seq = night_id, seq + 1
        night = self._writer.open_night()
        self._started_s = 0.0 if night is None else night.started_s

    def start(self) -> None:
        """Begin to write."""
        self._thread.start()

    def put(self, batch: Batch) -> None:
        """Hand over a tick."""
        with self._wake:
            batch.token = self._latch.ask(batch.decision, batch.inputs.wall_s)
            self._waiting.append(batch)
            if len(self._waiting) > KEEP_TICKS:
                for i, old in enumerate(self._waiting):
                    if not old.weighty:
                        del self._waiting[i]
                        break
            self._wake.notify()

    def silent_s(self, mono_s: float) -> float:
        """For how long nothing has been written that should have been, s."""
        with self._wake:
            since_s = self._blind_s
            if since_s is None and self._waiting:
                since_s = self._waiting[0].inputs.mono_s
            return 0.0 if since_s is None else max(mono_s - since_s, 0.0)

    @property
    def armed(self) -> bool:
        """Whether the latch on the disk says that the present night is under way."""
        return self._latch.armed

    @property
    def gone(self) -> str | None:
        """The sentence for a ledger whose file was removed or replaced."""
        return self._writer.gone

    def wait_below(self, count: int, timeout_s: float) -> None:
        """Let the ledger catch up (a clock that runs fast must not outrun the disk)."""
        end_s = time.monotonic() + timeout_s
        while len(self._waiting) > count and time.monotonic() < end_s:
            time.sleep(0.001)

    def stop(self, timeout_s: float = 5.0) -> None:
        """Write what is left, durably, and close."""
        with self._wake:
            self._closing = True
            self._wake.notify()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    # ---- the thread -------------------------------------------------------------------------

    def _work(self) -> None:
        lost = False
        while True:
            with self._wake:
                while not self._waiting and not self._closing:
                    self._wake.wait()
                if not self._waiting:
                    break
                batch = self._waiting[0]
            # First, and whatever becomes of the ledger: it needs no room on the disk.
            self._latch.keep()
            kept = self._place()
            try:
                self._write(batch)
            except NightcureError as error:
                vars(self).update(kept)
                if not lost:
                    log.error("%s", error)
                lost = True
                with self._wake:
                    if self._closing:
                        break
                    self._wake.wait(RETRY_S)
                continue
            except Exception as error:
                # Trying again would fail again, and hold up all that follows.
                vars(self).update(kept)
                log.exception("A tick could not be recorded; the ledger goes on without it.")
                self._give_up(batch, error)
                continue
            if lost:
                log.warning("The ledger can be written again.")
            lost = False
            # A night whose first tick was given up runs without a record: that is silence.
            orphan = self._night_id is None and batch.decision.phase in UNDER_WAY
            self._done_with(batch, self._silent_since(batch) if orphan else None)
            # Its end is on the disk: only now does nothing hold the oven any more.
            if batch.decision.mark is Mark.CLEAR:
                self._latch.clear(batch.inputs.wall_s)
        self._latch.keep()
        self._latch.close()
        self._writer.close()

    def _place(self) -> dict[str, Any]:
        """Where it is, to go back to when a tick could not be written."""
        return {name: vars(self)[name] for name in PLACE}

    def _silent_since(self, batch: Batch) -> float:
        return batch.inputs.mono_s if self._blind_s is None else self._blind_s

    def _done_with(self, batch: Batch, blind_s: float | None) -> None:
        with self._wake:
            self._blind_s = blind_s
            if self._waiting and self._waiting[0] is batch:
                self._waiting.popleft()

    def _give_up(self, batch: Batch, error: Exception) -> None:
        """Leave a tick out of the record, and say so in the next that is written."""
        self._done_with(batch, self._silent_since(batch))
        if not self._given_up:
            message = f"A tick could not be recorded ({type(error).__name__}: {error})."
            printable = message.encode("ascii", "replace").decode()
            self._given_up = [Event("note", "not-recorded", printable)]

    def _write(self, b: Batch) -> None:
        d, w = b.decision, self._writer
        tells_off = self._told != (d.why_off,)
        durable = b.weighty or self._closing
        durable = durable or time.monotonic() - self._durable_at_s >= self._durable_every_s
        with w.transaction(durable=durable):
            began = any(e.kind == "night" and e.name == "started" for e in d.events)
            if began:
                self._begin(b)
            night_id = self._night_id
            if night_id is not None:
                self._date(b, night_id)
            for e in (*self._given_up, *b.notes, *d.events):
                w.event(
                    EventRow(
                        night_id, self._seq, b.inputs.mono_s, b.inputs.wall_s,
                        e.kind, e.name, e.state, e.message,
                    )
                )  # fmt: skip
            for c in d.checks:
                w.check(CheckRow(*c, b.inputs.wall_s))
                self._settings = corrected(self._settings, {c.sensor_id: c.offset_c})
            for seen in d.evidence:
                w.evidence(EvidenceRow(*seen, night_id, b.inputs.wall_s))
            for o in (*d.outcomes, *b.refused):
                w.answer(o.command_id, b.host_s, o.outcome, o.message)
            if night_id is not None:
                w.tick(
                    TickRow(
                        night_id, self._seq, b.inputs.mono_s, b.inputs.wall_s,
                        encode_inputs(b.inputs, b.resumed_from), **decision_fields(d, tells_off),
                    )
                )  # fmt: skip
            self._end(b)
            state = {**b.live, "night_id": night_id, "seq": self._seq}
            w.live(b.host_s, dumps(state))
            if b.snapshot is not None:
                w.snapshot(
                    self._night_id, self._seq, b.inputs.mono_s, b.inputs.wall_s,
                    stamped(self._settings, b.snapshot, b.token, b.inputs),
                )  # fmt: skip
            if night_id is not None:
                self._seq += 1
        self._told = (d.why_off,)
        self._given_up = []
        if durable:
            self._durable_at_s = time.monotonic()

    def _begin(self, b: Batch) -> None:
        profile = b.decision.begun
        assert profile is not None
        self._night_id = self._writer.begin_night(
            oven=self._settings.name,
            profile=dumps(profile.model_dump(mode="json")),
            settings=dumps(self._settings.model_dump(mode="json", exclude=UNRECORDED)),
            version=__version__,
            opening=dumps(b.opening),
            started_s=b.inputs.wall_s,
        )
        self._started_s = b.inputs.wall_s
        self._seq = 0
        self._ended = False
        self._told = None

    def _date(self, b: Batch, night_id: int) -> None:
        """The night began so long ago as it has lasted, whatever the clock said then."""
        off = b.decision.why_off
        if self._ended or not b.inputs.wall_known or (off and off.code is OffCode.RESUMING):
            return
        began_s = b.inputs.wall_s - b.live["night_s"]
        if abs(began_s - self._started_s) > MISDATED_S:
            self._started_s = began_s
            self._writer.date_night(night_id, began_s)

    def _end(self, b: Batch) -> None:
        """Close the night where it is over; a tripped one is watched on until it is reset."""
        d, night_id = b.decision, self._night_id
        if night_id is None:
            return
        ending = next((e for e in d.events if e.kind == "night" and e.name in OUTCOMES), None)
        if ending is not None and not self._ended:
            trip = next((e for e in d.events if e.kind == "trip" and e.name == d.trip), ending)
            reason = trip.message if ending.name == "tripped" else ending.message
            end_s = b.inputs.wall_s
            if (
                not b.inputs.wall_known
                and abs(end_s - self._started_s - b.live["night_s"]) > MISDATED_S
            ):
                end_s = self._started_s + b.live["night_s"]
            self._writer.end_night(night_id, end_s, ending.name, reason)
            self._ended = True
        if self._ended and d.phase is not Phase.TRIPPED:
            self._night_id = None
