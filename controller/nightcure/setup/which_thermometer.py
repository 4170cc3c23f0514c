"""Which thermometer is which: warm one in the hand and see which rises."""

from __future__ import annotations

import time
from statistics import median
from typing import NamedTuple

from ..board.ds18b20 import Bus
from ..errors import BadInput
from ..settings import Role, Thermometer
from ..tick import Fault, Reading
from ..units import TemperatureUnit, show_difference, show_temperature
from .questions import Asker, one_of, plain_text

#: A sensor is in the hand when it rose so far, and so much further than any other.
RISE_K, AHEAD_K = 1.5, 0.8
#: Rounds from which the level before the hand is taken, and rounds in a row that must agree.
FIRST_ROUNDS, AGREE_ROUNDS = 3, 2
#: Between the rounds, which take a conversion each.
BETWEEN_S = 0.3
PATIENCE_S = 120.0

FAULT_WORDS = {
    Fault.MISSING: "gone from the bus: look at its plug and cable",
    Fault.CRC: "garbled (checksum): cable too long, no pull-up, or a loose wire",
    Fault.POWER_ON: "85 °C, its power-on value: its supply wire is weak or not connected",
    Fault.BUS: "no answer: look at its wires and the pull-up resistor",
    Fault.RANGE: "a temperature it cannot measure: a broken or copied sensor",
}
NAMES = {
    Role.AIR: "Air",
    Role.PART: "Part",
    Role.MOULD: "Mould",
    Role.AMBIENT: "Shed",
    Role.HEATER: "Heater",
}


def say_reading(reading: Reading, units: TemperatureUnit) -> str:
    """A reading as people read it, or what is wrong with it."""
    if reading.fault is not None or reading.value_c is None:
        return FAULT_WORDS.get(reading.fault or Fault.MISSING, "unreadable")
    return show_temperature(reading.value_c, units)


class Rise(NamedTuple):
    """Which sensor is in the hand, how far it rose above its level before."""

    number: int
    """Its place among the readings, from 0."""
    rise_k: float


class Watcher:
    """Looks at rounds of readings for the one that rises. No I/O."""

    def __init__(self, count: int) -> None:
        self._past: list[list[float]] = [[] for _ in range(count)]
        self._rising: int | None = None
        self._agreed = 0
        self.rises_k: list[float | None] = [None] * count
        """Of every sensor, over its level at first; None where it has not been read yet."""

    def look(self, readings: tuple[Reading, ...]) -> Rise | None:
        """The sensor that rose, once it is plain."""
        for i, r in enumerate(readings):
            self.rises_k[i] = None
            if r.value_c is None or r.fault is not None:
                continue
            past = self._past[i]
            if len(past) < FIRST_ROUNDS:
                past.append(r.value_c)
            self.rises_k[i] = r.value_c - median(past)
        ranked = sorted(((k, i) for i, k in enumerate(self.rises_k) if k is not None), reverse=True)
        if not ranked or ranked[0][0] < RISE_K:
            self._agreed = 0
            return None
        best_k, best = ranked[0]
        if len(ranked) > 1 and best_k - ranked[1][0] < AHEAD_K:
            self._agreed = 0
            return None
        self._agreed = self._agreed + 1 if best == self._rising else 1
        self._rising = best
        return Rise(best, best_k) if self._agreed >= AGREE_ROUNDS else None


