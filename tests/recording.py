"""Nights in a real ledger, and a recorded night put through a fresh loop."""

from __future__ import annotations

import time
from collections.abc import Mapping, Sequence
from pathlib import Path

from nightcure.daemon.status import live_state
from nightcure.ledger.latch_file import LatchFile, state_folder
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerWriter
from nightcure.profile import Profile
from nightcure.record.recorder import Batch, Recorder
from nightcure.record.taking_up import take_up
from nightcure.replay.verify import verify
from nightcure.settings import Settings, corrected
from nightcure.simulate.faults import parse_fault
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Decision, TickInputs

from .nights import SETTINGS, SHORT, start

EVENING_S = 1.7e9


class RecordedOven:
    """A virtual oven whose every tick the real recorder writes, as the daemon hands it over."""

    def __init__(
        self,
        ledger: Path,
        settings: Settings = SETTINGS,
        faults: Sequence[str] = (),
        seed: int = 0,
    ) -> None:
        self.ledger = ledger
        self.settings = settings
        parsed = [parse_fault(f) for f in faults]
        self.oven = VirtualOven(BOX, settings.thermometers, ambient_c, seed, parsed)
        self.t_s = 0.0
        self.stop_pressed = False
        self.wall_ahead_s = 0.0
        """What the wall clock was set ahead by since the evening."""
        self.wall_known, self.boot = True, ""
        self.open()

    def open(self) -> None:
        """The controller starts, and takes up what it finds."""
        self.latch = LatchFile(state_folder(self.ledger))
        writer = LedgerWriter(self.ledger)
        settings = corrected(self.settings, writer.offsets_c())
        taken = take_up(settings, writer, self.latch.says)
        self.loop, self._resumed, where, self.held, self.lost = taken
        self.recorder = Recorder(settings, writer, self.latch)
        if where is not None:
            self.recorder.take_up(*where)
        self.recorder.start()

    def close(self) -> None:
        """The controller ends; the night, if there is one, is broken off."""
        self.recorder.stop(30.0)

    def __enter__(self) -> RecordedOven:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def tick(self, *commands: Command) -> Decision:
        """One tick, recorded; then the oven moves on."""
        tick_s = self.settings.timing.tick_s
        sensed = tuple(self.oven.sense(self.t_s))
        wall_s = EVENING_S + self.t_s + self.wall_ahead_s
        inputs = TickInputs(
            self.t_s, wall_s, sensed, commands, stop_pressed=self.stop_pressed, held=self.held,
            wall_known=self.wall_known, boot=self.boot,
        )  # fmt: skip
        opening = self.loop.snapshot() if commands else None
        decision = self.loop.tick(inputs)
        live = live_state(self.settings, self.loop, inputs, decision, 1.0)
        self.recorder.put(
            Batch(inputs, decision, live, time.time(), opening, self.loop.snapshot(), self._resumed)
        )
        self._resumed = self.held = None
        self.recorder.wait_below(50, 30.0)
        self.oven.step(tick_s, decision.heater_on, decision.contactor_on)
        self.t_s += tick_s
        return decision

    def run(
        self,
        until_s: float,
        commands: Mapping[float, Command] | None = None,
        profile: Profile = SHORT,
    ) -> Decision:
        """Tick until a time (s), with commands at theirs; the first tick starts the night."""
        due = dict(commands or {})
        if self.t_s == 0.0:
            due[0.0] = start(profile)
        decision = self.tick(*_at(due, self.t_s))
        while self.t_s < until_s:
            decision = self.tick(*_at(due, self.t_s))
        return decision


def _at(due: Mapping[float, Command], t_s: float) -> tuple[Command, ...]:
    return (due[t_s],) if t_s in due else ()


def replay(ledger: Path, night_id: int = 1) -> tuple[int, list[tuple[int, str]]]:
    """A recorded night's inputs through a fresh loop, by the product's own `verify`.

    Returns:
        How many ticks were compared, and each difference: the tick's number and the field.
    """
    found = verify(LedgerReader(ledger), night_id)
    return found.ticks, [(d.seq, d.field) for d in found.differences]
