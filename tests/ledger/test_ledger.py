"""The ledger: exact, atomic, and never another file."""

from __future__ import annotations

import contextlib
import sqlite3
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerInUse, LedgerLost, LedgerWriter

from .rows import begin, event, row


def test_what_is_written_is_read_to_the_bit(path: Path) -> None:
    writer = LedgerWriter(path)
    rows = [row(i, air_c=0.1 + i / 3.0) for i in range(50)]
    with writer.transaction(durable=True):
        assert begin(writer) == 1
        for r in rows:
            writer.tick(r)
        writer.event(event("Hello."))
        writer.live(5.0, '{"a":0.1}')
        writer.snapshot(1, 49, 98.0, 1e9, '{"b":1}')
    reader = LedgerReader(path)
    assert list(reader.ticks(1)) == rows
    assert reader.live() == {"a": 0.1, "host_s": 5.0}
    assert [e["message"] for e in reader.events(1)] == ["Hello."]
    assert reader.nights()[0]["profile_name"] == "P"
    assert reader.night(2) is None
    assert writer.last_seq(1) == 49
    night, snapshot = writer.open_night(), writer.last_snapshot()
    assert night is not None
    assert night.id == 1
    assert snapshot is not None
    assert snapshot.state == '{"b":1}'
    with writer.transaction(durable=True):
        writer.end_night(1, 1e9 + 100, "done", "Done.")
    assert writer.open_night() is None
    writer.close()


def test_a_failed_transaction_leaves_nothing(path: Path) -> None:
    writer = LedgerWriter(path)

    def one_tick_twice() -> None:
        with writer.transaction(durable=False):
            begin(writer)
            writer.tick(row(0))
            writer.tick(row(0))

    def a_slip_of_the_caller() -> None:
        with writer.transaction(durable=False):
            begin(writer)
            raise ZeroDivisionError

    with pytest.raises(sqlite3.IntegrityError):
        one_tick_twice()
    assert LedgerReader(path).nights() == []
    with pytest.raises(ZeroDivisionError):
        a_slip_of_the_caller()
    assert LedgerReader(path).nights() == []
    writer.close()


@pytest.mark.parametrize("content", [b"not a database at all, but long enough" * 40, None])
def test_other_files_are_refused(path: Path, content: bytes | None) -> None:
    if content is None:
        with contextlib.closing(sqlite3.connect(path)) as db:
            db.execute("CREATE TABLE t (x)")
            db.commit()
    else:
        path.write_bytes(content)
    for opener in (LedgerWriter, LedgerReader, Inbox):
        with pytest.raises(BadInput, match="not a ledger"):
            opener(path)
    with pytest.raises(BadInput, match="no such ledger"):
        LedgerReader(path.with_name("none"))


def test_a_newer_ledger_is_left_alone(path: Path) -> None:
    LedgerWriter(path).close()
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("PRAGMA user_version=99")
    with pytest.raises(BadInput, match="newer nightcure"):
        LedgerWriter(path)


def test_a_folder_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(LedgerLost, match="cannot be locked"):
        LedgerWriter(tmp_path / "no" / "x.ledger")


@pytest.mark.parametrize("name", ["a b?c#d%20.ledger", "Härte.ledger"])
def test_any_file_name_will_do(tmp_path: Path, name: str) -> None:
    writer = LedgerWriter(tmp_path / name)
    assert (tmp_path / name).exists()
    assert LedgerReader(tmp_path / name).live() is None
    writer.close()


def test_one_ledger_under_two_names_has_one_writer(tmp_path: Path, path: Path) -> None:
    writer = LedgerWriter(path)
    (tmp_path / "other.ledger").symlink_to(path)
    with pytest.raises(LedgerInUse):
        LedgerWriter(tmp_path / "other.ledger")
    writer.close()
    LedgerWriter(tmp_path / "other.ledger").close()


def test_a_refused_file_is_let_go_and_unchanged(path: Path) -> None:
    with contextlib.closing(sqlite3.connect(path)) as db:
        db.execute("CREATE TABLE t (x)")
    before = path.read_bytes()
    for _ in range(2):
        with pytest.raises(BadInput, match="not a ledger"):
            LedgerWriter(path)
    assert path.read_bytes() == before
    path.unlink()
    LedgerWriter(path).close()


def test_nothing_is_written_outside_a_transaction(path: Path) -> None:
    writer = LedgerWriter(path)
    with pytest.raises(RuntimeError, match="within"):
        writer.live(1.0, "{}")
    assert LedgerReader(path).live() is None
    writer.close()
