"""The facts of a night, gathered from its ledger. Nothing here is worded or drawn yet."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from ..cure.clock_figures import MILESTONE_WORDS
from ..errors import BadInput
from ..ledger.night_hash import all_events, night_hash, notes_hash
from ..ledger.photo import FIELD, photo_of
from ..ledger.reader import LedgerReader
from ..ledger.rows import CheckRow, EventRow, NightRow
from ..record.milestones import AFTER, perhaps, recorded_milestones
from ..units import TemperatureUnit
from .alarm_history import AlarmHistory, alarm_histories
from .segments import TickSummary, summarise_ticks
from .standing import watched_parts

#: Points of the chart's curves, about.
POINTS = 500


@dataclass
class MilestoneSummary:
    """A milestone of a part's cure; s after the night's start."""

    name: str
    reached_wall_s: float | None
    expected_s: float | None
    """Where it was not reached: when it was foreseen, had the night gone on."""
    perhaps: bool = False
    """It may have come already, and is not sure."""


@dataclass
class PartSummary:
    """How far a part on a resin card came."""

    name: str
    card: str
    catalyst_pct: float | None
    resin_kg: float
    sensor: str | None
    batch: str | None
    degree: float | None
    equivalent_min: float | None
    reference_c: float | None
    """The temperature (°C) those minutes are counted at."""
    milestones: list[MilestoneSummary] = field(default_factory=list)
    too_cold: bool = False
    seen: tuple[str, ...] = ()
    """What speaks of its resin beside the card: `cup`, `heat`."""

    @property
    def state(self) -> str:
        """How far it came, in words: the furthest milestone that has come, or perhaps has."""
        known = {m.name: m for m in self.milestones}
        for name, words in reversed(MILESTONE_WORDS.items()):
            m = known.get(name)
            if m is not None and m.reached_wall_s is not None:
                return words
            if m is not None and m.perhaps and name in ("gelled", "demould"):
                return f"perhaps {words}"
        return "not gelled"


@dataclass
class SensorUsed:
    """A thermometer of the night."""

    name: str
    role: str
    id: str
    offset_c: float
    check: CheckRow | None
    low_c: float | None
    high_c: float | None
    faults: dict[str, int]


@dataclass
class Facts:
    """All of it."""

    night: NightRow
    profile: dict[str, Any]
    settings: dict[str, Any]
    tick_summary: TickSummary
    samples: dict[str, list[Any]]
    events: list[EventRow]
    alarms: list[AlarmHistory]
    parts: list[PartSummary]
    sensors: list[SensorUsed]
    notes: dict[str, str]
    refit: dict[str, Any] | None
    thinned: dict[str, Any] | None
    night_hash: str
    notes_hash: str
    """Of what was noted by hand, the photo's among it; '' where nothing was."""
    photo: bytes | None
    """A JPEG."""

    @property
    def units(self) -> TemperatureUnit:
        """`C` or `F`, as the oven's people read it."""
        return "F" if self.settings.get("units") == "F" else "C"

    @property
    def outcome(self) -> str:
        """done, stopped, tripped, lost; `open` while it runs or where it broke off."""
        return self.night.outcome or "open"

    @property
    def energy_kwh(self) -> float:
        """By the heater's stated power and the time it was told to be on."""
        heater_s: float = self.tick_summary.heater_s
        if self.thinned is not None:
            heater_s = float(self.thinned["heater_s"])
        return heater_s * float(self.settings["heater"]["power_w"]) / 3.6e6

    @property
    def switchings(self) -> int:
        """Of the heater's relay."""
        return (
            self.tick_summary.switchings
            if self.thinned is None
            else int(self.thinned["switchings"])
        )


