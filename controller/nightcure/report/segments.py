"""One pass over a night's ticks: how its segments went, its energy, what was not believed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..ledger.reader import LedgerReader
from ..ledger.rows import TickRow, passed_s
from ..record.off_sentences import at_rest
from .standing import Standing, StandingWatch

#: A gap between ticks longer than so many ticks is a pause: the heater was off meanwhile.
PAUSE_TICKS = 3.0


@dataclass
class Spread:
    """Lowest, highest and mean of what was seen."""

    low: float = float("inf")
    high: float = float("-inf")
    total: float = 0.0
    count: int = 0

    def add(self, value: float) -> None:
        """See one more."""
        self.low, self.high = min(self.low, value), max(self.high, value)
        self.total += value
        self.count += 1

    @property
    def mean(self) -> float:
        """Of all seen."""
        return self.total / self.count


@dataclass
class SegmentSummary:
    """One segment as it went. Times are s of the night, wall times UTC s, temperatures °C."""

    number: int
    kind: str
    start_wall_s: float
    start_s: float
    start_c: float | None
    end_s: float = 0.0
    end_c: float | None = None
    waited_s: float = 0.0
    counted_s: float = 0.0
    """Of a soak: the time that counted."""
    air: Spread = field(default_factory=Spread)
    """While a soak counted."""
    parts: dict[str, Spread] = field(default_factory=dict)
    """While a soak counted, by thermometer."""
    over: bool = False
    """The next one began, or the night was done."""


@dataclass
class Withheld:
    """A stretch in which a night's heat was not allowed, whatever the reasons in it."""

    start_wall_s: float
    length_s: float = 0.0
    """To the tick on which heat was allowed or the night over, or the last that was recorded."""
    reasons: list[dict[str, Any]] = field(default_factory=list)
    """Each reason once, in order: `code`, `fields` (as in `tick.WhyOff`) and its `length_s`."""

    def reason(self, code: str, fields: dict[str, str]) -> dict[str, Any]:
        """The stretch's entry for a reason."""
        for known in self.reasons:
            if (known["code"], known["fields"]) == (code, fields):
                return known
        self.reasons.append({"code": code, "fields": fields, "length_s": 0.0})
        return self.reasons[-1]


@dataclass
class TickSummary:
    """What the ticks say."""

    ticks: int = 0
    length_s: float = 0.0
    """From the start to the end, or to the last tick of a night that runs or broke off, s."""
    last_wall_s: float = 0.0
    segments: list[SegmentSummary] = field(default_factory=list)
    hottest: dict[str, Spread] = field(default_factory=dict)
    """Every thermometer over the whole night."""
    over_setpoint_k: float | None = None
    """Highest air above the highest setpoint so far asked for, in ramp and soak."""
    heater_s: float = 0.0
    switchings: int = 0
    pauses: list[tuple[float, float]] = field(default_factory=list)
    """Wall time and length (s) of gaps without a tick."""
    not_believed: dict[str, dict[str, int]] = field(default_factory=dict)
    """By thermometer: what was wrong with its readings, and in how many ticks."""
    cure: list[list[Any]] = field(default_factory=list)
    """Every part's last report, as the ledger has it (see `tick.PartCure`)."""
    cure_s: float = 0.0
    """When that was, s of the night."""
    beliefs: dict[str, list[Any]] = field(default_factory=dict)
    """By part, what was believed of it at last (see `tick.PartBelief`)."""
    withheld: list[Withheld] = field(default_factory=list)
    """When heat was not allowed while a night was under way or tripped."""
    standing: list[Standing] = field(default_factory=list)
    """How the parts stand above or below the air in a steady soak."""
    tells_off: bool = False
    """The version that recorded the night told why heat was not allowed."""


