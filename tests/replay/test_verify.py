"""A recorded night through a fresh loop: the same to the bit, or the first difference is named."""

from __future__ import annotations

import json
import random
import sqlite3
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.replay.differences import conclusion, meanings, told
from nightcure.replay.verify import verify
from tests.recording import RecordedOven
from tests.verify_campaign import flip, record


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("verify") / "n.ledger"
    with RecordedOven(path) as oven:
        oven.run(1500.0)
    return path


@pytest.fixture
def ledger(recorded: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "n.ledger"
    copy.write_bytes(recorded.read_bytes())
    return copy


def change(ledger: Path, sql: str) -> None:
    with sqlite3.connect(ledger) as db:
        assert db.execute(sql).rowcount == 1


def clock(wall_s: float) -> str:
    return f"{wall_s:.0f}"


@pytest.mark.parametrize("number", [0, 4, 11])
def test_a_night_by_chance_is_the_same_and_a_flipped_bit_is_found(
    number: int, tmp_path: Path
) -> None:
    """Three of the campaign's nights: `python -m tests.verify_campaign` runs a hundred."""
    ledger = tmp_path / "n.ledger"
    record(number, ledger, 3000.0)
    assert verify(LedgerReader(ledger), 1).same
    rng = random.Random(number)
    seq = flip(ledger, rng)
    found = verify(LedgerReader(ledger), 1)
    assert not found.same
    assert found.differences[0].seq == seq


def test_the_same_night_is_said_to_be_the_same(ledger: Path) -> None:
    found = verify(LedgerReader(ledger), 1)
    assert found.same
    assert found.ticks == 750
    assert found.length_s == 1500.0
    assert "same to the bit: 750 ticks" in conclusion(found)


def test_the_first_difference_is_shown_with_tick_time_field_and_both_values(ledger: Path) -> None:
    change(ledger, "UPDATE ticks SET setpoint_c = 17.5 WHERE seq = 321")
    (recorded,) = [t for t in LedgerReader(ledger).ticks(1) if t.seq == 321]
    found = verify(LedgerReader(ledger), 1)
    (difference,) = found.differences
    assert (difference.seq, difference.field, difference.recorded) == (321, "setpoint_c", 17.5)
    said = told(difference, clock)
    assert said.startswith(f"tick 321, {recorded.wall_s:.0f}: the setpoint, °C: recorded 17.5, now")
    assert "1 of 750 ticks" in conclusion(found)


def test_differences_of_another_version_are_counted_by_what_they_mean(ledger: Path) -> None:
    change(ledger, "UPDATE nights SET version = '0.0.1'")
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET heater = 1 - heater WHERE seq IN (100, 200, 300)")
        db.execute("UPDATE ticks SET phase = 'soak' WHERE seq = 200")
        db.execute(
            "UPDATE ticks SET decision = json_set(decision, '$.trip', 'air-over') WHERE seq = 250"
        )
    found = verify(LedgerReader(ledger), 1)
    assert found.by_meaning == {"heater": 3, "phase": 1, "trips": 1}
    assert found.ticks_apart == 4
    assert [(m, n, d.seq) for m, n, d in meanings(found)] == [
        ("heater", 3, 100), ("trips", 1, 250), ("phase", 1, 200),
    ]  # fmt: skip
    assert "version 0.0.1" in conclusion(found)


def test_a_night_of_other_settings_is_refused_with_a_sentence(ledger: Path) -> None:
    with sqlite3.connect(ledger) as db:
        (text,) = db.execute("SELECT settings FROM nights").fetchone()
        settings = {**json.loads(text), "afterburner": 1}
        db.execute("UPDATE nights SET settings = ?, version = '9.9'", (json.dumps(settings),))
    with pytest.raises(BadInput, match=r"run by version 9\.9, whose settings this one"):
        verify(LedgerReader(ledger), 1)


def test_a_start_this_version_cannot_take_over_is_told_not_raised(ledger: Path) -> None:
    change(ledger, "UPDATE nights SET opening = '{}', version = '0.0.1'")
    found = verify(LedgerReader(ledger), 1)
    assert "began afresh" in found.remarks[0]
    assert found.ticks == 750


def test_missing_ticks_are_told(ledger: Path) -> None:
    with sqlite3.connect(ledger) as db:
        db.execute("DELETE FROM ticks WHERE seq BETWEEN 400 AND 420")
    found = verify(LedgerReader(ledger), 1)
    assert found.remarks == ["Ticks 400 to 420 are missing from the ledger."]
    assert not found.same


def test_a_tick_that_is_no_json_is_named(ledger: Path) -> None:
    change(ledger, "UPDATE ticks SET inputs = substr(inputs, 1, 20) WHERE seq = 5")
    first = verify(LedgerReader(ledger), 1).differences[0]
    assert (first.seq, first.field) == (5, "inputs")


def test_no_such_night(ledger: Path) -> None:
    with pytest.raises(BadInput, match="holds no night 8"):
        verify(LedgerReader(ledger), 8)
