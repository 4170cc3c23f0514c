"""A ledger that another file has replaced: who writes it stops, who reads it follows."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from nightcure.ledger.inbox import Inbox
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerLost, LedgerWriter

from .rows import begin, event, row


def made(path: Path, nights: int) -> LedgerWriter:
    """A ledger of so many nights, and its writer."""
    writer = LedgerWriter(path)
    for _ in range(nights):
        with writer.transaction(durable=True):
            begin(writer)
    return writer


def test_readers_and_the_pages_inbox_follow(path: Path, tmp_path: Path) -> None:
    """Fails before this: the page showed the old file and posted its commands there."""
    (tmp_path / "other").mkdir()
    made(path, 1).close()
    made(tmp_path / "other" / "n.ledger", 2).close()
    reader, inbox, notes = LedgerReader(path), Inbox(path), NotesWriter(path)
    assert len(reader.nights()) == 1
    os.replace(tmp_path / "other" / "n.ledger", path)
    assert len(reader.nights()) == 2
    number = inbox.put("stop", {}, "test", 1e9)
    notes.label(2, "new")
    fresh = LedgerReader(path)
    assert [(c["id"], c["word"]) for c in fresh.commands()] == [(number, "stop")]
    assert fresh.nights()[0]["label"] == "new"
    path.unlink()
    for asked in (reader.nights, lambda: inbox.put("stop", {}, "test", 1e9)):
        with pytest.raises(LedgerLost, match="there is no such ledger"):
            asked()


def test_a_writer_whose_ledger_is_gone_writes_nothing_more_and_harms_no_other(path: Path) -> None:
    writer = made(path, 1)
    with writer.transaction(durable=True):
        writer.tick(row(0))
        writer.event(event("kept"))
    path.rename(path.with_name("aside"))
    assert writer.gone is None, "it is looked at with every writing"
    gone = "removed while the controller ran"
    with pytest.raises(LedgerLost, match=gone), writer.transaction(durable=True):
        writer.event(event("never"))
    assert writer.gone is not None
    writer.close()
    other = LedgerWriter(path)
    assert other.open_night() is None, "nothing of the old one is in the new one"
    other.close()
    assert Path(f"{path}.lost-wal").stat().st_size > 0, "what the old one lacks is kept"


def test_files_left_of_a_ledger_that_is_gone_are_no_part_of_a_new_one(path: Path) -> None:
    made(path, 3)  # never closed, as by a kill
    path.unlink()
    assert Path(f"{path}-wal").exists()
    (path.with_name(f"{path.name}.lock")).unlink()
    second = LedgerWriter(path)
    assert second.open_night() is None
    with second.transaction(durable=True):
        begin(second)
    second.close()
    assert len(LedgerReader(path).nights()) == 1


def test_folding_and_closing_are_no_loss(path: Path) -> None:
    writer = made(path, 1)
    for seq in range(4000):
        with writer.transaction(durable=seq % 500 == 0):
            writer.tick(row(seq))
            writer.live(float(seq), "x" * 3000)
    assert writer.gone is None
    assert path.stat().st_size > 100_000, "the WAL was folded in on the way"
    writer.close()
