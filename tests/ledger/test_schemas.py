"""Ledgers of every earlier schema are brought up to the present one, and lose nothing."""

import sqlite3
from pathlib import Path

import pytest

from nightcure.ledger.file import APPLICATION_ID, SCHEMA_VERSION, LedgerLost, open_ledger
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerWriter

SCHEMAS = Path(__file__).parent / "schemas"
EARLIER = sorted(int(file.stem) for file in SCHEMAS.glob("*.sql"))

NIGHT = (7, "lid", "shed", '{"name": "Lid"}', "{}", "0.1", "{}", 100.0, 200.0, "done", "It ended.")


def earlier_ledger(path: Path, version: int) -> None:
    """A ledger as nightcure made it when `version` was the present schema, with a night in it."""
    db = sqlite3.connect(path)
    db.executescript(
        f"{(SCHEMAS / f'{version}.sql').read_text('utf-8')}"
        f"PRAGMA application_id={APPLICATION_ID}; PRAGMA user_version={version};"
    )
    db.execute(f"INSERT INTO nights VALUES ({', '.join('?' * len(NIGHT))})", NIGHT)
    db.execute("INSERT INTO events VALUES (3, 7, 0, 1.0, 100.0, 'night', 'started', NULL, 'Hm.')")
    db.commit()
    db.close()


def tables(path: Path) -> set[tuple[str, ...]]:
    db = sqlite3.connect(path)
    found = {
        (kind, name, " ".join(sql.split()))
        for kind, name, sql in db.execute(
            "SELECT type, name, sql FROM sqlite_schema WHERE sql > ''"
        )
    }
    db.close()
    return found


def test_every_earlier_schema_is_kept_for_these_tests() -> None:
    assert list(range(1, SCHEMA_VERSION)) == EARLIER


@pytest.mark.parametrize("version", EARLIER)
def test_brought_up_to_date_by_the_controller(tmp_path: Path, version: int) -> None:
    old, new = tmp_path / "old", tmp_path / "new"
    earlier_ledger(old, version)
    LedgerWriter(old).close()
    LedgerWriter(new).close()
    assert tables(old) == tables(new)
    reader = LedgerReader(old)
    night = reader.night(7)
    assert night is not None
    assert tuple(night) == NIGHT
    assert [e["message"] for e in reader.events(7)] == ["Hm."]


@pytest.mark.parametrize("version", EARLIER)
def test_nobody_reads_one_before(tmp_path: Path, version: int) -> None:
    old = tmp_path / "old"
    earlier_ledger(old, version)
    with pytest.raises(LedgerLost, match="start the controller once"):
        open_ledger(old, "ro")


def test_a_step_that_fails_changes_nothing(tmp_path: Path) -> None:
    old = tmp_path / "old"
    earlier_ledger(old, 1)
    db = sqlite3.connect(old)
    db.execute("CREATE TABLE notes (in_the_way)")
    db.commit()
    db.close()
    before = tables(old)
    with pytest.raises(Exception, match="notes"):
        LedgerWriter(old)
    assert tables(old) == before
    db = sqlite3.connect(old)
    assert db.execute("PRAGMA user_version").fetchone() == (1,)
    db.close()
