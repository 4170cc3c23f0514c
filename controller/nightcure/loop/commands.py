"""What a person may ask of a loop, word by word: done with a sentence, or refused with one."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any, Protocol

from ..errors import BadInput
from ..guard.alarms import Alarms
from ..guard.annunciator import Annunciator
from ..guard.starting import profile_to_start
from ..guard.switch_test import SwitchTest
from ..measure.screening import Screened
from ..profile import Profile, Ramp, Segment, Soak, changed
from ..settings import MOST_OFFSET_C, Settings
from ..tick import (
    SWITCHES,
    Check,
    Command,
    Event,
    Outcome,
    Phase,
    asked_by,
    asker,
    interlock_words,
)
from ..units import show_duration, show_temperature
from .box_open import BoxOpen
from .cure_notes import moisture_note
from .cure_tracking import CureTracking
from .profile_run import ProfileRun

#: What a person must have confirmed before a start: the argument that says so, and the refusal
#: where it is anything but true.
CONFIRMED = {
    "cautions_accepted": "the cautions have not been accepted for this oven; read and accept them.",
    "limit_device_confirmed": (
        "confirm first that an independent over-temperature cut-out is in the heater's circuit "
        "and was tested."
    ),
}
#: Every confirmation, for a start where no real heater is switched.
ALL_CONFIRMED = dict.fromkeys(CONFIRMED, True)
#: Ways to check a thermometer.
METHODS = ("ice-point", "reference", "typed")


class CommandedLoop(Protocol):
    """The loop, as far as commands move it."""

    settings: Settings
    phase: Phase
    cure: CureTracking
    box: BoxOpen
    switch_test: SwitchTest
    annunciator: Annunciator

    @property
    def run(self) -> ProfileRun | None:
        """The profile under way."""

    @property
    def night_s(self) -> float:
        """How long the night has lasted, s."""

    @property
    def stop_pressed(self) -> bool:
        """Whether the button at the oven is held."""

    @property
    def latch(self) -> Alarms:
        """The alarms' states."""

    def begin(self, profile: Profile, control_c: float, who: str, events: list[Event]) -> None:
        """A night starts."""

    def end(self, phase: Phase, name: str, message: str, events: list[Event]) -> None:
        """The night is over."""

    def moved_on(self, run: ProfileRun, left: Segment, events: list[Event]) -> None:
        """The run has left a segment."""

    def shown_c(self, index: int) -> float | None:
        """What a thermometer has steadily shown, without its offset, °C."""

    def correct(self, index: int, offset_c: float) -> None:
        """Give a thermometer another offset."""


@dataclass
class CommandContext:
    """A tick, as commands see it and add to it."""

    screened: Screened
    events: list[Event]
    checks: list[Check] = field(default_factory=list)
    begun: Profile | None = None
    """Of the night that began at this tick."""
    stop_id: int = -1
    """The last stop's; it is carried out first, whatever was asked before it."""