def summarise_ticks(
    reader: LedgerReader,
    night_id: int,
    settings: dict[str, Any],
    kinds: list[str],
    on_parts: Mapping[str, str],
) -> TickSummary:
    """Read every tick of a night once.

    Args:
        settings: the night's, as the ledger has them.
        kinds: of the profile's segments.
        on_parts: the profile's parts by their thermometers.
    """
    tick_s = float(settings["timing"]["tick_s"])
    thermometers = settings["thermometers"]
    names = [t["name"] for t in thermometers]
    parts = [i for i, t in enumerate(thermometers) if t["role"] in ("part", "mould")]
    g = TickSummary()
    watch = StandingWatch(on_parts)
    g.hottest = {name: Spread() for name in names}
    before: TickRow | None = None
    held: tuple[Withheld, dict[str, Any]] | None = None
    now_s = asked_c = 0.0
    for row in reader.ticks(night_id):
        decision = reader.parsed(row.decision) if row.decision != "{}" else {}
        step_s = tick_s
        if before is not None:
            step_s = passed_s(before, row, tick_s)
            if step_s > PAUSE_TICKS * tick_s and not _thin(reader, night_id):
                g.pauses.append((before.wall_s, step_s))
            now_s += step_s
            if held is not None:
                held[0].length_s += step_s
                held[1]["length_s"] += step_s
            if before.heater:
                g.heater_s += min(step_s, PAUSE_TICKS * tick_s)
            g.switchings += before.heater != row.heater
        believed = reader.parsed(row.believed)
        _thermometers(g, names, believed, decision.get("faults", ()))
        if "off" in decision:
            g.tells_off = True
            held = _withheld(g, row, decision["off"], held and held[0])
        if "cure" in decision:
            g.cure, g.cure_s = decision["cure"], now_s
            watch.cure(g.cure)
        if row.phase == "soak" and "wait" not in decision:
            watch.soak(
                now_s, row.setpoint_c, row.control_c, dict(zip(names, believed, strict=True))
            )
        else:
            watch.elsewhere()
        for belief in decision.get("beliefs", ()):
            g.beliefs[belief[0]] = belief
        if row.segment is not None:
            fresh = not g.segments or g.segments[-1].number != row.segment
            gone = _segment(g, row, now_s, kinds)
            if row.control_c is not None:
                gone.end_c = row.control_c
                asked_c = _over_setpoint(g, row, row.control_c, asked_c)
            if "wait" in decision:
                gone.waited_s += step_s
            elif row.phase == "soak" and not fresh:
                _counted(gone, row, step_s, [(names[i], believed[i]) for i in parts])
            gone.end_s = now_s
            g.length_s, g.last_wall_s = now_s, row.wall_s
        elif before is not None and before.segment is not None:
            _ended(g, row, now_s)
        g.ticks += 1
        before = row
    g.standing = watch.found()
    return g


def _thermometers(
    g: TickSummary, names: list[str], believed: list[float | None], faults: Sequence[str | None]
) -> None:
    """What a tick's thermometers show, and what is wrong with them."""
    for name, value_c in zip(names, believed, strict=True):
        if value_c is not None:
            g.hottest[name].add(value_c)
    for name, fault in zip(names, faults, strict=False):
        if fault is not None:
            counts = g.not_believed.setdefault(name, {})
            counts[fault] = counts.get(fault, 0) + 1


def _over_setpoint(g: TickSummary, row: TickRow, air_c: float, asked_c: float) -> float:
    """The highest setpoint so far, in ramp and soak; how far the air is above it is kept."""
    if row.phase not in ("ramp", "soak") or row.setpoint_c is None:
        return asked_c
    asked_c = max(asked_c, row.setpoint_c)
    over_k = air_c - asked_c
    known_k = g.over_setpoint_k
    g.over_setpoint_k = over_k if known_k is None else max(known_k, over_k)
    return asked_c


def _withheld(
    g: TickSummary, row: TickRow, off: list[Any] | None, under_way: Withheld | None
) -> tuple[Withheld, dict[str, Any]] | None:
    """The stretch that a tick's reason belongs to, and the reason's entry in it."""
    if off is None or at_rest(off[0]):
        return None
    if under_way is None:
        under_way = Withheld(row.wall_s)
        g.withheld.append(under_way)
    return under_way, under_way.reason(off[0], off[1])


def _thin(reader: LedgerReader, night_id: int) -> bool:
    return reader.thinned(night_id) is not None


def _segment(g: TickSummary, row: TickRow, now_s: float, kinds: list[str]) -> SegmentSummary:
    number = row.segment or 0
    if not g.segments or g.segments[-1].number != number:
        if g.segments:
            g.segments[-1].over = True
            g.segments[-1].end_s = now_s
        kind = kinds[number] if number < len(kinds) else row.phase
        g.segments.append(SegmentSummary(number, kind, row.wall_s, now_s, row.control_c))
    return g.segments[-1]


def _ended(g: TickSummary, row: TickRow, now_s: float) -> None:
    g.length_s, g.last_wall_s = now_s, row.wall_s
    if g.segments:
        g.segments[-1].end_s = now_s
        g.segments[-1].over = row.phase == "done"


def _counted(
    gone: SegmentSummary, row: TickRow, step_s: float, parts: list[tuple[str, float | None]]
) -> None:
    gone.counted_s += step_s
    if row.control_c is not None:
        gone.air.add(row.control_c)
    for name, part_c in parts:
        if part_c is not None:
            gone.parts.setdefault(name, Spread()).add(part_c)