class ThermometerFinder:
    """The dialogue about thermometers.

    Args:
        ids: what was found on the bus.
    """

    def __init__(
        self, asker: Asker, bus: Bus, ids: tuple[str, ...], units: TemperatureUnit
    ) -> None:
        self.asker, self.bus, self.ids, self.units = asker, bus, ids, units
        self.chosen: dict[str, Thermometer | None] = {}
        """By id; None for one that is left out."""

    def show(self) -> None:
        """Every sensor with its reading, and what it was called."""
        for i, (sensor_id, reading) in enumerate(
            zip(self.ids, self.bus.read_all(), strict=True), 1
        ):
            words = f"   {self._called(sensor_id)}" if sensor_id in self.chosen else ""
            self.asker.say(f"  {i}  {sensor_id}  {say_reading(reading, self.units)}{words}")

    def choose(self) -> tuple[Thermometer, ...]:
        """Role and name for every sensor, air sensors first. Raises BadInput, Stopped."""
        ask = self.asker
        while True:
            self.chosen = {}
            ask.say(f"\nOn the bus: {len(self.ids)} thermometer{'s'[: len(self.ids) != 1]}.")
            self.show()
            if ask.yes:
                return (self._only_one(),)
            if len(self.ids) == 1:
                question = "Warm it in your hand, to see that it answers?"
            else:
                question = "Warm them in your hand, one after the other, to learn which is which?"
            if ask.yes_no("sensor", question, default=len(self.ids) > 1):
                self._warm_all()
            for number, sensor_id in enumerate(self.ids, 1):
                if sensor_id not in self.chosen:
                    self._name(sensor_id, f"{number}  {sensor_id}")
            found = tuple(t for t in self.chosen.values() if t is not None)
            if not any(t.role is Role.AIR for t in found):
                problem = "None measures the air, and the regulator needs one that does."
                if not ask.terminal:
                    raise BadInput(problem)
                ask.say(f"  {problem} Once more.")
                continue
            ask.say()
            self.show()
            if ask.yes_no("sensor", "Is that right?"):
                order = list(Role)
                return tuple(sorted(found, key=lambda t: order.index(t.role)))

    def _called(self, sensor_id: str) -> str:
        t = self.chosen[sensor_id]
        return "left out" if t is None else f"{t.role.value}: {t.name}"

    def _only_one(self) -> Thermometer:
        if len(self.ids) != 1:
            form = f"--sensor {self.ids[0]}=air:Air"
            raise BadInput(
                f"--yes cannot know which of {len(self.ids)} thermometers is which; give each as "
                f"{form}."
            )
        return Thermometer(id=self.ids[0], role=Role.AIR, name="Air")

    def _warm_all(self) -> None:
        ask = self.asker
        while True:
            left = [i for i in self.ids if i not in self.chosen]
            if not left:
                return
            stop = ", or press Enter to name the rest without it" if ask.terminal else ""
            ask.say(f"\nTake one between two fingers{stop} ...")
            found = self._wait_for_rise()
            if found is None:
                return
            sensor_id = self.ids[found.number]
            ask.say(
                f"  {sensor_id} rose by {show_difference(found.rise_k, self.units)}. Let it go."
            )
            if sensor_id in self.chosen:
                again = f"That is {self._called(sensor_id)}. Call it otherwise?"
                if not ask.yes_no("sensor", again, default=False):
                    continue
                del self.chosen[sensor_id]
            self._name(sensor_id, "It measures")

    def _wait_for_rise(self) -> Rise | None:
        ask = self.asker
        watcher = Watcher(len(self.ids))
        end_s = time.monotonic() + PATIENCE_S
        while time.monotonic() < end_s:
            found = watcher.look(self.bus.read_all())
            self._over_itself(self._most(watcher))
            if found is not None or ask.pressed_enter(BETWEEN_S):
                self._over_itself("\r")
                return found
        self._over_itself("\r")
        ask.say(f"  None rose by {show_difference(RISE_K, self.units)}; warm water does it too.")
        return None

    def _over_itself(self, line: str) -> None:
        """At a terminal, a line over the last one (rich would drop the carriage return)."""
        if self.asker.terminal:
            self.asker.console.file.write(f"\r{'':60}\r{line}")
            self.asker.console.file.flush()

    def _most(self, watcher: Watcher) -> str:
        """A line that says which moved most, for writing over itself."""
        read = [(k, i) for i, k in enumerate(watcher.rises_k) if k is not None]
        if not read:
            return "  no reading yet"
        rise_k, i = max(read)
        return f"  most: {self.ids[i]} by {show_difference(rise_k, self.units, '+')}"

    def _name(self, sensor_id: str, what: str) -> None:
        ask = self.asker
        named = [t for t in self.chosen.values() if t is not None]
        default = Role.PART if any(t.role is Role.AIR for t in named) else Role.AIR
        words = (*(r.value for r in Role), "skip")
        question = f"{what} ({', '.join(words)})"
        role = ask.ask("sensor", question, one_of(*words), default=default.value)
        if role == "skip":
            self.chosen[sensor_id] = None
            return
        names = {t.name for t in named}
        plain = NAMES[Role(role)]
        free = next(n for n in (plain, *(f"{plain} {i}" for i in range(2, 99))) if n not in names)

        def fresh(text: str) -> str:
            name = plain_text(40)(text)
            if name in names:
                raise ValueError(f"'{name}' is the name of another one.")
            return name

        name = ask.ask("sensor", "Its name", fresh, default=free)
        self.chosen[sensor_id] = Thermometer(id=sensor_id, role=Role(role), name=name)


def parse_sensor(text: str) -> Thermometer:
    """A thermometer typed as `28-0000000000a1=air:Air`. Raises BadInput, one sentence."""
    from pydantic import ValidationError

    from ..errors import faults_as_sentences

    sensor_id, equals, rest = text.partition("=")
    if not equals:
        raise BadInput(f"--sensor {text}: write id, role and name, as 28-0000000000a1=air:Air.")
    role, _, name = rest.partition(":")
    try:
        plain_text(40)(name or role)
        return Thermometer.model_validate(
            {"id": sensor_id.strip().lower(), "role": role.strip(), "name": (name or role).strip()}
        )
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, f"--sensor {text}")) from None
    except ValueError as error:
        raise BadInput(f"--sensor {text}: {error}") from None
