"""The sheet: a night's facts put into words and tables, in the order a person asks."""

from __future__ import annotations

from dataclasses import dataclass

from .. import __version__
from ..ledger.file import SCHEMA_VERSION
from ..ledger.notes import FIELDS
from ..ledger.photo import FIELD
from ..units import show_difference, show_duration, show_temperature
from .chart import chart_of
from .document import Block, Document, Form, Heading, Pairs, Photo, Picture, Table, Text, clock
from .facts import Facts
from .next_steps import next_steps
from .sections import alarms, parts, segments, sensors
from .standing import watched_parts
from .verdict import verdict

#: So many events are printed; all of them are in the ledger.
MOST_EVENTS = 60


@dataclass(frozen=True)
class Extras:
    """What the ledger alone does not say."""

    drift: str | None = None
    """The oven against earlier nights, or why that cannot be told; sentences."""
    price_per_kwh: float | None = None
    currency: str = ""
    printed_s: float = 0.0
    """Host time, s."""


def minutes(seconds: float) -> str:
    """A duration to the minute."""
    return show_duration(60.0 * round(seconds / 60.0)) if seconds >= 30.0 else "0 min"


def sheet(facts: Facts, extras: Extras = Extras()) -> Document:
    """The record of a night."""
    said, tone = verdict(facts)
    night = facts.night
    label = f" ({night.label})" if night.label else ""
    blocks: list[Block] = [*_morning(facts)]
    chart = chart_of(facts)
    if chart.empty:
        blocks.append(Text("There are too few ticks for a chart."))
    else:
        blocks.append(Picture(chart, f"Temperatures and duty of night {night.id}. {said}"))
    blocks += [Pairs(_figures(facts, extras)), *_thinned(facts)]
    blocks += [Heading("Filled in by hand"), Form(_fields(facts))]
    if facts.photo is not None:
        blocks.append(Photo(facts.photo, f"The photo of night {night.id}, taken in the morning."))
    elif FIELD in facts.notes:
        blocks.append(Text("The photo that was kept is gone, or was changed."))
    blocks += [Heading("Segments"), *segments(facts)]
    blocks += [Heading("Parts"), *parts(facts)]
    blocks += [Heading("Deviations and alarms"), *alarms(facts)]
    blocks += [Heading("Thermometers"), *sensors(facts)]
    blocks += [Heading("The oven"), *_oven(facts, extras)]
    blocks += [Heading("What happened"), *_events(facts)]
    blocks += [Heading("This record"), *_versions(facts, extras)]
    return Document(
        title=f"Night {night.id}{label}: {facts.profile['name']}",
        subtitle=f"{night.oven}, {clock(night.started_s, '%A %d %B %Y')}, times in "
        f"{clock(night.started_s, '%Z')}",
        verdict=said,
        tone=tone,
        night_hash=facts.night_hash,
        notes_hash=facts.notes_hash,
        blocks=tuple(blocks),
    )


def _morning(facts: Facts) -> list[Block]:
    """What may be done next, before everything else."""
    if not facts.parts or facts.outcome == "open":
        return []
    steps = next_steps(facts)
    rows = tuple((s.part, s.sentence, s.foretold, s.found or "not touched yet") for s in steps)
    return [Heading("What may be done next"), Table(("part", "next", "foretold", "found"), rows)]


def priced(facts: Facts, extras: Extras) -> tuple[float | None, str]:
    """A kWh's price and currency: as it was said, else as the oven had them that night."""
    if extras.price_per_kwh is not None:
        return extras.price_per_kwh, extras.currency
    own = facts.settings.get("electricity") or {}
    return own.get("price_per_kwh"), extras.currency or own.get("currency", "")


