"""Sections of the sheet that are tables: segments, parts, alarms, thermometers."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from ..record.off_sentences import FAULT_WORDS, asked_by, interlock_words, off_sentence
from ..units import show_difference, show_duration, show_temperature
from .document import Block, Table, Text
from .facts import Facts, MilestoneSummary, PartSummary, SensorUsed
from .segments import SegmentSummary, Spread, Withheld

#: Milestones as people call them.
MILESTONES = {
    "gelled": "gelled",
    "laminate-opens": "ready to laminate upon",
    "laminate-closes": "past laminating upon",
    "demould": "ready to leave its mould",
    "full": "as cured as it gets",
    "post-cured": "post-cured",
}
#: A stretch without heat shorter than this (a contactor closing) is not printed by itself, s; and
#: so many are.
LEAST_WITHHELD_S, MOST_WITHHELD = 10.0, 12
METHODS = {"ice-point": "ice point", "reference": "reference thermometer", "typed": "typed in"}


def _clock(wall_s: float, form: str = "%H:%M") -> str:
    return datetime.fromtimestamp(wall_s).astimezone().strftime(form)


def _minutes(seconds: float) -> str:
    return show_duration(60.0 * round(seconds / 60.0)) if seconds >= 30.0 else "0 min"


# ---- segments ----------------------------------------------------------------------------------


def segments(facts: Facts) -> list[Block]:
    """Every segment of the profile: planned against done."""
    gone = {s.number: s for s in facts.tick_summary.segments}
    rows = []
    before_c = facts.tick_summary.segments[0].start_c if facts.tick_summary.segments else None
    for number, planned in enumerate(facts.profile["segments"]):
        units = facts.units
        s = gone.get(number)
        start_c = s.start_c if s is not None else before_c
        rows.append(
            (
                str(number + 1),
                _planned(planned, start_c, units),
                "not reached" if s is None else _done(s, units),
                "" if s is None else _clock(s.start_wall_s),
                "" if s is None else _minutes(s.end_s - s.start_s),
            )
        )
        before_c = planned.get("to_c") or planned.get("at_c") or before_c
    return [Table(("", "planned", "done", "from", "took"), tuple(rows))]


def _planned(planned: dict[str, Any], start_c: float | None, units: Any) -> str:
    if planned["kind"] == "ramp":
        rate = show_difference(planned["rate_c_per_h"], units)
        to = show_temperature(planned["to_c"], units)
        words = f"ramp to {to} at {rate}/h"
        if start_c is not None:
            needs_s = abs(planned["to_c"] - start_c) / planned["rate_c_per_h"] * 3600.0
            words += f", {_minutes(needs_s)}"
        if planned.get("wait_for"):
            words += f", once every part is '{MILESTONES[planned['wait_for']]}'"
        if planned.get("tg_margin_k") is not None:
            margin = show_difference(planned["tg_margin_k"], units)
            words += f", {margin} below the parts' glass transition"
        return words
    if planned["kind"] == "soak":
        at = show_temperature(planned["at_c"], units)
        hours = _minutes(planned["hours"] * 3600.0)
        ends = [f"'{MILESTONES[planned['until']]}'"] if planned.get("until") else []
        if planned.get("until_tg_c") is not None:
            ends.append(f"a glass transition of {show_temperature(planned['until_tg_c'], units)}")
        if planned.get("until_degree") is not None:
            ends.append(f"{100.0 * planned['until_degree']:g} % cured")
        if ends:
            return f"soak at {at} until {' and '.join(ends)}, at most {hours}"
        return f"soak at {at} for {hours}"
    rate = show_difference(planned["rate_c_per_h"], units)
    return f"cool to {show_temperature(planned['below_c'], units)}, at most {rate}/h"


def _done(s: SegmentSummary, units: Any) -> str:
    end = "" if s.over else "broken off; "
    if s.kind == "soak":
        if not s.air.count:
            return f"{end}its clock never counted"
        words = f"{_minutes(s.counted_s)} counted; air {_range(s.air, units)}"
        if s.parts:
            low = min(p.low for p in s.parts.values())
            high = max(p.high for p in s.parts.values())
            words += f"; parts {show_temperature(low, units)} to {show_temperature(high, units)}"
        return end + words
    words = ""
    if s.start_c is not None and s.end_c is not None:
        words = f"{show_temperature(s.start_c, units)} to {show_temperature(s.end_c, units)}"
    if s.waited_s >= 30.0:
        words += f"; waited {_minutes(s.waited_s)}"
    return end + words


def _range(spread: Spread, units: Any) -> str:
    low, high = show_temperature(spread.low, units), show_temperature(spread.high, units)
    return f"{low} to {high}, {show_temperature(spread.mean, units, 2)} on the mean"


# ---- parts -------------------------------------------------------------------------------------


def parts(facts: Facts) -> list[Block]:
    """Parts on resin cards with their milestones; else what their thermometers say."""
    if facts.parts:
        rows = [_part(p, facts.units) for p in facts.parts]
        blocks: list[Block] = [
            Table(
                ("part", "laid up with", "milestones", "degree of cure", "as long as"), tuple(rows)
            )
        ]
        if any(p.too_cold for p in facts.parts):
            blocks.append(Text("A part was colder than its card has data for before it gelled."))
        blocks.append(
            Text("Milestones and degree of cure are reckoned from the resin's card and the part's "
                 "temperature; nothing was measured in the resin.", quiet=True)
        )  # fmt: skip
        return blocks
    units = facts.units
    rows_of: list[tuple[str, ...]] = []
    for t in facts.settings["thermometers"]:
        seen = facts.tick_summary.hottest[t["name"]]
        if t["role"] in ("part", "mould") and seen.count:
            rows_of.append(
                (t["name"], show_temperature(seen.low, units), show_temperature(seen.high, units))
            )
    told = "No part was on a resin card, so that nothing is known of the cure itself."
    if not rows_of:
        return [Text(f"{told} No part or mould had a thermometer that could be believed.")]
    return [Text(told), Table(("part or mould", "coldest", "hottest"), tuple(rows_of), (1, 2))]


def _part(p: PartSummary, units: Any) -> tuple[str, ...]:
    share = f", catalyst {p.catalyst_pct:g} %" if p.catalyst_pct is not None else ""
    as_long = "not mixed yet"
    if p.equivalent_min is not None:
        at = "" if p.reference_c is None else f" at {show_temperature(p.reference_c, units, 0)}"
        as_long = f"as after {_minutes(60.0 * p.equivalent_min)}{at}"
    return (
        p.name,
        f"{p.card}, {p.resin_kg:g} kg{share}{'' if p.batch is None else f', batch {p.batch}'}",
        "; ".join(_milestone(m) for m in p.milestones if _worth(m)) or "none reached",
        "unknown" if p.degree is None else f"{100.0 * p.degree:.0f} %",
        as_long,
    )


def _worth(m: MilestoneSummary) -> bool:
    return m.reached_wall_s is not None or m.expected_s is not None or m.perhaps


def _milestone(m: MilestoneSummary) -> str:
    name = MILESTONES.get(m.name, m.name)
    if m.reached_wall_s is not None:
        return f"{name} at {_clock(m.reached_wall_s)}"
    return f"{name}: perhaps, not surely" if m.perhaps else f"{name}: not reached"


# ---- alarms ------------------------------------------------------------------------------------


def alarms(facts: Facts) -> list[Block]:
    """Alarms with who acknowledged them, and what else was not as it should be."""
    blocks: list[Block] = []
    rows = []
    for a in facts.alarms:
        by = "by nobody"
        if a.acknowledged_s is not None:
            by = f"{_by(a.acknowledged_by)}, {_clock(a.acknowledged_s)}"
        over = "it stood to the end" if a.over_s is None else _clock(a.over_s)
        if a.reset_s is not None:
            over = f"reset {_by(a.reset_by)}, {_clock(a.reset_s)}"
        often = f" ({a.times} times)" if a.times > 1 else ""
        what = f"{'Trip' if a.trip else 'Warning'}: {interlock_words(a.name)}{often}. {a.message}"
        rows.append((_clock(a.raised_s), what, by, over))
    if rows:
        blocks.append(Table(("at", "what", "acknowledged", "over"), tuple(rows)))
    blocks += _withheld(facts)
    others = _deviations(facts)
    blocks += [Text(sentence) for sentence in others]
    return blocks or [Text("None.")]


def _by(who: str | None) -> str:
    """Who gave a command, as recorded, after its verb."""
    said = asked_by(who or "somebody")
    return who[0].lower() + who[1:] if who and who.startswith("On the page, ") else said


def _withheld(facts: Facts) -> list[Block]:
    """When heat was not allowed, and why: the longest stretches, and how much the others are."""
    stretches = facts.tick_summary.withheld
    longest = sorted(stretches, key=lambda w: -w.length_s)[:MOST_WITHHELD]
    told = [w for w in stretches if w in longest and w.length_s >= LEAST_WITHHELD_S]
    blocks: list[Block] = []
    if told:
        rows = tuple((_clock(w.start_wall_s), show_duration(w.length_s), _why(w)) for w in told)
        blocks.append(Table(("no heat from", "for", "because"), rows))
    rest_s = sum(w.length_s for w in stretches) - sum(w.length_s for w in told)
    if rest_s >= LEAST_WITHHELD_S:
        together = show_duration(rest_s)
        others = (
            f"{len(stretches)} times, {together} together, each less than {LEAST_WITHHELD_S:g} s"
        )
        if told:
            more = len(stretches) - len(told)
            others = f"{more} more times, {together} together, none longer than these"
        blocks.append(Text(f"No heat {others}.", quiet=True))
    return blocks


def _why(w: Withheld) -> str:
    """The reasons of a stretch; how long each, where there are several."""
    reasons = [r for r in w.reasons if r["length_s"] >= LEAST_WITHHELD_S]
    reasons = reasons or [max(w.reasons, key=lambda r: r["length_s"])]
    sentences = [off_sentence(r["code"], r["fields"]) for r in reasons]
    if len(reasons) == 1:
        return sentences[0]
    return " ".join(
        f"{show_duration(r['length_s'])}: {s}" for r, s in zip(reasons, sentences, strict=True)
    )


def _deviations(facts: Facts) -> list[str]:
    said = []
    for wall_s, length_s in facts.tick_summary.pauses:
        said.append(
            f"{_clock(wall_s)}: nothing was recorded for {show_duration(length_s)}; the heater was "
            f"off meanwhile."
        )
    for s in facts.tick_summary.segments:
        planned = facts.profile["segments"][s.number]
        if s.kind == "ramp" and s.waited_s >= 300.0 and not planned.get("wait_for"):
            said.append(
                f"Segment {s.number + 1} waited {_minutes(s.waited_s)} before its ramp went on."
            )
        if s.kind == "soak" and s.waited_s >= 900.0:
            said.append(
                f"Segment {s.number + 1}: the soak's clock stood still for "
                f"{_minutes(s.waited_s)}, air or slowest part being too cold."
            )
    said += [e.message for e in facts.events if e.kind == "note" or e.name == "not-reached"]
    return said


# ---- thermometers ------------------------------------------------------------------------------


def sensors(facts: Facts) -> list[Block]:
    """Ids, offsets, last checks, and what was not believed."""
    units = facts.units
    rows = tuple(_sensor(s, units) for s in facts.sensors)
    return [Table(("thermometer", "id", "offset", "last check", "seen", "not believed"), rows)]


def _sensor(s: SensorUsed, units: Any) -> tuple[str, ...]:
    seen = "nothing"
    if s.low_c is not None and s.high_c is not None:
        seen = f"{show_temperature(s.low_c, units)} to {show_temperature(s.high_c, units)}"
    faults = ", ".join(f"{FAULT_WORDS.get(f, f)}: {n} readings" for f, n in s.faults.items()) or "-"
    check = "never"
    if s.check is not None:
        method = METHODS.get(s.check.method, s.check.method)
        check = f"{_clock(s.check.wall_s, '%d %b %Y')}, {method}, {asked_by(s.check.who)}"
    return (f"{s.name} ({s.role})", s.id, show_difference(s.offset_c, units, "+"), check, seen,
            faults)  # fmt: skip
