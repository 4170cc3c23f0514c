"""What crosses the loop's two doors: a tick's inputs and its decision. Plain, fixed, comparable."""

from __future__ import annotations

from enum import StrEnum
from typing import Any, NamedTuple

from .cure.cure_clock import When
from .profile import Profile


class Fault(StrEnum):
    """Why a reading is not believed. The first four come from the wire, the rest from screening."""

    MISSING = "missing"
    CRC = "crc"
    POWER_ON = "power-on"
    BUS = "bus"
    RANGE = "range"
    TOO_HOT = "too-hot"
    """It rose past what it can measure."""
    RATE = "rate"
    FROZEN = "frozen"
    STALE = "stale"
    DISAGREES = "disagrees"
    """In records of earlier versions: air that other thermometers contradict, now told as an
    alarm."""


#: What each fault is called.
FAULT_WORDS: dict[str, str] = {
    Fault.MISSING: "not on the bus",
    Fault.CRC: "garbled readings",
    Fault.POWER_ON: "the thermometer lost its supply",
    Fault.BUS: "the bus does not answer",
    Fault.RANGE: "out of its range",
    Fault.TOO_HOT: "hotter than it can measure",
    Fault.RATE: "sudden jumps",
    Fault.FROZEN: "the same value for too long",
    Fault.STALE: "no fresh reading",
    Fault.DISAGREES: "it contradicts the other thermometers",
}

#: What each interlock is called, by the name under which it is recorded.
INTERLOCK_WORDS: dict[str, str] = {
    "over-temperature": "over-temperature",
    "exotherm": "exotherm",
    "heat-unexplained": "unexplained heat",
    "heater-stuck-on": "heater stuck on",
    "control-sensor-lost": "no air temperature",
    "air-doubted": "air temperature doubted",
    "sensor-lost": "thermometer lost",
    "part-warm": "part too warm",
    "heat-unanswered": "heat unanswered",
    "heater-without-effect": "heater without effect",
    "cannot-hold": "cannot hold the temperature",
    "heater-on-too-long": "heater on for too long",
    "fan-failed": "fan failed",
    "night-too-long": "night too long",
    "tick-late": "controller stood still",
    "ledger-lost": "record lost",
    "time-went-back": "clock went back",
    "resume-refused": "night not resumed",
}


def interlock_words(name: str) -> str:
    """What an interlock is called; of one this version does not know, its name in words."""
    return INTERLOCK_WORDS.get(name, name.replace("-", " "))


def interlock_title(name: str) -> str:
    """The same at the beginning of a sentence."""
    words = interlock_words(name)
    return words[:1].upper() + words[1:]


class Reading(NamedTuple):
    """What one thermometer said.

    Attributes:
        value_c: °C as the sensor gave it, without its offset; None when it gave nothing usable.
        taken_s: monotonic time (s) of the conversion that made the value.
        fault: what the wire found wrong with it, or None.
    """

    value_c: float | None
    taken_s: float
    fault: Fault | None = None


class Phase(StrEnum):
    """Where the night is."""

    IDLE = "idle"
    RAMP = "ramp"
    SOAK = "soak"
    COOL = "cool"
    DONE = "done"
    TRIPPED = "tripped"


class Mark(StrEnum):
    """What the trip latch on the disk is to say."""

    CLEAR = "clear"
    ARMED = "armed"
    """A night is under way: who finds it so and cannot judge how it stood keeps the heat off."""
    TRIPPED = "tripped"


class Held(NamedTuple):
    """What a controller that starts finds standing, and stays in.

    Attributes:
        trip: the interlock that had tripped; None where a night cannot be taken up again.
        message: its sentence, or the clause that says why the night cannot.
    """

    trip: str | None
    message: str


#: The argument `test` of a start whose night is a test of the switches.
SWITCHES = "switches"


class Command(NamedTuple):
    """A row of the inbox, taken and not expired."""

    id: int
    word: str
    """`start`, `stop`, `skip`, `extend`, `setpoint`, `open`, `shut`, `acknowledge`, `silence`,
    `reset`, `offset` or `cup`."""
    args: dict[str, Any]
    who: str


#: How a command of the page is recorded: this, and the address it came from.
PAGE = "page, "


