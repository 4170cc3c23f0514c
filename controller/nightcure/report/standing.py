"""By how much each part stands above or below the air, learned while a soak is steady.

A part beside the heater, or in a corner that the air does not reach, has another temperature than
the air that is regulated, night for night. It is told where it is more than the thermometers may be
off, and never from the hours in which the part's own heat explains it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, NamedTuple

from ..cure.part import Part
from ..ledger.reader import LedgerReader
from ..ledger.rows import TickRow
from ..units import TemperatureUnit, show_difference, show_duration

#: Means over so long, s; steady is what differs by no more than this from half an hour before, K.
BLOCK_S, BACK_BLOCKS, STEADY_K = 300.0, 6, 0.25
#: A part that its card expects to warm itself by more than this tells nothing, K.
OWN_HEAT_K = 0.3
#: So many steady blocks are an hour and a half with the half hour before them.
LEAST_BLOCKS = 12
#: What the two thermometers may be off one another, 95 %, K: 0.25 K one standard deviation each, of
#: sensors good for 0.5 K (maker's data sheet).
SENSORS_K = 1.96 * math.hypot(0.25, 0.25)
#: Beyond what they may be off, a difference worth a word, K.
WORTH_K = 0.5


class Standing(NamedTuple):
    """A part's standing difference from the air.

    Attributes:
        sensor: the part's thermometer.
        above_k: how far above the air it stands; below it if negative.
        within_k: half of its 95 % interval, the thermometers' own errors in it.
        steady_s: for how long it was seen.
    """

    sensor: str
    above_k: float
    within_k: float
    steady_s: float

    @property
    def worth_telling(self) -> bool:
        """Whether it is more than the thermometers may be off."""
        return abs(self.above_k) > self.within_k + WORTH_K

    def sentence(self, name: str, units: TemperatureUnit = "C") -> str:
        """What it is and what to do; `name`: of the part."""
        by_k = abs(self.above_k)
        where = "above" if self.above_k > 0.0 else "below"
        about = f"{round(1.8 * by_k)} °F" if units == "F" else f"{round(by_k)} K"
        if self.above_k > 0.0:
            do = f"move it away from the heater, or lower the setpoint by {about}"
        else:
            do = f"move it to where the air is warmer, or raise the setpoint by {about}"
        return (
            f"{name} sits {show_difference(by_k, units)} {where} the air "
            f"(±{show_difference(self.within_k, units)}, over {show_duration(self.steady_s)} of "
            f"steady soak without heat of its own): {do}."
        )


class StandingWatch:
    """Fed with a night's ticks; tells at the end.

    Args:
        parts: the parts' names by their thermometers.
    """

    def __init__(self, parts: Mapping[str, str]) -> None:
        self._parts = parts
        self._sums: dict[str, list[float]] = {}
        self._block: float | None = None
        self._heats: set[str] = set()
        self._own_k: dict[str, float] = {}
        self._setpoint_c: float | None = None
        self._history: dict[str, list[tuple[float, float] | None]] = {s: [] for s in parts}
        self._found: dict[str, list[float]] = {s: [] for s in parts}

    def cure(self, reports: Iterable[Sequence[Any]]) -> None:
        """The parts' clocks, as a tick's decision has them (`tick.PartCure`)."""
        for report in reports:
            self._own_k[report[0]] = float(report[4])

    def soak(
        self, now_s: float, setpoint_c: float | None, air_c: float | None,
        parts_c: Mapping[str, float | None],
    ) -> None:  # fmt: skip
        """A tick of a soak, its air, and the parts by thermometer."""
        block = now_s // BLOCK_S
        if block != self._block or setpoint_c != self._setpoint_c:
            self._close()
            if setpoint_c != self._setpoint_c or self._block is None or block > self._block + 1:
                self._forget()
            self._block, self._setpoint_c = block, setpoint_c
        for sensor, name in self._parts.items():
            part_c = parts_c.get(sensor)
            if air_c is None or part_c is None:
                continue
            sums = self._sums.setdefault(sensor, [0.0, 0.0, 0.0])
            for i, v in enumerate((1.0, air_c, part_c)):
                sums[i] += v
            if self._own_k.get(name, 0.0) > OWN_HEAT_K:
                self._heats.add(sensor)

    def elsewhere(self) -> None:
        """A tick of no soak, or of one that waits."""
        self._block = None
        self._forget()

    def _forget(self) -> None:
        self._sums, self._heats = {}, set()
        for history in self._history.values():
            history.clear()

    def _close(self) -> None:
        for sensor, history in self._history.items():
            sums = self._sums.get(sensor)
            mean = None
            if sums is not None and sensor not in self._heats:
                mean = sums[1] / sums[0], sums[2] / sums[0]
            history.append(mean)
            then = history[-1 - BACK_BLOCKS] if len(history) > BACK_BLOCKS else None
            if mean is None or then is None:
                continue
            if all(abs(a - b) <= STEADY_K for a, b in zip(mean, then, strict=True)):
                self._found[sensor].append(mean[1] - mean[0])
        self._sums, self._heats = {}, set()

    def found(self) -> list[Standing]:
        """Of every part that was steady for long enough, in the thermometers' order."""
        self._close()
        standing = []
        for sensor, differences in self._found.items():
            n = len(differences)
            if n < LEAST_BLOCKS:
                continue
            mean = sum(differences) / n
            sd = math.sqrt(sum((d - mean) ** 2 for d in differences) / (n - 1))
            # Neighbouring blocks say the same: half an hour of them counts as one.
            own_k = 1.96 * sd / math.sqrt(max(n / BACK_BLOCKS, 1.0))
            standing.append(Standing(sensor, mean, math.hypot(own_k, SENSORS_K), n * BLOCK_S))
        return standing


