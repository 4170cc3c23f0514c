"""The daemon: the shell round the loop. It reads clocks, sensors and the inbox, does what the loop
decides, and hands everything to the recorder. Any exception here ends with everything off.
"""

from __future__ import annotations

import logging
import threading
import time
from contextlib import ExitStack

from ..board.button import PressButton
from ..board.ds18b20 import Bus
from ..board.relay import DeadMan, Outputs
from ..board.sensor_reader import Reader
from ..board.siren import SignalOutputs
from ..clock import Clock, MachineClock, tell_service_manager
from ..errors import NightcureError
from ..ledger.inbox import Inbox
from ..ledger.latch_file import LatchFile, state_folder
from ..ledger.writer import LedgerLost, LedgerWriter
from ..measure.screening import stale_after_s
from ..record.recorder import Batch, Recorder
from ..record.taking_up import take_up
from ..settings import Settings, corrected
from ..tick import Command, Event, Outcome, TickInputs, all_off
from .status import live_state
from .stop_signals import StopSignals

log = logging.getLogger("nightcure")

#: How often the inbox and the stop button are looked at between ticks.
LOOK_S = 0.25
#: A snapshot for resuming is written this often, and whenever something happened.
SNAPSHOT_EVERY_S = 10.0
#: The service manager kills a loop that has been silent for so long after the dead-man has opened
#: the relay: a process that stands still has no dead-man, and heats on until then.
KILL_AFTER_DEAD_MAN_S = 1.5


