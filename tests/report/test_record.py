"""The morning record says what the ledger's rows say, for every way a night can end."""

from __future__ import annotations

import json
import re
import shutil
import sqlite3
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest
from pypdf import PdfReader

from nightcure.errors import BadInput
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerWriter
from nightcure.report.document import Picture
from nightcure.report.html import page
from nightcure.report.oven_drift import oven_drift
from nightcure.report.pdf import pdf
from nightcure.report.record_check import check
from nightcure.report.sheet import Extras, sheet
from nightcure.report.verdict import verdict

from .reading import facts_of, words


class Seen(HTMLParser):
    """Tags opened and not closed, and what would be fetched or run."""

    VOID = ("meta", "br", "polyline", "polygon")

    def __init__(self) -> None:
        super().__init__()
        self.stack: list[str] = []
        self.fetched: list[str] = []
        self.numbers: list[float] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self.VOID:
            self.stack.append(tag)
        for name, value in attrs:
            if name in ("src", "href", "srcset") or name.startswith("on") or tag == "script":
                self.fetched.append(f"{tag} {name}")
            if name == "points" and value:
                self.numbers += [float(n) for n in re.split(r"[ ,]", value)]

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_starttag(tag, attrs)
        if tag not in self.VOID:
            self.stack.pop()

    def handle_endtag(self, tag: str) -> None:
        assert self.stack.pop() == tag


# ---- the facts ---------------------------------------------------------------------------------


def test_energy_and_switchings_are_those_of_the_rows(shelf: dict[str, Path]) -> None:
    """By SQL over the rows, in another way than the record reckons them."""
    with sqlite3.connect(shelf["done"]) as db:
        on = [r for (r,) in db.execute("SELECT heater FROM ticks ORDER BY seq")]
    facts = facts_of(shelf["done"])
    assert facts.energy_kwh == pytest.approx(sum(on[:-1]) * 4.0 * 300.0 / 3.6e6)
    assert facts.switchings == sum(a != b for a, b in pairwise(on))


def test_segments_are_timed_as_their_events_say(shelf: dict[str, Path]) -> None:
    facts = facts_of(shelf["done"])
    begun = [e.wall_s for e in facts.events if e.kind == "phase"]
    assert [s.start_wall_s for s in facts.tick_summary.segments[1:]] == begun
    soak = facts.tick_summary.segments[1]
    assert soak.counted_s == pytest.approx(1800.0, abs=4.0), "half an hour was asked for"
    assert soak.air.low > 23.0
    assert soak.air.high < 27.0
    assert all(s.over for s in facts.tick_summary.segments)


def test_the_verdict_of_each_end(shelf: dict[str, Path]) -> None:
    said = {name: verdict(facts_of(path)) for name, path in shelf.items()}
    assert said["done"][1] == "good"
    assert said["done"][0].startswith("Done: 'Short' ran 2 h ")
    assert "25.0 °C was held for 30 min" in said["done"][0]
    assert said["tripped"][1] == "bad"
    assert said["tripped"][0].startswith("Tripped after 2")
    assert "The cure was not completed." in said["tripped"][0]
    assert said["stopped"][0].startswith("Stopped after 15 min, in segment 1 of 3 (ramp)")
    assert "Stopped by test." in said["stopped"][0]
    assert said["cut"][0].startswith("Not over: recorded for 24 min so far")
    assert said["cards"][0].startswith("Done:")
    assert said["cards"][0].endswith(
        "; Lid: perhaps hard enough to leave its mould; 1 alarm on the way."
    )


def test_alarms_tell_who_acknowledged_them(shelf: dict[str, Path]) -> None:
    (story,) = [a for a in facts_of(shelf["tripped"]).alarms if a.trip]
    assert story.name == "control-sensor-lost"
    assert story.acknowledged_by == "test"
    assert story.reset_s is None
    text = words(sheet(facts_of(shelf["tripped"])))
    assert "Trip: no air temperature. No believable" in text
    assert re.search(r"\| by test, \d\d:\d\d \|", text)


def test_a_resume_is_told_with_how_long_it_was_dark(shelf: dict[str, Path]) -> None:
    text = words(sheet(facts_of(shelf["cut"])))
    assert re.search(r"nothing was recorded for 2 min( 02 s)?; the heater was off meanwhile", text)
    assert "Resumed after 2 min" in text


