"""A heat-and-cool test as a table of times, and the sentences a useless one gets."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from ..errors import BadInput
from ..oven.arrays import Array

#: More rows than this are averaged in blocks: the fit needs no more.
MOST_ROWS = 1000
#: Air this far below its highest has begun to fall, K.
NEAR_TOP_K = 1.0
#: Fewer rows tell nothing.
LEAST_ROWS = 5
#: No shed is warmer, and no foam box hotter (a panel maker's long-term limit is 70-80 °C).
WARMEST_SHED_C, HOTTEST_AIR_C, COLDEST_C = 38.0, 100.0, -45.0
#: Nothing else that people note lies between these, K: -45 and 100 °C.
KELVIN = (228.0, 374.0)
#: Air so far above the shed all along, K, and within so much of it if its numbers are °F, K.
HOT_START_K, AS_FAHRENHEIT_K = 20.0, 3.0
#: While the heater is first on a part leads the air by no more than this, K.
PART_LEADS_K = 1.0


@dataclass(frozen=True)
class Log:
    """A noted test. All arrays (rows,), times rising.

    Attributes:
        time_s: s.
        air_c: °C.
        heat_time_s: (switchings,) when the heater's share changes, rising; the rows' own times, or
            noted switching times between them.
        heat: (switchings,) share of the heater's full power from each of these on, 0 to 1.
        part_c: °C of a part or mould, or None.
        ambient_c: °C of the shed, or None where nobody noted it.
        power_w: the heater's full power, or None if unknown.
        assumed: what had to be assumed to read it, sentences.
        name: of the file, for sentences.
    """

    time_s: Array
    air_c: Array
    heat_time_s: Array
    heat: Array
    part_c: Array | None = None
    ambient_c: Array | None = None
    power_w: float | None = None
    assumed: tuple[str, ...] = field(default=())
    name: str = "the log"

    @property
    def length_s(self) -> float:
        """From the first row to the last, s."""
        return float(self.time_s[-1] - self.time_s[0])

    @property
    def fallen_s(self) -> float:
        """How long ago the air was last near its highest (within `NEAR_TOP_K`), s."""
        near = np.flatnonzero(self.air_c >= float(np.max(self.air_c)) - NEAR_TOP_K)
        return float(self.time_s[-1] - self.time_s[near[-1]])

    def thinned(self, rows: int = MOST_ROWS) -> Log:
        """The same log in at most `rows` blocks, each the mean of its rows; heat keeps its sum."""
        count = len(self.time_s)
        if count <= rows:
            return self
        size = -(-count // rows)
        starts = np.arange(0, count, size)
        sizes = np.diff(np.r_[starts, count])

        def mean(values: Array) -> Array:
            out: Array = np.add.reduceat(np.asarray(values, np.float64), starts) / sizes
            return out

        first_s = float(self.time_s[0])
        time_s = mean(self.time_s - first_s) + first_s
        given = np.cumsum(self.heat[:-1] * np.diff(self.heat_time_s))
        end_s = max(float(self.heat_time_s[-1]), float(self.time_s[-1])) + 1.0
        last = given[-1] if len(given) else 0.0
        last += self.heat[-1] * (end_s - self.heat_time_s[-1])
        on_s = np.interp(
            time_s, np.append(self.heat_time_s, end_s), np.concatenate([[0.0], given, [last]])
        )
        heat = np.diff(on_s) / np.diff(time_s)
        return replace(
            self,
            time_s=time_s,
            air_c=mean(self.air_c),
            heat_time_s=time_s,
            heat=np.append(np.clip(heat, 0.0, 1.0), self.heat[-1]),
            part_c=None if self.part_c is None else mean(self.part_c),
            ambient_c=None if self.ambient_c is None else mean(self.ambient_c),
        )


def check(log: Log, ambient_stated_c: float | None = None) -> None:
    """Refuse a log from which no oven can be known.

    Raises:
        BadInput: what is wrong with it and what would be right.
    """
    name, count = log.name, len(log.time_s)
    if count < LEAST_ROWS:
        raise BadInput(
            f"{name} has {count} row{'s' * (count != 1)}; a survey needs at least {LEAST_ROWS}, "
            f"better a dozen, over a heating and a cooling."
        )
    for what, values in (("air", log.air_c), ("part", log.part_c), ("ambient", log.ambient_c)):
        if values is not None:
            _plausible(name, what, values, log, ambient_stated_c)
    within = log.heat_time_s < log.time_s[-1]
    on_at = log.heat_time_s[within & (log.heat > 0.0)]
    if not len(on_at):
        raise BadInput(
            f"{name}: the heater is never on; a survey needs a heating and a cooling. Name the "
            f"heater's column with --heater, or its times with --on and --off."
        )
    off_at = log.heat_time_s[(log.heat < 0.5) & (log.heat_time_s > on_at[0])]
    if not len(off_at) or np.sum(log.time_s > off_at[0]) < 2:
        raise BadInput(
            f"{name}: the heater is on to the last row; without a cool-down loss and heat capacity "
            f"cannot be told apart. Switch it off and note on for at least as long as it was on."
        )
    moved_k = float(np.ptp(log.air_c))
    if moved_k < 3.0:
        raise BadInput(
            f"{name}: the air moves by {moved_k:.1f} K in all; heat it by at least 10 K, or see "
            f"whether the named column is the air's."
        )


def _plausible(
    name: str, what: str, values: Array, log: Log, ambient_stated_c: float | None
) -> None:
    low, high = float(np.min(values)), float(np.max(values))
    shed_known = ambient_stated_c is not None or log.ambient_c is not None
    if low < COLDEST_C:
        raise BadInput(
            f"{name}: the {what} reads {low:g} °C, colder than any shed; see that the column is "
            f"right and in °C."
        )
    if KELVIN[0] <= low and high <= KELVIN[1]:
        raise BadInput(
            f"{name}: the {what} reads {low:g} to {high:g}, as if in kelvin; take 273.15 from each."
        )
    fahrenheit = "If the thermometer shows °F, say --fahrenheit"
    if what == "ambient" and high > WARMEST_SHED_C:
        raise BadInput(
            f"{name}: the ambient reads {high:g} °C, hotter than any shed. {fahrenheit}."
        )
    if what != "ambient" and high > HOTTEST_AIR_C:
        raise BadInput(
            f"{name}: the {what} reads {high:g} °C; a foam box softens at 80 °C. {fahrenheit}."
        )
    if what == "air" and low > WARMEST_SHED_C and not shed_known:
        raise BadInput(
            f"{name}: the coldest air is {low:g} °C, warmer than any shed. {fahrenheit}; if the "
            f"test began hot, give the shed's temperature with --ambient."
        )
    if what == "air" and shed_known:
        shed_c = _shed_c(log, ambient_stated_c)
        if low > shed_c + HOT_START_K and abs((low - 32.0) / 1.8 - shed_c) < AS_FAHRENHEIT_K:
            raise BadInput(
                f"{name}: the coldest air is {low:g} °C in a shed at {shed_c:.3g} °C, and {low:g} "
                f"°F would be the shed's own. {fahrenheit}; if it was so hot, note on until it is "
                f"colder."
            )


def _shed_c(log: Log, ambient_stated_c: float | None) -> float:
    if ambient_stated_c is not None or log.ambient_c is None:
        assert ambient_stated_c is not None
        return ambient_stated_c
    return float(np.median(log.ambient_c))


def right_way_round(log: Log) -> None:
    """Refuse a table whose part warms before its air.

    Raises:
        BadInput: while the heater is first on.
    """
    on = np.flatnonzero(log.heat > 0.0)
    if log.part_c is None or not len(on):
        return
    off = np.flatnonzero((log.heat == 0.0) & (np.arange(len(log.heat)) > on[0]))
    ends_s = log.heat_time_s[off[0]] if len(off) else log.time_s[-1]
    rows = (log.time_s >= log.heat_time_s[on[0]]) & (log.time_s <= ends_s)
    air, part = log.air_c[rows], log.part_c[rows]
    if rows.sum() > 1 and np.mean(part - part[0]) > np.mean(air - air[0]) + PART_LEADS_K:
        raise BadInput(
            f"{log.name}: the part warms ahead of the air while the heater is on; are the two "
            f"columns swapped? Name them with --air and --part, or leave the part out."
        )