class Daemon:
    """One oven, from start to stop.

    Args:
        settings: the oven's.
        clock: real time on an oven; the demo's runs faster.
        speed: what the page is told of the clock.
    """

    def __init__(self, settings: Settings, clock: Clock | None = None, speed: float = 1.0) -> None:
        self.clock: Clock = clock or MachineClock()
        self.speed = speed
        self.stopping = threading.Event()
        with ExitStack() as undo:
            latch = LatchFile(state_folder(settings.ledger))
            undo.callback(latch.close)
            # Off before anything is written, whatever was left on.
            self.outputs = Outputs(settings, self.clock)
            undo.callback(self.outputs.close)
            writer = LedgerWriter(settings.ledger)
            undo.callback(writer.close)
            settings = self.settings = corrected(settings, writer.offsets_c())
            taken = take_up(settings, writer, latch.says)
            self._inbox = Inbox(settings.ledger, follows=False)
            undo.pop_all()
        self._recorder = Recorder(settings, writer, latch)
        self.loop, self._resumed_from, going_on, self._held, self._lost = taken
        if going_on is not None:
            self._recorder.take_up(*going_on)
        self._button = PressButton(settings.stop_button)
        self._signals = SignalOutputs(settings)
        self._dead_man = DeadMan(self.outputs, settings.timing.dead_man_s, self.clock)
        bus = Bus(tuple(t.id for t in settings.thermometers), self.clock)
        self._reader = Reader(bus, self.clock, len(settings.thermometers))
        self._inbox_ok_s = self.clock.monotonic()
        self._snapshot_s = -SNAPSHOT_EVERY_S
        self._decision = all_off(len(settings.thermometers))
        self._dead_man_fired = 0
        self._boot = self.clock.boot()
        """Told to the loop with its first tick."""

    # ---- life -------------------------------------------------------------------------------

    def run(self) -> None:
        """Regulate until told to stop. Raises what went wrong; either way everything is off."""
        self.clock.join()
        self._recorder.start()
        self._reader.start()
        try:
            self._first_readings()
            self.outputs.apply(self._decision)  # off; the dead-man counts from here
            self._dead_man.start()
            silent_s = self.settings.timing.dead_man_s + KILL_AFTER_DEAD_MAN_S
            tell_service_manager(
                f"READY=1\nWATCHDOG_USEC={silent_s * 1e6:.0f}\nSTATUS={self.settings.name}: ready"
            )
            self._go_round()
        finally:
            self.outputs.all_off()
            tell_service_manager("STOPPING=1")
            self.clock.leave()
            self._dead_man.stop()
            self._reader.stop()
            self._recorder.stop()
            self.outputs.close()
            self._button.close()
            self._signals.close()

    def handle_signals(self) -> None:
        """From now on a signal leaves the heater off. A night is kept to be resumed."""
        StopSignals(self._on_signal).start()

    def _on_signal(self, number: int) -> None:
        self.outputs.all_off(for_good=True)
        if not self.stopping.is_set():
            self.stopping.set()
            log.warning("Told to stop by signal %d: heater off.", number)

    def _first_readings(self) -> None:
        """Give the sensors one round's time, so that the first tick is not blind."""
        end_s = self.clock.monotonic() + stale_after_s(len(self.settings.thermometers))
        while self.clock.monotonic() < end_s and not self.stopping.is_set():
            if all(r.value_c is not None for r in self._reader.latest()):
                return
            self.clock.sleep(LOOK_S)

    def _go_round(self) -> None:
        due_s = self.clock.monotonic()
        while not self.stopping.is_set():
            began_s = self.clock.monotonic()
            self._tick()
            # After an early tick the next is due a tick later, not where the row of ticks had it:
            # a hurried hand on the page must not put it off until the dead-man opens the relay.
            due_s = max(min(due_s, began_s) + self.settings.timing.tick_s, self.clock.monotonic())
            self._wait_until(due_s)

    def _wait_until(self, due_s: float) -> None:
        """Sleep until the next tick, or until somebody wants something."""
        while not self.stopping.is_set():
            left_s = due_s - self.clock.monotonic()
            if left_s <= 0.001:
                return
            self.clock.sleep(min(LOOK_S * max(self.speed, 1.0), left_s))
            pressed = self._button.pressed() and not self.loop.stop_pressed
            if pressed or self._somebody_waits():
                return

    # ---- a tick -----------------------------------------------------------------------------

    def _tick(self) -> None:
        mono_s = round(self.clock.monotonic(), 3)
        wall_s = round(self.clock.wall(), 3)
        commands, refused = self._take_commands(mono_s)
        silent_s = self._recorder.silent_s(mono_s)
        inputs = TickInputs(
            mono_s,
            wall_s,
            self._reader.latest(),
            commands,
            round(silent_s, 3) if silent_s > 3 * self.settings.timing.tick_s else 0.0,
            round(max(mono_s - self._inbox_ok_s, 0.0), 3),
            self._button.pressed(),
            self._recorder.armed,
            self._recorder.gone is not None,
            self._held,
            wall_known=self.clock.is_set(),
            boot=self._boot,
            silence_pressed=self._signals.silence_pressed(),
        )
        self._boot = ""
        opening = self.loop.snapshot() if self._may_start(commands) else None
        decision = self.loop.tick(inputs)
        if self.stopping.is_set():
            return
        self.outputs.apply(decision)
        self._signals.show(decision.signals)
        self._decision = decision
        tell_service_manager("WATCHDOG=1")
        for event in decision.events:
            level = logging.WARNING if event.kind in ("trip", "alarm") else logging.INFO
            log.log(level, "%s", event.message)
        snapshot = None
        if decision.events or mono_s - self._snapshot_s >= SNAPSHOT_EVERY_S:
            snapshot = self.loop.snapshot()
            self._snapshot_s = mono_s
        self._recorder.put(
            Batch(
                inputs,
                decision,
                live_state(self.settings, self.loop, inputs, decision, self.speed),
                time.time(),
                opening,
                snapshot,
                self._resumed_from,
                self._notes(),
                refused,
            )
        )
        self._resumed_from = self._held = None
        if inputs.ledger_gone:
            raise LedgerLost(
                f"{self._recorder.gone} The heater is off. Start the controller again: it makes a "
                f"new ledger where there is none, and what had tripped stays tripped."
            )
        if self.speed > 1.0:
            self._recorder.wait_below(8, timeout_s=2.0)

    @staticmethod
    def _may_start(commands: tuple[Command, ...]) -> bool:
        return any(c.word == "start" for c in commands)

    def _notes(self) -> list[Event]:
        """What the daemon itself has to say, once."""
        notes: list[Event] = []
        if self._lost is not None:
            notes.append(Event("note", "not-resumed", self._lost))
            log.warning("%s", self._lost)
            self._lost = None
        if self._dead_man.fired > self._dead_man_fired:
            self._dead_man_fired = self._dead_man.fired
            limit_s = self.settings.timing.dead_man_s
            message = f"The dead-man opened the relay: no decision for {limit_s:g} s."
            notes.append(Event("note", "dead-man", message))
        return notes

    # ---- the inbox --------------------------------------------------------------------------

    def _somebody_waits(self) -> bool:
        try:
            return self._inbox.anything_waiting()
        except NightcureError:
            return False

    def _take_commands(self, mono_s: float) -> tuple[tuple[Command, ...], list[Outcome]]:
        commands: list[Command] = []
        refused: list[Outcome] = []
        try:
            rows = self._inbox.waiting(time.time())
            self._inbox_ok_s = mono_s
        except NightcureError as error:
            log.warning("%s", error)
            rows = []
        for row in rows:
            if row.expired:
                sentence = f"'{row.word}' came too late and was not carried out."
                refused.append(Outcome(row.id, "expired", sentence))
            elif row.broken and row.word != "stop":
                sentence = f"'{row.word}' came with arguments that are not a JSON object."
                refused.append(Outcome(row.id, "refused", sentence))
            else:
                commands.append(Command(row.id, row.word, row.args, row.who))
        return tuple(commands), refused