def _figures(facts: Facts, extras: Extras) -> tuple[tuple[str, str], ...]:
    g, units = facts.tick_summary, facts.units
    end_s = facts.night.ended_s if facts.night.ended_s is not None else g.last_wall_s
    ended = clock(end_s) if facts.night.ended_s is not None else f"{clock(end_s)} (last recorded)"
    rows = [
        ("Started", clock(facts.night.started_s)),
        ("Ended", ended if g.ticks else "nothing was recorded"),
        ("Length", minutes(g.length_s)),
    ]
    power_w = float(facts.settings["heater"]["power_w"])
    kwh = facts.energy_kwh
    rows.append(("Energy of the heater", f"{kwh:.2f} kWh, at its stated {power_w:g} W"))
    price, currency = priced(facts, extras)
    if price is not None:
        unit = f" {currency}" if currency else ""
        rows.append(("Cost", f"{kwh * price:.2f}{unit} at {price:g}{unit} a kWh"))
    if g.over_setpoint_k is not None:
        told = show_difference(max(g.over_setpoint_k, 0.0), units)
        rows.append(("Air above the setpoint at most", told))
    for role, name in (("part", "Hottest part"), ("mould", "Hottest mould")):
        hot = [(g.hottest[t["name"]].high, t["name"]) for t in facts.settings["thermometers"]
               if t["role"] == role and g.hottest[t["name"]].count]  # fmt: skip
        if hot:
            rows.append((name, f"{show_temperature(max(hot)[0], units)} ({max(hot)[1]})"))
    ambient = [g.hottest[t["name"]] for t in facts.settings["thermometers"]
               if t["role"] == "ambient" and g.hottest[t["name"]].count]  # fmt: skip
    if ambient:
        low, high = (
            show_temperature(ambient[0].low, units),
            show_temperature(ambient[0].high, units),
        )
        rows.append(("Shed", f"{low} to {high}"))
    else:
        rows.append(("Shed", "no thermometer that could be believed"))
    rows.append(("Relay switched", f"{facts.switchings} times"))
    return tuple(rows)


def _thinned(facts: Facts) -> list[Block]:
    if facts.thinned is None:
        return []
    t = facts.thinned
    return [
        Text(
            f"This night was thinned on {clock(t['at_s'], '%d %B %Y')}: {t['ticks']} of "
            f"{t['ticks_before']} ticks are kept, with every series' peaks and every event. Energy "
            f"and switchings are those of the whole night; it cannot be verified to the bit."
        )
    ]


def _fields(facts: Facts) -> tuple[tuple[str, str], ...]:
    rows = [(name, facts.notes.get(field, "")) for field, name in FIELDS.items()]
    more = [(field.replace("_", " ").capitalize(), value) for field, value in facts.notes.items()
            if field not in FIELDS and field != FIELD
            and field.rsplit("_", 1)[0] not in ("touch", "barcol", "acetone")]  # fmt: skip
    return (*rows[:-1], *more, rows[-1])


def _oven(facts: Facts, extras: Extras) -> list[Block]:
    parts = watched_parts(facts.profile)
    blocks: list[Block] = [
        Text(s.sentence(parts[s.sensor], facts.units))
        for s in facts.tick_summary.standing
        if s.worth_telling
    ]
    if extras.drift is not None:
        blocks.append(Text(extras.drift))
    elif facts.refit is None:
        blocks.append(Text("The oven was not refitted from this night."))
    if facts.refit is not None and facts.refit.get("loss_w_per_k"):
        loss = facts.refit["loss_w_per_k"]
        blocks.append(
            Text(
                f"As refitted from this night it loses {loss['value']:.2f} W/K "
                f"({loss['low']:.2f} to {loss['high']:.2f})."
            )
        )
    vapour = next((e for e in facts.events if e.kind == "cure" and e.name == "vapour"), None)
    if vapour is not None:
        blocks.append(Text(vapour.message))
    return blocks


def _events(facts: Facts) -> list[Block]:
    rows = [(clock(e.wall_s, "%H:%M:%S"), e.message) for e in facts.events]
    blocks: list[Block] = [Table(("at", "what"), tuple(rows[:MOST_EVENTS]))]
    if len(rows) > MOST_EVENTS:
        more = len(rows) - MOST_EVENTS
        blocks.append(Text(f"And {more} more, which are in the ledger.", quiet=True))
    return blocks if rows else [Text("No event was recorded.")]


def _versions(facts: Facts, extras: Extras) -> list[Block]:
    rows = [
        ("Run by", f"nightcure {facts.night.version}"),
        ("Printed by", f"nightcure {__version__}, ledger schema {SCHEMA_VERSION}"),
        ("Printed", clock(extras.printed_s, "%d %B %Y %H:%M %Z")),
        ("Ticks", str(facts.tick_summary.ticks)),
        ("SHA-256 of the night", facts.night_hash),
    ]
    if facts.notes_hash:
        rows.append(("SHA-256 of what was filled in by hand", facts.notes_hash))
    if facts.photo is not None:
        rows.append(("SHA-256 of the photo", facts.notes[FIELD]))
    return [
        Pairs(tuple(rows)),
        Text(
            f"'nightcure record {facts.night.id} --check FILE' tells whether the ledger still says "
            f"what this record was printed from. The oven is no safety device, and this record "
            f"certifies nothing.",
            quiet=True,
        ),
    ]
