"""Is this reading believable? One sensor against its own past, and the sensors against each other.

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
#: Air this far below every part (heat flows from air to parts), or two air sensors this far
#: apart, for so long: one of them does not measure the oven's air ...
DISAGREES_C, DISAGREES_S = 8.0, 120.0
#: ... but air sensors that have all warmed since the night began, the coldest by this share of what
#: the warmest did, are in one badly stirred box.
WARMED_SHARE = 0.2
#: In a pause of heat, and until the air has caught up again, the air of a light box lies well below
#: its parts; a sensor outside, or a box wide open, further still. So do two air sensors that were
#: apart under heat and came together without it: badly stirred air, which the heater parts again.
PAUSED_DISAGREES_C = 16.0
#: The doubt ends once the coldest air has risen so far from its lowest, as it does when the box is
#: shut. Parts that cool down to a sensor hanging outside end no doubt. Two air sensors that were
#: only apart from each other (a warm corner under full heat) end it when they agree again.
RISEN_C = 3.0
#: It ends, too, where the air answers a pulse of heat, and is doubted again only when it is further
#: off than then by so much.
ANSWERED_MARGIN_C = 4.0
#: Heavy moulds lag far behind air that is let cool, in a ramp down, or in a soak that was lowered;
#: only air this far below the setpoint as well would be heated for.
AMISS_C = 2.0
#: After the door was shut on warm moulds the air needs this long to catch up with them.
SETTLE_S = 600.0
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
        self._parts = tuple(
            i for i, t in enumerate(thermometers) if t.role in (Role.PART, Role.MOULD)
        )
        self._past = [_Past(t) for t in thermometers]
        self._stale_s = stale_after_s(len(thermometers))
        self._apart_s = 0.0
        self._below_s = 0.0
        self._heated_s = 0.0
        self._unpaused_s = SETTLE_S
        """Since heat was held off last."""
        self._on_s = 0.0
        """How long the heater was on in all."""
        self._first_c: dict[int, float] = {}
        """What each air sensor showed first in this night."""
        self._lowest_c: float | None = None
        """While the air is in doubt, the coldest it was."""
        self._by_parts = False
        """And whether the parts were warmer."""
        self._heard = 0
        """And of how many air sensors at most."""
        self._apart_c = self._below_c = DISAGREES_C
        """How far apart two air sensors may be in this night, and the air below every part."""

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
    ) -> Screened:
        """What to believe at `now_s`.

        Args:
            heated: a ramp or a soak; only then frozen and disagreeing sensors are looked for (a
                cold oven at rest may well stand still).
            self_heat_k: by thermometer, how much hotter a part is known to make itself.
            heater_on: since the last tick.
            paused: heat is wanted and held off, so that the air falls below the parts by itself.
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
        self._compare(believed, dt_s, watched, cooling_to_c, self_heat_k, paused, answered)
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
        doubted = self._lowest_c is not None
        return Screened(tuple(believed), tuple(faults), control_c, doubted, air_fault, still)

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

    def _compare(
        self,
        believed: list[float | None],
        dt_s: float,
        watched: bool,
        cooling_to_c: float | None,
        self_heat_k: Mapping[int, float],
        paused: bool,
        answered: bool,
    ) -> None:
        """Put the air in doubt, or end the doubt. Who says nothing speaks neither for it nor
        against it."""
        self._heated_s = self._heated_s + dt_s if watched else 0.0
        self._unpaused_s = 0.0 if paused else self._unpaused_s + dt_s
        if self._heated_s < SETTLE_S:
            self._apart_s = self._below_s = 0.0
            self._lowest_c, self._heard, self._by_parts = None, 0, False
            self._apart_c = self._below_c = DISAGREES_C
            self._first(believed, watched)
            return
        air = [c for i in self._air if (c := believed[i]) is not None]
        parts = [c - self_heat_k.get(i, 0.0) for i in self._parts if (c := believed[i]) is not None]
        apart_k = max(air) - min(air) if len(air) > 1 else 0.0
        below_k = min(parts) - min(air) if air and parts else 0.0
        if answered and self._lowest_c is not None:
            self._apart_c = max(self._apart_c, apart_k + ANSWERED_MARGIN_C)
            self._below_c = max(self._below_c, below_k + ANSWERED_MARGIN_C)
            self._apart_s = self._below_s = 0.0
            self._lowest_c, self._heard, self._by_parts = None, 0, False
        if len(air) > 1:
            apart = apart_k > self._apart_c and not self._warmed(believed)
            self._apart_s = self._apart_s + dt_s if apart else 0.0
        if air and parts:
            # As the air catches up, less is allowed again.
            self._below_c = max(min(self._below_c, below_k + ANSWERED_MARGIN_C), DISAGREES_C)
            lately_paused = self._unpaused_s < SETTLE_S
            below = below_k > max(self._below_c, PAUSED_DISAGREES_C if lately_paused else 0.0)
            below &= cooling_to_c is None or min(air) < cooling_to_c - AMISS_C
            self._below_s = self._below_s + dt_s if below else 0.0
        if air:
            self._doubt(min(air), len(air))

    def _first(self, believed: list[float | None], watched: bool) -> None:
        """Keep what each air sensor shows as a night begins."""
        if not watched:
            self._first_c = {}
        for i in self._air:
            if (c := believed[i]) is not None and watched:
                self._first_c.setdefault(i, c)

    def _warmed(self, believed: list[float | None]) -> bool:
        """Whether the coldest air has warmed with the warmest, and hangs in the same box."""
        risen_k = [
            c - self._first_c[i]
            for i in self._air
            if (c := believed[i]) is not None and i in self._first_c
        ]
        return len(risen_k) > 1 and min(risen_k) > WARMED_SHARE * max(risen_k) > 0.0

    def _doubt(self, coldest_c: float, heard: int) -> None:
        """The air cannot be the oven's, or has shown that it is."""
        disagrees = self._apart_s > DISAGREES_S or self._below_s > DISAGREES_S
        if self._lowest_c is None and not disagrees:
            return
        lowest_c = coldest_c if self._lowest_c is None else min(self._lowest_c, coldest_c)
        # With one of them silent the warmer one alone would seem to have risen.
        most = max(self._heard, heard)
        risen = heard == most and coldest_c >= lowest_c + RISEN_C
        self._by_parts = self._by_parts or self._below_s > DISAGREES_S
        over = self._apart_s == self._below_s == 0.0 and (risen or not self._by_parts)
        if over and not self._by_parts:
            self._apart_c = max(self._apart_c, PAUSED_DISAGREES_C)
        self._lowest_c, self._heard = (None, 0) if over else (lowest_c, most)
        self._by_parts = self._by_parts and not over

    def resume(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot on a board whose time began anew: only a doubt outlasts that."""
        if state.get("lowest_c") is not None:
            self._restore_doubt(state)

    def correct(self, index: int, offset_c: float) -> None:
        """Give a thermometer another offset, from the next tick on."""
        self._past[index].offset_c = offset_c

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready; the offsets are the settings' own."""
        return {
            "past": [[getattr(p, k) for k in _Past.STATE] for p in self._past],
            "apart_s": self._apart_s,
            "below_s": self._below_s,
            "heated_s": self._heated_s,
            "on_s": self._on_s,
            "unpaused_s": self._unpaused_s,
            "lowest_c": self._lowest_c,
            "heard": self._heard,
            "by_parts": self._by_parts,
            "apart_c": self._apart_c,
            "below_c": self._below_c,
            "first_c": [[i, c] for i, c in self._first_c.items()],
        }

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        for past, values in zip(self._past, state["past"], strict=True):
            # Snapshots before 0.2 have no `changed_on_s`.
            for key, value in zip(_Past.STATE, values, strict=False):
                setattr(past, key, value)
        self._on_s = state.get("on_s", 0.0)  # older snapshots have neither
        self._unpaused_s = state.get("unpaused_s", SETTLE_S)
        self._restore_doubt(state)

    def _restore_doubt(self, state: dict[str, Any]) -> None:
        self._apart_s, self._below_s = state["apart_s"], state["below_s"]
        self._heated_s = state["heated_s"]
        self._lowest_c = state.get("lowest_c")  # older snapshots have neither
        self._heard = state.get("heard", 0)
        self._by_parts = state.get("by_parts", self._lowest_c is not None)
        self._apart_c = state.get("apart_c", DISAGREES_C)
        self._below_c = state.get("below_c", DISAGREES_C)
        self._first_c = {i: c for i, c in state.get("first_c", [])}