def test_parts_on_cards_have_their_milestones(shelf: dict[str, Path]) -> None:
    facts = facts_of(shelf["cards"])
    (part,) = facts.parts
    reached = {m.name: m.reached_wall_s for m in part.milestones if m.reached_wall_s is not None}
    told = {e.name: e.wall_s for e in facts.events if e.kind == "cure" and "mixing" in e.message}
    assert reached == told
    assert "gelled" in reached
    with sqlite3.connect(shelf["cards"]) as db:
        (last,) = db.execute(
            "SELECT decision FROM ticks WHERE decision LIKE '%\"cure\"%' ORDER BY seq DESC LIMIT 1"
        ).fetchone()
    assert part.degree == json.loads(last)["cure"][0][2]


def test_what_is_not_there_is_said_not_made_up(shelf: dict[str, Path]) -> None:
    text = words(sheet(facts_of(shelf["bare"])))
    assert "No part was on a resin card" in text
    assert "no thermometer that could be believed" in text
    assert "never" in text
    assert "Cost" not in text


def test_fahrenheit_is_fahrenheit_throughout(shelf: dict[str, Path]) -> None:
    text = words(sheet(facts_of(shelf["fahrenheit"])))
    assert "ramp to 77.0 °F at 36.0 °F/h" in text
    assert "°C" not in text


def test_checks_and_offsets_stand_beside_their_thermometers(
    shelf: dict[str, Path], tmp_path: Path
) -> None:
    ledger = tmp_path / "n.ledger"
    shutil.copy(shelf["done"], ledger)
    with sqlite3.connect(ledger) as db:
        sql = (
            "INSERT INTO checks (sensor_id, method, shown_c, reference_c, offset_c, who, wall_s)"
            " VALUES (?, 'ice-point', ?, 0.0, ?, 'Ann', ?)"
        )
        for offset_c, wall_s in ((0.1, 1.6e9), (0.25, 1.65e9), (0.9, 1.8e9)):
            db.execute(sql, ("28-0000000000a1", -offset_c, offset_c, wall_s))
    air = facts_of(ledger).sensors[0]
    assert air.check is not None
    assert air.check.offset_c == 0.25, "the last before the night, not a later one"
    assert re.search(r"Air \(air\) \| 28-0000000000a1 .*2022, ice point, by Ann", words(
        sheet(facts_of(ledger))))  # fmt: skip


def test_a_night_without_a_tick_still_has_a_record(tmp_path: Path, shelf: dict[str, Path]) -> None:
    night = LedgerReader(shelf["done"]).night(1)
    assert night is not None
    writer = LedgerWriter(tmp_path / "e.ledger")
    with writer.transaction(durable=True):
        writer.begin_night(oven="O", profile=night.profile, settings=night.settings, version="0",
                           opening="{}", started_s=1e9)  # fmt: skip
    writer.close()
    document = sheet(facts_of(tmp_path / "e.ledger"))
    assert "too few ticks" in words(document)
    assert pdf(document).startswith(b"%PDF")
    Seen().feed(page(document))


def test_a_resins_own_heat_is_not_taken_for_the_ovens(shelf: dict[str, Path]) -> None:
    with pytest.raises(BadInput, match="own heat would pass for the heater's"):
        oven_drift(LedgerReader(shelf["cards"]), 1)


# ---- HTML and PDF ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["done", "cards", "tripped", "stopped", "cut", "bare"])
def test_the_page_is_whole_and_fetches_nothing(shelf: dict[str, Path], name: str) -> None:
    text = page(sheet(facts_of(shelf[name])))
    seen = Seen()
    seen.feed(text)
    assert seen.stack == []
    assert seen.fetched == []
    assert "url(" not in text
    assert "//" not in re.sub(r"</?[a-z]", "", text)
    assert len(seen.numbers) > 400
    assert min(seen.numbers) >= 0.0
    assert max(seen.numbers) <= 720.0


