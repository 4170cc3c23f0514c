"""A rehearsed night into a ledger, row for row as the recorder would have it."""

from __future__ import annotations

from pathlib import Path
from types import TracebackType

from .. import __version__
from ..ledger.writer import EventRow, LedgerWriter, TickRow
from ..loop.loop import Loop
from ..profile import Profile
from ..settings import UNRECORDED, Settings
from ..tick import Decision, TickInputs, WhyOff
from .codec import decision_fields, dumps, encode_inputs

#: Ticks written at a time.
AT_ONCE = 1000


class RehearsedNight:
    """Hand its `tick` to `rehearse` as `on_tick`; the night is whole once the `with` is over.

    Raises:
        LedgerInUse, BadInput, LedgerLost: as `LedgerWriter`.
    """

    def __init__(self, path: Path, settings: Settings, profile: Profile) -> None:
        self._writer = LedgerWriter(path)
        self._settings, self._profile = settings, profile
        self._waiting: list[tuple[TickInputs, Decision]] = []
        self._told: tuple[WhyOff | None] | None = None
        self._seq = 0
        self.night_id: int | None = None
        """None until the first ticks are written, or where the start was refused."""

    def __enter__(self) -> RehearsedNight:
        return self

    def tick(self, inputs: TickInputs, decision: Decision) -> None:
        """Keep one tick."""
        self._waiting.append((inputs, decision))
        if len(self._waiting) >= AT_ONCE:
            self._write()

    def _write(self) -> None:
        w = self._writer
        with w.transaction(durable=True):
            for inputs, d in self._waiting:
                if self.night_id is None:
                    if not any(e.kind == "night" and e.name == "started" for e in d.events):
                        continue
                    self.night_id = w.begin_night(
                        oven=self._settings.name,
                        profile=dumps(self._profile.model_dump(mode="json")),
                        settings=dumps(self._settings.model_dump(mode="json", exclude=UNRECORDED)),
                        version=__version__,
                        opening=dumps(Loop(self._settings).snapshot()),
                        started_s=inputs.wall_s,
                    )
                self._one(self.night_id, inputs, d)
        self._waiting.clear()

    def _one(self, night_id: int, inputs: TickInputs, d: Decision) -> None:
        w, seq, at = self._writer, self._seq, (inputs.mono_s, inputs.wall_s)
        tells = self._told != (d.why_off,)
        w.tick(TickRow(night_id, seq, *at, encode_inputs(inputs), **decision_fields(d, tells)))
        self._told = (d.why_off,)
        for e in d.events:
            w.event(EventRow(night_id, seq, *at, e.kind, e.name, e.state, e.message))
            if e.kind == "night" and e.name in ("done", "stopped", "tripped"):
                trip = next((t.message for t in d.events if t.kind == "trip"), e.message)
                w.end_night(night_id, inputs.wall_s, e.name, trip)
        self._seq += 1

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        if kind is None:
            self._write()
        self._writer.close()
