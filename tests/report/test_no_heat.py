"""When and why there was no heat, as the morning record has it."""

from __future__ import annotations

import lzma
import shutil
import sqlite3
from collections.abc import Callable
from itertools import count
from pathlib import Path

import pytest

from nightcure.ledger.retention import Rules, apply_retention
from nightcure.report.document import Table
from nightcure.report.facts import Facts
from nightcure.report.sheet import Extras, sheet
from nightcure.report.summary import summary
from nightcure.tick import Fault, Reading
from nightcure.units import show_duration
from tests.recording import RecordedOven

from .reading import facts_of, words


def without_heat(
    ledger: Path, fault: Callable[[int], Fault | None], until_s: float = 1600.0
) -> Facts:
    """A short night whose air thermometer has a fault at some ticks."""
    with RecordedOven(ledger) as oven:
        true, number = oven.oven.sense, count()

        def sense(now_s: float | None = None) -> list[Reading]:
            sensed = list(true(now_s))
            found = fault(next(number))
            if found is not None:
                sensed[0] = sensed[0]._replace(value_c=None, fault=found)
            return sensed

        oven.oven.sense = sense  # type: ignore[method-assign]
        oven.run(until_s)
    return facts_of(ledger)


def test_the_record_says_when_and_why_there_was_no_heat(shelf: dict[str, Path]) -> None:
    facts = facts_of(shelf["tripped"])
    first, last = facts.tick_summary.withheld
    assert [r["code"] for r in first.reasons] == ["contactor-open"]
    assert first.length_s == 2.0
    assert last.start_wall_s == facts.night.started_s + 1200.0
    assert [(r["code"], r["fields"]) for r in last.reasons] == [
        ("no-air-temperature", {"fault": "crc"}), ("tripped", {"alarm": "control-sensor-lost"}),
    ]  # fmt: skip
    assert last.reasons[0]["length_s"] == pytest.approx(62.0, abs=2.0)
    assert last.length_s == sum(r["length_s"] for r in last.reasons)
    said = words(sheet(facts, Extras()))
    assert "1 min: No believable air temperature: garbled readings." in said
    assert "The oven has tripped (no air temperature) and stays off" in said
    assert "contactor closes" not in said, "what is over in a tick is not printed"
    told = summary(facts, Extras())["heat_withheld"]
    assert [w["length_s"] for w in told] == [first.length_s, last.length_s]


def test_a_quiet_night_has_no_table_of_it(shelf: dict[str, Path]) -> None:
    said = words(sheet(facts_of(shelf["done"]), Extras()))
    assert "No believable" not in said
    assert "No heat" not in said
    assert "The night is done" not in said


def test_reasons_that_alternate_are_one_stretch(tmp_path: Path) -> None:
    facts = without_heat(
        tmp_path / "n.ledger",
        lambda k: (Fault.CRC, Fault.MISSING)[k % 2] if 300 <= k < 325 else None,
    )
    _, stretch = facts.tick_summary.withheld
    assert stretch.length_s == 50.0
    assert [r["fields"].get("fault") for r in stretch.reasons] == ["crc", "missing"]
    said = words(sheet(facts, Extras()))
    assert "26 s: No believable air temperature: garbled readings. 24 s: No believable" in said


def test_many_short_stops_are_told_by_their_sum(tmp_path: Path) -> None:
    facts = without_heat(
        tmp_path / "n.ledger", lambda k: Fault.CRC if k >= 300 and k % 6 < 3 else None
    )
    stretches = facts.tick_summary.withheld
    assert len(stretches) > 70
    said = words(sheet(facts, Extras()))
    together = show_duration(sum(w.length_s for w in stretches))
    assert f"No heat {len(stretches)} times, {together} together, each less than 10 s." in said


def test_the_longest_are_shown_whenever_they_were(tmp_path: Path) -> None:
    def fault(k: int) -> Fault | None:
        return Fault.CRC if k >= 100 and (k % 15 < 6 or k in range(600, 625)) else None

    facts = without_heat(tmp_path / "n.ledger", fault)
    longest = max(facts.tick_summary.withheld, key=lambda w: w.length_s)
    assert longest.length_s == 50.0
    shown = [block for block in sheet(facts, Extras()).blocks if isinstance(block, Table)
             and block.head[0] == "no heat from"]  # fmt: skip
    assert show_duration(longest.length_s) in [row[1] for row in shown[0].rows]
    assert "more times" in words(sheet(facts, Extras()))


def test_a_night_of_a_version_that_did_not_tell_says_nothing_of_it(tmp_path: Path) -> None:
    packed = Path(__file__).parents[1] / "replay" / "nights" / "two-faults.ledger.xz"
    ledger = tmp_path / "n.ledger"
    ledger.write_bytes(lzma.decompress(packed.read_bytes()))
    facts = facts_of(ledger)
    assert not facts.tick_summary.tells_off
    assert summary(facts, Extras())["heat_withheld"] is None
    assert "No heat" not in words(sheet(facts, Extras()))


def test_thinning_keeps_every_reason(shelf: dict[str, Path], tmp_path: Path) -> None:
    ledger = tmp_path / "n.ledger"
    shutil.copy(shelf["tripped"], ledger)
    before = facts_of(ledger).tick_summary.withheld
    apply_retention(ledger, Rules(thin_after_s=0.0), 2e9)
    after = facts_of(ledger)
    assert after.thinned is not None
    assert after.tick_summary.withheld == before


def test_thinning_keeps_a_reason_that_no_event_tells_of(tmp_path: Path) -> None:
    ledger = tmp_path / "n.ledger"
    before = without_heat(ledger, lambda k: Fault.CRC if k % 97 in (50, 51, 52) else None, 3600.0)
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE nights SET outcome = 'lost', ended_s = started_s + 3600")
    apply_retention(ledger, Rules(thin_after_s=0.0), 2e9)
    after = facts_of(ledger)
    assert after.thinned is not None
    assert len(before.tick_summary.withheld) > 15
    assert after.tick_summary.withheld == before.tick_summary.withheld


def test_of_many_short_reasons_the_longest_is_named(tmp_path: Path) -> None:
    facts = without_heat(
        tmp_path / "n.ledger",
        lambda k: Fault.CRC if k in (300, 301, 302) else Fault.MISSING if 303 <= k < 307 else None,
    )
    said = words(sheet(facts, Extras()))
    assert "14 s | No believable air temperature: not on the bus." in said