class CommandHandler:
    """Carries out commands on a loop. Whatever the arguments are, a refusal is a sentence."""

    def __init__(self, loop: CommandedLoop) -> None:
        self._loop = loop
        self._words: dict[str, Callable[[Command, CommandContext], str]] = {
            "stop": self._stop,
            "start": self._start,
            "acknowledge": self._acknowledge,
            "silence": self._silence,
            "reset": self._reset,
            "skip": self._skip,
            "extend": self._extend,
            "setpoint": self._setpoint,
            "open": self._open,
            "shut": self._shut,
            "offset": self._offset,
            "cup": self._cup,
        }

    def execute(self, command: Command, now: CommandContext) -> Outcome:
        """Carry out one command, or refuse it."""
        told = len(now.events)
        carry_out = self._words.get(command.word, self._unknown)
        try:
            outcome, message = "done", carry_out(command, now)
        except BadInput as error:
            outcome, message = "refused", " ".join(error.sentences)
        except Exception as error:
            # A fault of the program's own. What was done of the command is not known: no heat.
            fault = f"{type(error).__name__} in '{command.word}'"
            self._loop.end(Phase.IDLE, "stopped", f"Stopped: {fault}.", now.events)
            outcome = "refused"
            message = f"Not done, by a fault of the program ({fault}); the heater is off."
        if not any(e.kind == "night" and e.name in OWN_WORDS for e in now.events[told:]):
            said = f"{asker(command.who)}: {message}"
            now.events.append(Event("command", command.word, said, outcome))
        return Outcome(command.id, outcome, message)

    @staticmethod
    def _unknown(command: Command, _: CommandContext) -> str:
        raise BadInput(f"There is no command '{command.word}'.")

    # ---- the night ------------------------------------------------------------------------

    def _stop(self, command: Command, now: CommandContext) -> str:
        now.stop_id = max(now.stop_id, command.id)
        if self._loop.run is None:
            return "No night was running; the heater is off."
        self._loop.end(Phase.IDLE, "stopped", f"Stopped {asked_by(command.who)}.", now.events)
        return "Stopped; the heater is off."

    def _start(self, command: Command, now: CommandContext) -> str:
        loop, control_c, args = self._loop, now.screened.control_c, command.args
        try:
            unconfirmed = [said for key, said in CONFIRMED.items() if args.get(key) is not True]
            if unconfirmed:
                raise BadInput(*unconfirmed, *_missing(args))
            if command.id < now.stop_id:
                raise BadInput("stop was pressed after it; start once more if still wanted.")
            if any(e.kind == "night" and e.name != "resumed" for e in now.events):
                raise BadInput("another night began or ended this very moment; start once more.")
            if now.checks:
                raise BadInput("a thermometer was corrected this very moment; start once more.")
            profile = profile_to_start(
                args.get("profile"),
                loop.settings.limits,
                trip=loop.latch.trip,
                running=loop.run is not None,
                stop_pressed=loop.stop_pressed,
                control_c=control_c,
                parts=args.get("parts"),
            )
            assert control_c is not None
            test = args.get("test")
            if test not in (None, SWITCHES):
                raise BadInput(f"test is {_found(test)}; it should be '{SWITCHES}', or left out.")
            if test and profile.parts:
                raise BadInput("the switches are tested in an empty box; leave the parts out.")
            clocks = loop.cure.prepare(profile, control_c)
        except BadInput as error:
            raise BadInput(f"Not started: {' '.join(error.sentences)}") from None
        loop.begin(profile, control_c, command.who, now.events)
        loop.switch_test.begin(test == SWITCHES)
        strong = loop.settings.outrun()
        if strong is not None:
            now.events.append(Event("note", "heater", strong))
        now.begun = profile
        now.events.extend(loop.cure.begin(profile, clocks))
        believed_c = now.screened.believed_c
        now.events.extend(moisture_note(profile, loop.settings, believed_c, control_c))
        return f"Started '{profile.name}'."

    def _acknowledge(self, command: Command, now: CommandContext) -> str:
        name = command.args.get("alarm")
        if name is not None and not isinstance(name, str):
            raise BadInput(f"There is no alarm {_found(name)}; give its name, or none for all.")
        moved = self._loop.latch.acknowledge(name)
        if not moved:
            raise BadInput("There was nothing to acknowledge.")
        now.events.extend(moved)
        return "Acknowledged."

    def _silence(self, _: Command, __: CommandContext) -> str:
        if not self._loop.annunciator.silence():
            raise BadInput("There was nothing to silence.")
        return "The siren is silent; its alarms still want to be acknowledged."

    def _reset(self, _: Command, now: CommandContext) -> str:
        loop = self._loop
        if loop.latch.trip is None:
            raise BadInput("Nothing has tripped.")
        moved, why_not = loop.latch.reset()
        if why_not is not None:
            raise BadInput(f"Not reset: {why_not}")
        now.events.extend(moved)
        loop.phase = Phase.IDLE
        now.events.extend(loop.cure.end())
        return "Reset; the oven may be started again."

    # ---- the segment under way ------------------------------------------------------------

    def _skip(self, _: Command, now: CommandContext) -> str:
        run = self._running()
        left, number = run.segment, run.index + 1
        run.skip()
        self._loop.moved_on(run, left, now.events)
        return f"Left segment {number} ({left.kind})."

    def _extend(self, command: Command, _: CommandContext) -> str:
        run = self._running()
        soak = run.segment
        if not isinstance(soak, Soak):
            raise BadInput("Only a soak has a length, and none is under way.")
        minutes = _number(command.args, "minutes")
        hours = round(soak.hours + minutes / 60.0, 6)
        if hours * 3600.0 <= run.counted_s:
            counted = show_duration(run.counted_s)
            raise BadInput(f"The soak has lasted {counted} already; to end it now, skip it.")
        longest_h = self._loop.settings.limits.longest_night_h
        if hours > longest_h:
            raise BadInput(
                f"The soak would last {show_duration(hours * 3600.0)} and the longest allowed is a "
                f"night of {show_duration(longest_h * 3600.0)}; add fewer minutes."
            )
        self._change(run, changed(run.profile, run.index, hours=hours))
        return f"The soak now lasts {show_duration(hours * 3600.0)}."

    def _setpoint(self, command: Command, _: CommandContext) -> str:
        """Another temperature for the soak under way, or for a ramp and the soak that holds it."""
        run, celsius = self._running(), _number(command.args, "celsius")
        segment, number = run.segment, run.index
        shown = show_temperature(celsius, self._loop.settings.units)
        if isinstance(segment, Soak):
            self._change(run, changed(run.profile, number, at_c=celsius))
            return f"The soak now goes to {shown}."
        if not isinstance(segment, Ramp):
            raise BadInput("A cool-down has no temperature to hold; stop, or let it end.")
        after = changed(run.profile, number, to_c=celsius)
        held = run.profile.segments[number + 1 : number + 2]
        along = [s for s in held if isinstance(s, Soak) and s.at_c == segment.to_c]
        if along:
            after = changed(after, number + 1, at_c=celsius)
        self._change(run, after)
        goes = "and the soak after it now go" if along else "now goes"
        return f"The ramp {goes} to {shown}."

    def _open(self, command: Command, now: CommandContext) -> str:
        """The box is being opened, to look or to lay wet resin."""
        self._running()
        laying = command.args.get("laying")
        if not isinstance(laying, bool):
            raise BadInput(
                f"laying is {_found(laying)}; it should be true where wet resin is laid, false "
                f"where somebody only looks."
            )
        return self._loop.box.opened(laying, now.screened.control_c)

    def _shut(self, command: Command, _: CommandContext) -> str:
        """The box is shut; `aired` confirms that wet resin in it has gelled with the box open."""
        run, aired = self._running(), command.args.get("aired", False)
        if not isinstance(aired, bool):
            raise BadInput(f"aired is {_found(aired)}; it should be true or false.")
        return self._loop.box.shut(aired, run.profile)

    def _running(self) -> ProfileRun:
        run = self._loop.run
        if run is None:
            raise BadInput("No night is running.")
        return run

    def _change(self, run: ProfileRun, after: Profile) -> None:
        """Go on by another profile, where this oven and this night bear it."""
        night_s = self._loop.night_s
        before, before_s = run.profile, night_s + run.longest_left_s()
        limits = self._loop.settings.limits
        refusals = after.unbearable(limits)
        if refusals:
            raise BadInput(*refusals)
        run.profile = after
        longest_s = night_s + run.longest_left_s()
        if longest_s > max(limits.longest_night_h * 3600.0, before_s):
            run.profile = before
            raise BadInput(
                f"The night would last {show_duration(longest_s)} and the longest allowed is "
                f"{show_duration(limits.longest_night_h * 3600.0)}."
            )
        run.plan_waits(limits.longest_night_h * 3600.0 - night_s)
        self._loop.cure.changed(after)

    def _cup(self, command: Command, now: CommandContext) -> str:
        """A gel cup was poured, looked at, or is forgotten."""
        return self._loop.cure.cup(command.args, now.screened.believed_c)

    # ---- thermometers ---------------------------------------------------------------------

    def _offset(self, command: Command, now: CommandContext) -> str:
        loop, args = self._loop, command.args
        if loop.run is not None:
            raise BadInput("A night is running; thermometers are checked while the oven rests.")
        if loop.latch.trip is not None:
            raise BadInput(
                f"The oven has tripped ({interlock_words(loop.latch.trip)}); reset first."
            )
        ids = [t.id for t in loop.settings.thermometers]
        sensor_id, method = args.get("sensor_id"), args.get("method")
        if sensor_id not in ids:
            raise BadInput(f"There is no thermometer {_found(sensor_id)}; give its 1-Wire id.")
        if method not in METHODS:
            raise BadInput(f"method is {_found(method)}; it should be {' or '.join(METHODS)}.")
        index = ids.index(sensor_id)
        name, units = loop.settings.thermometers[index].name, loop.settings.units
        shown_c = reference_c = None
        if method == "typed":
            offset_c = _number(args, "offset_c")
        else:
            reference_c = 0.0 if method == "ice-point" else _number(args, "reference_c")
            shown_c = loop.shown_c(index)
            if shown_c is None:
                raise BadInput(f"{name} does not show one steady temperature yet; wait a minute.")
            offset_c = round(reference_c - shown_c, 3)
        if abs(offset_c) > MOST_OFFSET_C:
            raise BadInput(
                f"An offset of {offset_c:+.2f} K is beyond {MOST_OFFSET_C:g} K: that is another "
                f"sensor's reading, a wrong reference or a broken sensor."
            )
        loop.correct(index, offset_c)
        now.checks.append(Check(sensor_id, method, shown_c, reference_c, offset_c, command.who))
        said = "" if shown_c is None else f" It showed {show_temperature(shown_c, units)}."
        return f"{name} is corrected by {offset_c:+.2f} K from now on.{said}"


#: Night events that tell by themselves who asked: no second sentence beside them.
OWN_WORDS = ("started", "stopped")


def _missing(args: dict[str, Any]) -> tuple[str, ...]:
    """Which confirmations are not among a start's arguments at all, for whoever wrote them."""
    keys = [key for key in CONFIRMED if key not in args]
    return (f"The command does not say {' and '.join(keys)}.",) if keys else ()


def _number(args: dict[str, Any], key: str) -> float:
    """A finite number among the arguments, or a sentence."""
    value = args.get(key)
    if value is None:
        raise BadInput(f"{key} is missing; give a number.")
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            if math.isfinite(number := float(value)):
                return number
        except OverflowError:
            pass
    raise BadInput(f"{key} is {_found(value)}; it should be a finite number.")


def _found(value: Any) -> str:
    """A value as it came, shortened where it is long, in letters that any file can hold."""
    try:
        text = repr(value)
    except ValueError:  # an int of more digits than Python prints
        text = "a number too long to print"
    return text if len(text) <= 40 else f"{text[:37]}..."