def test_what_a_person_wrote_cannot_become_markup(shelf: dict[str, Path], tmp_path: Path) -> None:
    ledger = tmp_path / "n.ledger"
    shutil.copy(shelf["done"], ledger)
    nasty = "<script>alert(1)</script> & 'quotes' \"\u6ce8"
    with NotesWriter(ledger) as pen:
        pen.note(1, {"remarks": nasty, "part_number": "<b>"}, "t", 1.0)
        pen.label(1, "<img src=x>")
    document = sheet(facts_of(ledger))
    text = page(document)
    seen = Seen()
    seen.feed(text)
    assert seen.fetched == []
    assert "&lt;script&gt;" in text
    assert "img src" not in re.sub(r"&lt;img src", "", text)
    said = "".join(p.extract_text() for p in PdfReader(_file(tmp_path, pdf(document))).pages)
    assert "<script>alert(1)</script>" in said.replace("\n", "")
    assert "[U+6CE8]" in said.replace("\n", "") or "\u6ce8" in said


def _file(folder: Path, data: bytes) -> Path:
    path = folder / "r.pdf"
    path.write_bytes(data)
    return path


@pytest.mark.parametrize(("paper", "width"), [("a4", 595.28), ("letter", 612.0)])
def test_the_pdf_has_every_section_on_its_paper(
    shelf: dict[str, Path], tmp_path: Path, paper: str, width: float
) -> None:
    """Read back by pypdf."""
    facts = facts_of(shelf["cards"])
    document = sheet(facts, Extras(price_per_kwh=0.5, currency="EUR"))
    reader = PdfReader(_file(tmp_path, pdf(document, paper)))
    assert float(reader.pages[0].mediabox.width) == pytest.approx(width, abs=0.1)
    text = "\n".join(p.extract_text() for p in reader.pages).replace("\u00a0", " ")
    for heading in ("Segments", "Parts", "Deviations and alarms", "Thermometers", "This record"):
        assert heading in text
    assert f"{facts.energy_kwh * 0.5:.2f} EUR at 0.5 EUR" in text
    assert facts.night_hash[:40] in text.replace("\n", "")


def test_the_chart_shows_every_thermometer_of_the_box(shelf: dict[str, Path]) -> None:
    document = sheet(facts_of(shelf["done"]))
    (picture,) = [b for b in document.blocks if isinstance(b, Picture)]
    assert [c.name for c in picture.chart.curves] == ["setpoint", "Air", "Lid", "Rim", "Shed"]
    air = picture.chart.curves[1].values
    facts = facts_of(shelf["done"])
    assert max(v for v in air if v is not None) == facts.tick_summary.hottest["Air"].high


# ---- is it still the same ----------------------------------------------------------------------


def test_a_changed_ledger_or_file_shows(shelf: dict[str, Path], tmp_path: Path) -> None:
    ledger = tmp_path / "n.ledger"
    shutil.copy(shelf["done"], ledger)
    file = tmp_path / "n.html"
    text = page(sheet(facts_of(ledger)))
    file.write_text(text)
    assert check(LedgerReader(ledger), 1, file).same
    with NotesWriter(ledger) as pen:
        pen.note(1, {"remarks": "later"}, "t", 1.0)
        pen.label(1, "later")
    assert check(LedgerReader(ledger), 1, file).same, "what is added later is no change"
    file.write_text(text.replace("Done:", "Fine:"))
    assert check(LedgerReader(ledger), 1, file).file_as_printed is False
    file.write_text(text)
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET duty = duty + 0.0001 WHERE seq = 7")
    found = check(LedgerReader(ledger), 1, file)
    assert not found.same
    assert found.file_as_printed is True
    printed = tmp_path / "n.pdf"
    printed.write_bytes(pdf(sheet(facts_of(ledger))))
    assert check(LedgerReader(ledger), 1, printed).same
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE events SET message = 'x' WHERE id = 1")
    assert not check(LedgerReader(ledger), 1, printed).same


def test_a_file_that_is_no_record_is_refused(shelf: dict[str, Path], tmp_path: Path) -> None:
    other = tmp_path / "o.html"
    other.write_text("<html></html>")
    with pytest.raises(BadInput, match="no record that nightcure printed"):
        check(LedgerReader(shelf["done"]), 1, other)
    with pytest.raises(BadInput, match="no such file"):
        check(LedgerReader(shelf["done"]), 1, tmp_path / "none.html")