def asked_by(who: str) -> str:
    """Who gave a command, after a verb: "by Ann", or where on the page it came from."""
    where = who.removeprefix(PAGE)
    if where == who:
        return f"by {who}"
    if where in ("127.0.0.1", "::1"):
        return "on the page, at the board itself"
    return f"on the page, from another device ({where})"


def asker(who: str) -> str:
    """The same at the beginning of a line."""
    said = asked_by(who)
    return who if said == f"by {who}" else said.capitalize()


class TickInputs(NamedTuple):
    """Everything the loop may know at a tick.

    Attributes:
        mono_s: monotonic seconds; control runs on it.
        wall_s: UTC seconds; people read it.
        readings: one per thermometer, in the order of the settings.
        commands: taken from the inbox since the last tick.
        ledger_silent_s: how long the ledger has accepted no write, s.
        inbox_silent_s: how long the inbox could not be read, s.
        stop_pressed: the stop button is held.
        armed: the latch on the disk was read back and says that this night is under way; True where
            none is kept (a rehearsal, a night of an earlier version).
        ledger_gone: the ledger's file was removed or replaced under the controller.
        held: at the first tick after a start: the trip that the controller stays in.
        wall_known: the wall clock is set; a board without a clock's battery starts with any time.
        boot: at the first tick after a start: the identity of the boot that `mono_s` counts from.
        silence_pressed: the silence button was pressed since the last tick, or is held.
    """

    mono_s: float
    wall_s: float
    readings: tuple[Reading, ...]
    commands: tuple[Command, ...] = ()
    ledger_silent_s: float = 0.0
    inbox_silent_s: float = 0.0
    stop_pressed: bool = False
    armed: bool = True
    ledger_gone: bool = False
    held: Held | None = None
    wall_known: bool = True
    boot: str = ""
    silence_pressed: bool = False


class Event(NamedTuple):
    """Something that happened, in one sentence."""

    kind: str
    """`night`, `phase`, `alarm`, `trip`, `command`, `cure` or `note`."""
    name: str
    message: str
    state: str | None = None
    """Alarms: their state after the event."""


class Outcome(NamedTuple):
    """What became of a command."""

    command_id: int
    outcome: str
    """`done` or `refused`."""
    message: str


class Check(NamedTuple):
    """A thermometer was held against something known.

    Attributes:
        sensor_id: its 1-Wire id.
        method: `ice-point`, `reference` or `typed`.
        shown_c: what it showed without an offset; None where the offset was typed.
        reference_c: what was true; None where the offset was typed.
        offset_c: added to every reading from now on.
    """

    sensor_id: str
    method: str
    shown_c: float | None
    reference_c: float | None
    offset_c: float
    who: str


class PartCure(NamedTuple):
    """How far one part's resin is.

    Attributes:
        part_c: the temperature its clock ran on, °C; None before its resin is mixed.
        degree: of cure by the generic law, where its card has one.
        equivalent_min: minutes at the card's reference temperature since the mixing.
        self_heat_k: how much hotter than the air its own heat should make it now.
        too_cold: it has not gelled and is colder than its card has data for.
        milestones: reached ones and, along the rest of the profile, those to come; s of the night.
        tg_c: its glass transition, likely, where its card tells it.
    """

    name: str
    part_c: float | None
    degree: float | None
    equivalent_min: float
    self_heat_k: float
    too_cold: bool
    milestones: tuple[When, ...]
    tg_c: float | None = None


class Evidence(NamedTuple):
    """Something seen in the night, to be kept for the next one.

    Attributes:
        batch: what the batch of resin is called that it tells of; empty where it is of none.
        kind: `cup`, `heat`, or `end`: how far a part had come when its night ended; `mould`: how
            a part's mould followed air and heater; `oven`: what the oven was found to be.
        found: what it says, JSON-ready.
    """

    batch: str
    kind: str
    found: dict[str, Any]


class PartBelief(NamedTuple):
    """What is believed of a part's cure, by all that was seen; each early, likely and late (10, 50
    and 90 %).

    Attributes:
        gel_factor, cure_factor: on its card's gel times, and on its times after the gel.
        gelled_s, demould_s: s of the night; None where it is not in sight.
        seen: what speaks beside the card: `cup`, `heat`.
    """

    name: str
    gel_factor: tuple[float, ...]
    cure_factor: tuple[float, ...]
    gelled_s: tuple[float | None, ...]
    demould_s: tuple[float | None, ...] | None
    seen: tuple[str, ...]


