"""A rehearsed night in a ledger is a recorded night: it verifies, and its record can be printed."""

from __future__ import annotations

from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.record.rehearsed_night import RehearsedNight
from nightcure.replay.verify import verify
from nightcure.report.facts import gather
from nightcure.simulate.faults import parse_fault
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c

from ..nights import SETTINGS, SHORT


@pytest.mark.parametrize(("fault", "outcome"), [(None, "done"), ("sensor-crc@10min", "tripped")])
def test_a_rehearsed_night_is_kept(tmp_path: Path, fault: str | None, outcome: str) -> None:
    path = tmp_path / "n.ledger"
    faults = [parse_fault(fault)] if fault else []
    with RehearsedNight(path, SETTINGS, SHORT) as kept:
        result = rehearse(SETTINGS, SHORT, BOX, ambient_c, faults, on_tick=kept.tick)
    assert kept.night_id == 1
    reader = LedgerReader(path)
    assert verify(reader, 1).same
    told = [t.decision for t in reader.ticks(1) if '"off":' in t.decision]
    assert len(told) == (4 if fault else 3), "only when it changes: contactor, none, why it ended"
    facts = gather(reader, 1)
    assert facts.outcome == outcome == result.figures.outcome
    assert facts.energy_kwh == pytest.approx(result.figures.energy_kwh, abs=0.002)
    assert facts.tick_summary.length_s == pytest.approx(result.figures.night_s, abs=40.0)


def test_a_refused_start_leaves_no_night(tmp_path: Path) -> None:
    hot = SHORT.model_copy(update={"name": "Too hot", "segments": SHORT.segments[:1]})
    with RehearsedNight(tmp_path / "n.ledger", SETTINGS, hot) as kept:
        assert rehearse(SETTINGS, hot, BOX, ambient_c, on_tick=kept.tick).figures.outcome == (
            "refused"
        )
    assert kept.night_id is None
    assert LedgerReader(tmp_path / "n.ledger").nights() == []