def standing_sentences(
    reader: LedgerReader, oven: str, tonights: Iterable[Part], units: TemperatureUnit
) -> list[str]:
    """What the oven's last night showed of the places in which tonight's parts lie, a sentence
    each."""
    names: dict[str, str] = {}
    for p in tonights:
        if p.sensor is not None:
            names.setdefault(p.sensor, p.name)
    return [
        f"As the last night showed: {s.sentence(names[s.sensor], units)}"
        for s in last_standing(reader, oven, tuple(names))
        if s.worth_telling
    ]


def watched_parts(profile: Mapping[str, Any]) -> dict[str, str]:
    """A profile's parts by their thermometers; of several on one, the first."""
    parts: dict[str, str] = {}
    for part in profile.get("parts") or ():
        if part.get("sensor"):
            parts.setdefault(part["sensor"], part["name"])
    return parts


def last_standing(reader: LedgerReader, oven: str, sensors: Sequence[str]) -> list[Standing]:
    """What the newest night of an oven that is over has shown, of thermometers that are used again.

    Only every tenth tick is looked at.
    """
    for row in reader.nights(limit=-1):
        if row["oven"] != oven or not row["ended_s"]:
            continue
        night = reader.night(row["id"])
        assert night is not None
        profile, settings = reader.parsed(night.profile), reader.parsed(night.settings)
        names = [t["name"] for t in settings["thermometers"]]
        watch = StandingWatch({s: n for s, n in watched_parts(profile).items() if s in sensors})
        for number, tick in enumerate(reader.ticks(night.id)):
            _see(reader, watch, tick, names, look=number % 10 == 0, began_s=night.started_s)
        return watch.found()
    return []


def _see(
    reader: LedgerReader, watch: StandingWatch, tick: TickRow, names: list[str],
    look: bool, began_s: float,
) -> None:  # fmt: skip
    if '"cure"' in tick.decision:
        watch.cure(reader.parsed(tick.decision)["cure"])
    if tick.phase != "soak":
        watch.elsewhere()
    elif look:
        believed = dict(zip(names, reader.parsed(tick.believed), strict=True))
        watch.soak(tick.wall_s - began_s, tick.setpoint_c, tick.control_c, believed)
