"""The loop: readings and commands in, one decision out. No I/O, no clock, no randomness.

The same settings and the same inputs give the same decisions, to the bit. `Loop.tick` reads as a
night's decision goes: what time is it, what is true, what was asked, is it safe, where should the
oven be, how much heat is that, on or off.
"""

from __future__ import annotations

from typing import Any

from ..guard.alarms import Alarm, Alarms
from ..guard.guard import Guard
from ..guard.interlock_inputs import InterlockInputs
from ..guard.resume import NOT_RESUMED, Moment, not_resumed
from ..heat.heating import Heating
from ..measure.screening import Screened, Screening
from ..measure.steady import Steady
from ..profile import Profile, Segment
from ..settings import Role, Settings, corrected
from ..tick import Decision, Event, Fault, Outcome, Phase, TickInputs, WhyOff, asked_by
from ..units import show_temperature
from .box_open import BoxOpen
from .commands import CommandContext, CommandHandler
from .cure_tracking import CureTracking
from .interruption import Interruption
from .oven_learning import OvenLearning
from .profile_run import Oven, ProfileRun
from .times import Times
from .waiting import begins, given_up, oven_parts
from .why_off import why_off

#: What `snapshot` takes of the loop itself, as it is.
PLAIN = (
    "contactor_on", "fan_s", "control_c", "ambient_c", "ambient_known", "parts_c", "paused",
    "begun_c",
)  # fmt: skip
#: A fan runs on so long after the heat, s: the heater's body is hot when it is switched off.
FAN_RUNS_ON_S = 1800.0