def gather(reader: LedgerReader, night_id: int) -> Facts:
    """Everything the ledger knows of a night.

    Raises:
        BadInput: there is no such night.
        LedgerLost: the ledger cannot be read, or this night's rows are damaged.
    """
    night = reader.night(night_id)
    if night is None:
        raise BadInput(f"{reader.path} holds no night {night_id}; 'nightcure nights' lists them.")
    profile, settings = reader.parsed(night.profile), reader.parsed(night.settings)
    tick_summary = summarise_ticks(
        reader, night_id, settings, [s["kind"] for s in profile["segments"]],
        watched_parts(profile),
    )  # fmt: skip
    events = list(all_events(reader, night_id))
    notes = reader.noted(night_id)
    return Facts(
        night=night,
        profile=profile,
        settings=settings,
        tick_summary=tick_summary,
        samples=reader.samples(night_id, POINTS),
        events=events,
        alarms=alarm_histories(events),
        parts=_parts(profile, tick_summary, events, night.started_s),
        sensors=_sensors(reader, night, settings, tick_summary),
        notes=notes,
        refit=reader.refit(night_id),
        thinned=reader.thinned(night_id),
        night_hash=night_hash(reader, night_id),
        notes_hash=notes_hash(notes),
        photo=photo_of(reader.path, notes.get(FIELD)),
    )


def _parts(
    profile: dict[str, Any], tick_summary: TickSummary, events: list[EventRow], started_s: float
) -> list[PartSummary]:
    reports = {report[0]: report for report in tick_summary.cure}
    names = [part["name"] for part in profile.get("parts", ())]
    reached = reached_of(names, events)
    parts = []
    for part in profile.get("parts", ()):
        name = part["name"]
        report = reports.get(name)
        figures = part.get("figures") or {}
        found = PartSummary(
            name=name,
            card=part["card"],
            catalyst_pct=part.get("catalyst_pct"),
            resin_kg=part["resin_kg"],
            sensor=part.get("sensor"),
            batch=part.get("batch"),
            degree=report[2] if report else None,
            equivalent_min=report[3] if report else None,
            reference_c=figures.get("reference_c"),
            too_cold=bool(report[5]) if report else False,
        )
        belief, now_s = tick_summary.beliefs.get(name), tick_summary.cure_s
        told = {m: at_s for (p, m), at_s in reached.items() if p == name}
        whens = recorded_milestones(report[6] if report else [], belief, told, now_s)
        for w in whens:
            came_s = told.pop(w.name, None)
            if w.name in AFTER and (w.at_s is None or w.at_s > now_s):
                came_s = None
            if came_s is None and w.at_s is not None and w.at_s <= 0.0:
                came_s = started_s + w.at_s  # before the night there are no events
            found.milestones.append(
                MilestoneSummary(w.name, came_s, w.at_s, came_s is None and perhaps(w, now_s))
            )
        found.milestones += [MilestoneSummary(m, at_s, None) for m, at_s in told.items()]
        found.seen = tuple(belief[5]) if belief else ()
        parts.append(found)
    return parts


def reached_of(names: list[str], events: list[EventRow]) -> dict[tuple[str, str], float]:
    """When each part reached each milestone, wall s."""
    reached: dict[tuple[str, str], float] = {}
    for e in events:
        if e.kind != "cure" or "after mixing" not in e.message:
            continue
        fitting = [name for name in names if e.message.startswith(f"{name} ")]
        if fitting:
            reached.setdefault((max(fitting, key=len), e.name), e.wall_s)
    return reached


def _sensors(
    reader: LedgerReader, night: NightRow, settings: dict[str, Any], tick_summary: TickSummary
) -> list[SensorUsed]:
    found = []
    for t in settings["thermometers"]:
        seen = tick_summary.hottest[t["name"]]
        found.append(
            SensorUsed(
                t["name"],
                t["role"],
                t["id"],
                float(t.get("offset_c", 0.0)),
                reader.last_check(t["id"], night.started_s),
                seen.low if seen.count else None,
                seen.high if seen.count else None,
                tick_summary.not_believed.get(t["name"], {}),
            )
        )
    return found
