"""Is this reading believable? One sensor against its own past.

Thresholds are what an oven of this kind can physically do, generously (common practice, no
source): anything beyond is the sensor's fault until shown otherwise.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NamedTuple

from ..settings import HOTTEST_C, Role, Thermometer
from ..tick import Fault, Reading
from .air_doubt import AirDoubt

#: A reading older than this says nothing about now ...
STALE_S = 10.0
#: ... but for so many thermometers that they cannot all be read in that time: where the kernel
#: converts one by one each takes 0.75 s (data sheet), and more where a look has to be repeated.
ONE_BY_ONE_S = 1.25
#: The cold end of what a DS18B20 measures (manufacturer's data sheet); a broken one says it.
COLDEST_C = -54.9
#: The fastest a probe of each role may really move, K/s, past a jump of `JUMP_C`.
FASTEST_K_PER_S = {
    Role.AIR: 2.0,
    Role.PART: 0.5,
    Role.MOULD: 0.5,
    Role.AMBIENT: 0.5,
    Role.HEATER: 5.0,
}
JUMP_C = 4.0
#: So many readings in a row at a new level end the doubt about a jump.
SETTLED_READINGS = 5
#: The power-on value, and how near to it the last reading must be for it to be a real 85 °C.
POWER_ON_C, POWER_ON_NEAR_C = 85.0, 3.0
#: A value that only says that the sensor lost its supply is believed for so long at that.
POWER_ON_STANDS_S = 60.0
#: An air sensor that repeats itself to the last bit for so long is doubted, where the heater was on
#: for more than so much of it. Without a believed air there is no heat, the air falls, and a sensor
#: that was only quiet shows it: the doubt is over.
FROZEN_S, FROZEN_ON_S = 900.0, 20.0
#: Well held air may stand still by itself. A control sensor that has repeated itself for so long is
#: asked: the regulator aims higher by two steps of the sensor (1/16 K each) until it moves.
STILL_S, ASK_K = 450.0, 0.125
NO_HEAT: Mapping[int, float] = MappingProxyType({})


def stale_after_s(thermometers: int) -> float:
    """How old a reading may be in an oven with so many thermometers, s."""
    return max(STALE_S, ONE_BY_ONE_S * thermometers)


class Screened(NamedTuple):
    """What is believed of every thermometer, in order."""

    believed_c: tuple[float | None, ...]
    faults: tuple[Fault | None, ...]
    control_c: float | None
    """The first believed air sensor, offset applied; the others stand in for it."""
    doubted: bool = False
    """The air may not be the oven's: an open box, or a sensor outside it. It is shown all the same,
    and stands in doubt until it rises or answers a pulse of heat (`guard.heat_check`); a tick on
    which a sensor says nothing does not end it."""
    air_fault: Fault | None = None
    """What is wrong with the air, where `control_c` is None."""
    still: bool = False
    """The control sensor has shown one value for so long that it is worth asking (`ASK_K`)."""

    @property
    def regulated_c(self) -> float | None:
        """What the regulator goes by: the control temperature, or less to ask a still sensor."""
        return None if self.control_c is None else self.control_c - (ASK_K if self.still else 0.0)


class _Past:
    """What one sensor said before."""

    STATE = (
        *("changed_s", "jumped", "jumps", "last_c", "last_s", "seen_s", "fault"),
        "changed_on_s",
    )
    __slots__ = (*STATE, "air", "fastest_k_per_s", "heater", "offset_c")

    def __init__(self, thermometer: Thermometer) -> None:
        self.air = thermometer.role is Role.AIR
        self.heater = thermometer.role is Role.HEATER
        self.fastest_k_per_s = FASTEST_K_PER_S[thermometer.role]
        self.offset_c = thermometer.offset_c
        self.last_c: float | None = None
        self.last_s = 0.0
        self.seen_s: float | None = None
        self.changed_s: float | None = None
        self.changed_on_s = 0.0
        self.jumped: float | None = None
        self.jumps = 0
        self.fault: str | None = None


def _near(past: _Past, value_c: float) -> bool:
    """Whether the last believed value was so near that this may well be true."""
    return past.last_c is not None and abs(past.last_c - value_c) <= POWER_ON_NEAR_C


def _passes(past: _Past, taken_s: float) -> bool:
    """Whether 85 °C may be where the sensor just is on its way; it does not stop there."""
    if past.last_c == POWER_ON_C and past.changed_s is not None:
        return taken_s - past.changed_s <= POWER_ON_STANDS_S
    return _near(past, POWER_ON_C)


class Screening:
    """Decides, reading by reading, what is believed. State is small and restorable."""

    def __init__(self, thermometers: tuple[Thermometer, ...]) -> None:
        self._air = tuple(i for i, t in enumerate(thermometers) if t.role is Role.AIR)
        self._past = [_Past(t) for t in thermometers]
        self._stale_s = stale_after_s(len(thermometers))
        self._on_s = 0.0
        """How long the heater was on in all."""
        self._doubt = AirDoubt(thermometers)

    def judge(
        self,
        now_s: float,
        dt_s: float,
        readings: tuple[Reading, ...],
        heated: bool,
        self_heat_k: Mapping[int, float] = NO_HEAT,
        cooling_to_c: float | None = None,
        heater_on: bool = True,
        paused: bool = False,
        answered: bool = False,
        halted: bool = False,
    ) -> Screened:
        """What to believe at `now_s`.

        Args:
            heated: a ramp or a soak; only then frozen and disagreeing sensors are looked for (a
                cold oven at rest may well stand still).
            self_heat_k: by thermometer, how much hotter a part is known to make itself.
            heater_on: since the last tick.
            paused: heat is wanted and held off, so that the air falls below the parts by itself.
            halted: a night that was broken off is not taken up yet: parts lie above the air by
                rights, and no doubt begins.
            answered: the air has just answered a pulse of heat, so its thermometer is in the oven.
            cooling_to_c: the setpoint where air may lie below its parts by rights (a cool-down, a
                ramp down, a soak, which may have been lowered), °C. Air far below the parts is
                `doubted` then only if it is below that, too.
        """
        self._on_s += dt_s if heater_on else 0.0
        believed: list[float | None] = []
        faults: list[Fault | None] = []
        for past, reading in zip(self._past, readings, strict=True):
            fault = self._alone(past, reading, now_s, heated)
            faults.append(fault)
            value_c = reading.value_c
            believed.append(None if fault or value_c is None else value_c + past.offset_c)
        watched = heated or cooling_to_c is not None
        self._doubt.look(
            believed, dt_s, watched, cooling_to_c, self_heat_k, paused, answered, halted
        )
        control = control_c = None
        for i in self._air:
            if believed[i] is not None:
                control, control_c = i, believed[i]
                break
        air_fault, still = None, False
        if control is not None:
            changed_s = self._past[control].changed_s
            still = changed_s is not None and now_s - changed_s > STILL_S
        else:
            air_fault = next((faults[i] for i in self._air), None)
        return Screened(
            tuple(believed), tuple(faults), control_c, self._doubt.stands, air_fault, still
        )

    def _alone(self, past: _Past, reading: Reading, now_s: float, heated: bool) -> Fault | None:
        value_c, taken_s, wire_fault = reading
        if wire_fault is Fault.POWER_ON and value_c == POWER_ON_C and _passes(past, taken_s):
            wire_fault = None  # clones show the same bytes after a conversion at 85 °C
        if wire_fault is not None and wire_fault is not Fault.RANGE:
            return wire_fault
        if value_c is None:
            return wire_fault or Fault.MISSING
        fresh = -1.0 <= now_s - taken_s <= self._stale_s
        if wire_fault or not COLDEST_C <= value_c <= HOTTEST_C:
            return Fault.TOO_HOT if fresh and self._rose_to(past, value_c, taken_s) else Fault.RANGE
        if not fresh:
            return Fault.STALE
        if taken_s == past.seen_s:
            return Fault(past.fault) if past.fault else None
        fault = self._against_past(past, value_c, taken_s)
        if fault is None:
            if value_c != past.last_c or not heated or past.changed_s is None:
                past.changed_s, past.changed_on_s = taken_s, self._on_s
            past.last_c, past.last_s = value_c, taken_s
            stood = taken_s - past.changed_s > FROZEN_S
            if past.air and stood and self._on_s - past.changed_on_s > FROZEN_ON_S:
                fault = Fault.FROZEN
        past.seen_s, past.fault = taken_s, fault
        return fault

    @staticmethod
    def _rose_to(past: _Past, value_c: float, taken_s: float) -> bool:
        """Whether the sensor rose past its hot end, as heat does and a broken wire does not.

        A heater's sensor that begins there counts as hot: the heater may have been on before.
        """
        if not HOTTEST_C < value_c < math.inf:
            return False
        if past.last_c is None:
            return past.heater
        could_c = max(JUMP_C, past.fastest_k_per_s * (taken_s - past.last_s))
        return HOTTEST_C - past.last_c <= could_c

    @staticmethod
    def _against_past(past: _Past, value_c: float, taken_s: float) -> Fault | None:
        last_c = past.last_c
        if value_c == POWER_ON_C and not _near(past, value_c):
            return Fault.POWER_ON
        if last_c is None:
            return None
        moved_c = abs(value_c - last_c)
        if moved_c <= JUMP_C or moved_c <= past.fastest_k_per_s * (taken_s - past.last_s):
            past.jumps = 0
            return None
        near = past.jumped is not None and abs(value_c - past.jumped) <= JUMP_C
        past.jumps = past.jumps + 1 if near else 1
        past.jumped = value_c
        if past.jumps < SETTLED_READINGS:
            return Fault.RATE
        past.jumps = 0
        return None

    def resume(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot on a board whose time began anew: no sensor has a past then."""
        self._doubt.resume(state)

    def correct(self, index: int, offset_c: float) -> None:
        """Give a thermometer another offset, from the next tick on."""
        self._past[index].offset_c = offset_c

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready; the offsets are the settings' own."""
        past = [[getattr(p, k) for k in _Past.STATE] for p in self._past]
        return {"past": past, "on_s": self._on_s, **self._doubt.snapshot()}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        for past, values in zip(self._past, state["past"], strict=True):
            # Snapshots before 0.2 have no `changed_on_s`.
            for key, value in zip(_Past.STATE, values, strict=False):
                setattr(past, key, value)
        self._on_s = state.get("on_s", 0.0)  # older snapshots have none
        self._doubt.restore(state)