class OffCode(StrEnum):
    """Why the heater may not be on."""

    STARTING = "starting"
    """The controller has just begun; the loop has not been asked yet."""
    STOP_PRESSED = "stop-pressed"
    TRIPPED = "tripped"
    """Fields: `alarm`, the interlock that holds the oven off."""
    NO_NIGHT = "no-night"
    """Fields: `phase`."""
    RESUMING = "resuming"
    BOX_OPEN = "box-open"
    """Somebody has said that the box is being opened."""
    WET_RESIN = "wet-resin"
    """... to lay wet resin, which has not been said to be aired yet."""
    NOT_ARMED = "not-armed"
    """The latch on the disk does not say yet that a night is under way."""
    AIR_DOUBTED = "air-doubted"
    NO_AIR = "no-air-temperature"
    """Fields: `fault`, of the air's thermometer."""
    HEAT_CHECK = "heat-check"
    """Fields: `check`, what is checked: `first-pulse`, `unanswered` or `unexplained` heat, or the
    switches (`switch-test`)."""
    CONTACTOR_OPEN = "contactor-open"


class WhyOff(NamedTuple):
    """Why the heater may not be on: a code and what goes with it. The words are made where a
    person reads them (`record.off_sentences`)."""

    code: OffCode
    fields: dict[str, str] = {}  # noqa: RUF012 - never changed


class Lamp(StrEnum):
    """How a lamp burns."""

    DARK = "dark"
    LIT = "lit"
    FLASHES = "flashes"


class Signals(NamedTuple):
    """What siren and lamps at the box are to show."""

    siren: bool = False
    running: Lamp = Lamp.DARK
    waiting: Lamp = Lamp.DARK
    ready: Lamp = Lamp.DARK
    alarm: Lamp = Lamp.DARK


class Decision(NamedTuple):
    """What is to be done now; everything the daemon does to the world comes out of one."""

    heater_on: bool
    contactor_on: bool
    fan_on: bool
    """Through a night, and for half an hour after the heat."""
    phase: Phase
    segment: int | None
    setpoint_c: float | None
    control_c: float | None
    """The believed control temperature (air, offset applied)."""
    duty: float
    waiting: bool
    trip: str | None
    """The interlock that holds the oven off, or None."""
    why_off: WhyOff | None
    """Why the heater may not be on; None where it may, on or in the off part of its window."""
    believed: tuple[float | None, ...]
    """Each thermometer's temperature if believed, offset applied, °C."""
    faults: tuple[Fault | None, ...]
    events: tuple[Event, ...] = ()
    outcomes: tuple[Outcome, ...] = ()
    cure: tuple[PartCure, ...] = ()
    """Every part's cure, once a minute and when a milestone is reached; empty in between."""
    checks: tuple[Check, ...] = ()
    """Thermometers corrected at this tick."""
    begun: Profile | None = None
    """Of the night that began at this tick, even where it is over again."""
    longer_s: float | None = None
    """At a resume: how much longer the night stood still than the wall clock says, s."""
    relay_alone: bool = False
    """The heater's relay closes with the contactor open: in a test of the switches, and only
    there, to see that no heat comes."""
    signals: Signals = Signals()
    beliefs: tuple[PartBelief, ...] = ()
    """Parts whose belief was reckoned anew at this tick."""
    evidence: tuple[Evidence, ...] = ()
    """What was seen of batches of resin, moulds and oven."""

    @property
    def mark(self) -> Mark:
        """What the latch on the disk is to say from now on."""
        if self.trip is not None:
            return Mark.TRIPPED
        under_way = self.phase in (Phase.RAMP, Phase.SOAK, Phase.COOL)
        return Mark.ARMED if under_way else Mark.CLEAR


#: A decision in which nothing is on; what a loop that knows nothing would say.
def all_off(thermometers: int) -> Decision:
    """The decision that switches everything off, for `thermometers` unread sensors."""
    return Decision(
        False, False, False, Phase.IDLE, None, None, None, 0.0, False, None,
        WhyOff(OffCode.STARTING), (None,) * thermometers, (None,) * thermometers,
    )  # fmt: skip