class Loop:
    """A night's decisions. Feed it ticks; it remembers what it must."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self._air = settings.indices(Role.AIR)
        self._heaters = settings.indices(Role.HEATER)
        self._ambients = settings.indices(Role.AMBIENT)
        self._parts = settings.indices(Role.PART, Role.MOULD)
        self._names = tuple(t.name for t in settings.thermometers)
        self._screening = Screening(settings.thermometers)
        self._steady = Steady(len(settings.thermometers))
        self._command_handler = CommandHandler(self)
        self._guard = Guard(settings)
        self._alarms, self.annunciator = self._guard.alarms, self._guard.annunciator
        self.switch_test = self._guard.heat_check.test
        self._heating = Heating(settings)
        self._run: ProfileRun | None = None
        self.cure = CureTracking(settings)
        """The parts on their clocks, to look at."""
        self.phase = Phase.IDLE
        self._times = Times(settings.timing.tick_s)
        self._contactor_on = False
        self._fan_s = 0.0  # the fan still runs on for so long
        self.stop_pressed = False  # the button at the oven is held
        self._paused = False  # heat was not allowed at the last tick
        self._control_c: float | None = None
        self._begun_c: float | None = None  # the air as the night began
        self._ambient_c = settings.model.assumed_ambient_c
        self._ambient_known = False
        self._parts_c: list[float | None] = []
        self._interruption = Interruption()
        self.box = BoxOpen()  # whether somebody has said so
        self._longer_s: float | None = None
        self._oven = OvenLearning(settings.model)

    # ---- one tick -------------------------------------------------------------------------

    def tick(self, inputs: TickInputs) -> Decision:
        """The decision for `inputs`. Never raises on bad readings: doubt is resolved to off."""
        times, heat_check = self._times, self._guard.heat_check
        times.tell(inputs, self._run is not None)
        dt_s, gap_s = times.dt_s, times.gap_s
        heated = self.phase in (Phase.RAMP, Phase.SOAK) and not self.box.open
        cools = self._run is not None and (heated or self.phase is Phase.COOL)
        screened = self._screening.judge(
            inputs.mono_s, dt_s, inputs.readings, heated, self.cure.heat_k(),
            self._run.cools_to_c if cools and self._run is not None else None,
            self._heating.on and not heat_check.relay_alone, heat_check.holds_off is not None,
            heat_check.answered, self._interruption.pending,
        )  # fmt: skip
        self._steady.note(inputs.readings, screened.faults)
        ambient_c = self._ambient(screened)

        self._longer_s = None
        events = self._guard.settle(inputs.wall_s)
        if inputs.held is not None:
            trip, message = inputs.held
            message = not_resumed(message) if trip is None else message
            events += self._guard.report(trip or NOT_RESUMED, message, inputs.wall_s)
        if self._interruption.pending:
            self._take_up_again(inputs, screened, events)
        self.stop_pressed = inputs.stop_pressed
        now = CommandContext(screened, events)
        outcomes = [self._command_handler.execute(c, now) for c in inputs.commands]
        events += self.annunciator.button(inputs.silence_pressed)
        if inputs.stop_pressed and self._run is not None:
            self.end(Phase.IDLE, "stopped", "Stopped by the button at the oven.", events)
        self._look_at_box(gap_s, screened, ambient_c, events)

        self._watch(inputs, screened, ambient_c, heated, events)
        if heat_check.pulse:  # which asks the air that is in doubt
            screened = screened._replace(doubted=False)
        if self._alarms.trip is not None and self.phase is not Phase.TRIPPED:
            self.end(Phase.TRIPPED, "tripped", self._alarms.ended(), events)
        elif (over := self.switch_test.over()) and self._run and not self._interruption.pending:
            self.end(*over, events)

        if self._run is None or self._times.night_s > 0.0:
            given = self._heating.on and not heat_check.relay_alone
            self.cure.advance(gap_s, screened, events, given)
        if self._run is not None and screened.control_c is not None and not self.box.open:
            self._follow_profile(self._run, dt_s, screened, ambient_c, events)
        self._ask_for_heat(dt_s, screened, ambient_c)

        closed = self.settings.contactor is None or self._contactor_on
        off = why_off(
            screened,
            phase=self.phase,
            running=self._run is not None,
            trip=self._alarms.trip,
            stop_pressed=inputs.stop_pressed,
            resuming=self._interruption.pending,
            box_open=self.box.why_off,
            heat_held_off=heat_check.holds_off,
            armed=inputs.armed,
            contactor_closed=closed or heat_check.relay_alone,
        )
        self._paused = off is not None
        heater_on = self._heating.tick(inputs.mono_s, dt_s, allowed=off is None)
        runs_on = heater_on and not self.settings.limits.earlier
        self._fan_s = FAN_RUNS_ON_S if runs_on else max(self._fan_s - gap_s, 0.0)
        frozen = screened.air_fault is Fault.FROZEN
        waits = screened.doubted or frozen or self._interruption.pending or self.box.open
        may_close = heat_check.contactor_closed and inputs.armed
        self._contactor_on = self._run is not None and not waits and may_close
        if screened.control_c is not None:
            self._control_c = screened.control_c
            self._parts_c = [screened.believed_c[i] for i in self._parts]
        return self._decision(heater_on, off, screened, ambient_c, now, outcomes)

    # ---- after a cut ----------------------------------------------------------------------

    def _take_up_again(self, inputs: TickInputs, screened: Screened, events: list[Event]) -> None:
        """After a crash or power cut: go on with the night, or trip and say why."""
        broken, night_s = self._interruption, self._times.night_s
        waited_s, no_clock = broken.waited_s(night_s), screened.doubted or self.box.open
        judged = broken.judge(self.settings, inputs, self._moment(screened), no_clock, night_s)
        if judged is None:
            return
        self._times.night_s = broken.night_s + max(judged.away_s, waited_s)
        if judged.away_s > 0.0:
            self._longer_s = broken.longer_s(self.settings, inputs, judged.away_s)
        if not judged.resumed:
            events += self._guard.report(NOT_RESUMED, judged.sentence, inputs.wall_s)
            return
        events.append(Event("night", "resumed", judged.sentence))
        self.cure.away(max(judged.cured_s - waited_s, 0.0), screened)

    def _moment(self, screened: Screened | None = None) -> Moment:
        """The oven now, or (without `screened`) as it was at the last tick."""
        air_c, parts_c = self._control_c, self._parts_c
        if screened is not None:
            air_c, parts_c = screened.control_c, [screened.believed_c[i] for i in self._parts]
        t = self._times
        return Moment(
            t.mono_s or 0.0, t.wall_s, t.wall_known, t.boot, air_c,
            tuple(parts_c), self._ambient_c, self._ambient_known, self._begun_c,
        )  # fmt: skip

    # ---- what was asked: see `loop.commands` -----------------------------------------------------

    def begin(self, profile: Profile, control_c: float, who: str, events: list[Event]) -> None:
        """A night starts."""
        limits = self.settings.limits
        longest_s = limits.longest_night_h * 3600.0
        self._run = ProfileRun(profile, control_c, limits.ramp_c_per_h, longest_s)
        self._times.night_s, self._begun_c = 0.0, control_c
        if not self._ambients:  # a box is no colder than its shed
            self._ambient_c = min(self.settings.model.assumed_ambient_c, control_c)
        self._heating.start(profile, control_c)
        self.phase = Phase(self._run.segment.kind)
        air = show_temperature(control_c, self.settings.units)
        message = f"Started '{profile.name}' with the air at {air}, {asked_by(who)}."
        events.append(Event("night", "started", message))
        events += self._oven.begins(profile) + self._times.not_known()

    def end(self, phase: Phase, name: str, message: str, events: list[Event]) -> None:
        """Whatever it was, it is over: nothing is regulated, the heater is off."""
        run, self._run = self._run, None
        self.box.end()
        self.phase = phase
        if run is not None:
            events.append(Event("night", name, message))
            events += self._oven.ends(run.profile, phase, self._heating, self._ambient_known)
        if phase is not Phase.TRIPPED:
            events += self.cure.end()

    def _look_at_box(
        self, gap_s: float, screened: Screened, ambient_c: float, events: list[Event]
    ) -> None:
        shut = self.box.look(gap_s, screened.control_c, ambient_c)
        events += [Event("phase", "box-shut", shut)] if shut is not None else []
        if (given_up := self.box.given_up()) is not None:
            self.end(Phase.IDLE, "stopped", given_up, events)

    def shown_c(self, index: int) -> float | None:
        """What a thermometer has steadily shown, without its offset, °C."""
        return self._steady.shown_c(index)

    def correct(self, index: int, offset_c: float) -> None:
        """Give a thermometer another offset, from the next tick on."""
        sensor_id = self.settings.thermometers[index].id
        self.settings = corrected(self.settings, {sensor_id: offset_c})
        self._screening.correct(index, offset_c)

    # ---- is it safe -----------------------------------------------------------------------

    def _watch(
        self,
        inputs: TickInputs,
        screened: Screened,
        ambient_c: float,
        heated: bool,
        events: list[Event],
    ) -> None:
        """Let every interlock look."""
        t = self._times
        night = self._run is not None
        believed, faults = screened.believed_c, screened.faults
        lost: tuple[tuple[str, str], ...] = ()
        too_hot: tuple[str, ...] = ()
        if None in believed:
            of_each = list(zip(self._names, believed, faults, strict=True))
            lost = tuple([(n, str(f or "no value")) for n, c, f in of_each if c is None])
            too_hot = tuple([n for n, _, f in of_each if f is Fault.TOO_HOT])
        heat_k = self.cure.heat_k()
        run = self._run
        view = InterlockInputs(
            t.dt_s, t.gap_s, t.wall_step_s, night, heated and night, self.phase, t.night_s,
            screened.control_c, str(screened.air_fault or ""), lost,
            tuple([c for i in self._air if (c := believed[i]) is not None]),
            tuple([(self._names[i], c) for i in self._parts if (c := believed[i]) is not None]),
            tuple([c for i in self._heaters if (c := believed[i]) is not None]),
            ambient_c, None if run is None else run.setpoint_c,
            self._heating.on, self._heating.duty, inputs.ledger_silent_s, inputs.inbox_silent_s,
            tuple([heat_k.get(i) for i in self._parts if believed[i] is not None]),
            screened.doubted, 2.0 if run is None else run.profile.band_c, too_hot,
            armed=inputs.armed, ledger_gone=inputs.ledger_gone, time_back=t.back,
        )  # fmt: skip
        events += self._guard.look(view, inputs.wall_s)

    # ---- where should the oven be, and how much heat is that --------------------------------

    def _follow_profile(
        self,
        run: ProfileRun,
        dt_s: float,
        screened: Screened,
        ambient_c: float,
        events: list[Event],
    ) -> None:
        control_c = screened.control_c
        assert control_c is not None
        believed = screened.believed_c
        temps_c = [control_c, *[c for i in self._parts if (c := believed[i]) is not None]]
        glass = self.cure.glasses(control_c)
        oven = Oven(control_c, min(temps_c), max(temps_c), ambient_c, self._paused, glass)
        before, segment, by_glass = run.index, run.segment, run.held_by_glass
        why = run.advance(dt_s, oven, self.cure.reached)
        if why is not None:
            named = oven_parts(self.settings, believed, control_c)
            sentence = given_up(self.settings, run, segment, why, named, by_glass)
            events.append(Event("phase", "not-reached", sentence))
        if run.index != before:
            self.moved_on(run, segment, events)

    def moved_on(self, run: ProfileRun, left: Segment, events: list[Event]) -> None:
        """The run has left a segment: on to the next, or to the night's end."""
        self.cure.soaked(left, events)
        if run.finished:
            done = Phase.DONE, "done", f"'{run.profile.name}' is done."
            self.end(*self.switch_test.cut_short() or done, events)
            return
        self.phase = Phase(run.segment.kind)
        said = begins(self.phase.value, run.index + 1, len(run.profile.segments))
        events.append(Event("phase", self.phase.value, said))

    def _ask_for_heat(self, dt_s: float, screened: Screened, ambient_c: float) -> None:
        run, control_c = self._run, screened.regulated_c
        if run is None or control_c is None or screened.doubted or self.box.open:
            self._heating.ask_nothing()
            return
        if self._guard.heat_check.pulse:
            self._heating.ask_all()
            return
        ahead_c = run.ahead(self.settings.model.lead_s)
        self._heating.ask(dt_s, run.setpoint_c, ahead_c, control_c, ambient_c)

    def _ambient(self, screened: Screened) -> float:
        """The believed ambient, °C, else the last one believed, else the assumed one."""
        self._ambient_known = False
        for i in self._ambients:
            ambient_c = screened.believed_c[i]
            if ambient_c is not None:
                self._ambient_c, self._ambient_known = ambient_c, True
                break
        return self._ambient_c

    # ---- say it ---------------------------------------------------------------------------

    def _decision(
        self,
        heater_on: bool,
        off: WhyOff | None,
        screened: Screened,
        ambient_c: float,
        now: CommandContext,
        outcomes: list[Outcome],
    ) -> Decision:
        run = self._run
        cure = self.cure.report(run, self._control_c, ambient_c, now.events)
        waits = self.box.open or self._interruption.pending or (run is not None and run.waiting)
        return Decision(
            heater_on, self._contactor_on, run is not None or self._fan_s > 0.0, self.phase,
            None if run is None else run.index,
            None if run is None else round(run.setpoint_c, 4),
            screened.control_c, self._heating.duty,
            run is not None and run.waiting, self._alarms.trip, off,
            screened.believed_c, screened.faults, tuple(now.events), tuple(outcomes), cure,
            tuple(now.checks), now.begun, self._longer_s,
            heater_on and self._guard.heat_check.relay_alone,
            self.annunciator.signals(self.phase, waits),
            self.cure.beliefs, (*self.cure.evidence(), *self._oven.taken()),
        )  # fmt: skip

    @property
    def run(self) -> ProfileRun | None:
        """The profile under way, to look at."""
        return self._run

    @property
    def night_s(self) -> float:
        """How long the night has lasted, s."""
        return self._times.night_s

    @property
    def latch(self) -> Alarms:
        """The alarms' states and the trip latch."""
        return self._alarms

    @property
    def switchings(self) -> int:
        """How often the heater's relay has been told to change."""
        return self._heating.switchings

    def alarms(self) -> list[Alarm]:
        """Alarms that are not normal, oldest first."""
        return self._alarms.shown()

    # ---- remember -------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready: `restore` gives a loop that decides the same, to the bit, where
        its `settings` are the same, a thermometer's corrected offset among them."""
        return {
            "screening": self._screening.snapshot(),
            "steady": self._steady.snapshot(),
            **self._guard.snapshot(),
            **self._heating.snapshot(),
            "run": None if self._run is None else self._run.snapshot(),
            "cure": self.cure.snapshot(self._run is not None),
            "cups": self.cure.cups.snapshot(),
            "phase": self.phase.value,
            **self._times.snapshot(),
            "interruption": self._interruption.snapshot(),
            "box": self.box.snapshot(),
            **{name: getattr(self, f"_{name}") for name in PLAIN},
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot as if nothing had happened in between."""
        self._screening.restore(state["screening"])
        self._steady.restore(state.get("steady", []))
        self._guard.restore(state)
        self._run = None if state["run"] is None else ProfileRun.restore(state["run"])
        self._heating.restore(state, None if self._run is None else self._run.profile)
        self.cure.restore(state.get("cure"), self._run)
        self.cure.cups.restore(state.get("cups", []))
        self.phase = Phase(state["phase"])
        self._times.restore(state)
        for name in PLAIN:  # an older snapshot has fewer
            setattr(self, f"_{name}", state.get(name, getattr(self, f"_{name}")))
        self.box.restore(state.get("box", {}))
        self._interruption.restore(state, self._moment())

    def resume(self, state: dict[str, Any]) -> None:
        """Take up the night of a snapshot after a crash or power cut; a trip stays a trip."""
        self.restore(state)
        self._screening = Screening(self.settings.thermometers)
        self._screening.resume(state["screening"])
        self._steady = Steady(len(self.settings.thermometers))
        heat_w, running = self._heating.duty * self.settings.heater.power_w, self._run is not None
        self._interruption.begin(self._moment(), self._times.night_s, heat_w, running)
        self._heating.resume()
        self._guard.heat_check.resume()
        self._times.resume()
        self.cure.cups.resume()
        self._contactor_on = False
