"""The inbox: each command once, stop first, none late."""

from __future__ import annotations

import os
import threading
import time
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.file import connect
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerWriter

from .rows import begin


def test_the_inbox_hands_out_each_command_once_stop_first(path: Path) -> None:
    writer = LedgerWriter(path)
    page, loop = Inbox(path), Inbox(path)
    assert not loop.anything_waiting()
    ids = [page.put(w, {"n": i}, "me", 100.0) for i, w in enumerate(("start", "reset", "stop"))]
    assert loop.anything_waiting()
    got = loop.waiting(105.0)
    assert [r.word for r in got] == ["stop", "start", "reset"]
    assert [r.expired for r in got] == [False] * 3
    assert got[1].args == {"n": 0}
    assert loop.waiting(105.0) == []
    assert not loop.anything_waiting()
    assert page.outcome(ids[0]) is None
    with writer.transaction(durable=True):
        writer.answer(ids[0], 105.0, "done", "Started.")
    assert page.outcome(ids[0]) == ("done", "Started.")
    late = page.put("start", {}, "me", 100.0)
    assert [(r.id, r.expired) for r in loop.waiting(110.1)] == [(late, True)]
    # A controller that starts anew sees what was never answered, and that it is too late.
    assert {r.id for r in Inbox(path).waiting(200.0)} == {*ids[1:], late}
    assert all(r.expired != (r.word == "stop") for r in Inbox(path).waiting(200.0))
    writer.close()


def test_a_command_from_the_future_is_refused(path: Path) -> None:
    """The clock was set back since (a board without a battery clock, after a power cut)."""
    LedgerWriter(path).close()
    page, loop = Inbox(path), Inbox(path)
    page.put("start", {}, "me", 1000.0)
    page.put("start", {}, "me", 989.0)
    page.put("start", {}, "me", 985.0, ttl_s=3.0)
    page.put("start", {}, "me", 985.0, ttl_s=4.0)
    assert [row.expired for row in loop.waiting(989.0)] == [True, False, True, False]


@pytest.mark.parametrize("host_s", [0.0, 101.0, 1e6])
def test_a_stop_never_expires(path: Path, host_s: float) -> None:
    """Pressed while the controller was down, or before its clock was set: it wants no heat."""
    LedgerWriter(path).close()
    Inbox(path).put("stop", {}, "me", 100.0)
    assert [(r.word, r.expired) for r in Inbox(path).waiting(host_s)] == [("stop", False)]


def test_the_command_log_says_who_asked_for_what_and_what_became_of_it(path: Path) -> None:
    writer, page = LedgerWriter(path), Inbox(path)
    first = page.put("start", {"profile": {"a": 0.1}}, "Ann", 100.0)
    page.put("stop", {}, "Bob", 101.0, ttl_s=5.0)
    with writer.transaction(durable=True):
        writer.answer(first, 100.5, "refused", "The air is unknown.")
    log = LedgerReader(path).commands()
    assert [c["who"] for c in log] == ["Bob", "Ann"]
    assert log[1] == {
        "id": first, "word": "start", "args": {"profile": {"a": 0.1}}, "who": "Ann",
        "asked_s": 100.0, "expires_s": 110.0, "taken_s": 100.5, "outcome": "refused",
        "message": "The air is unknown.",
    }  # fmt: skip
    assert log[0]["expires_s"] == 106.0
    assert log[0]["outcome"] is None
    assert LedgerReader(path).commands(limit=1, offset=1) == log[1:]
    writer.close()


def test_an_inbox_makes_no_file_and_does_not_fold_the_wal(path: Path) -> None:
    with pytest.raises(BadInput, match="no such ledger"):
        Inbox(path)
    assert not path.exists()
    writer, page = LedgerWriter(path), Inbox(path)
    size = path.stat().st_size
    for i in range(1200):
        page.put("note", {"text": "x" * 2000}, "me", float(i))
    assert os.path.getsize(f"{path}-wal") > 3_000_000
    assert path.stat().st_size == size
    writer.close()
    assert len(LedgerReader(path).commands(limit=2000)) == 1200


def test_a_command_can_be_put_while_the_writer_is_busy(path: Path) -> None:
    writer, page = LedgerWriter(path), Inbox(path)
    got: list[int] = []
    with writer.transaction(durable=False):
        begin(writer)
        thread = threading.Thread(target=lambda: got.append(page.put("stop", {}, "me", 1.0)))
        thread.start()
        time.sleep(0.1)
        assert got == []
        assert not Inbox(path).anything_waiting()
    thread.join(10)
    assert got == [1]
    assert [r.word for r in Inbox(path).waiting(1.0)] == ["stop"]
    writer.close()


@pytest.mark.parametrize(
    "args",
    [
        "",
        "{",
        "[1]",
        "7",
        "null",
        "[" * 5000,
        b"\x00{}",
        '{"a": NaN}',
        '{"a": [-Infinity]}',
        '{"a": 1e400}',
        '{"a": "\\ud800"}',
        '{"\\udfff": 1}',
    ],
)
def test_a_row_whose_arguments_are_no_object_is_handed_out_as_broken(
    path: Path, args: object
) -> None:
    """Whoever writes rows into the file cannot stop the loop with one."""
    writer, page = LedgerWriter(path), Inbox(path)
    number = page.put("start", {}, "me", 100.0)
    db = connect(path, "rw")
    db.execute("PRAGMA ignore_check_constraints=ON")
    db.execute("UPDATE inbox SET args = ? WHERE id = ?", (args, number))
    rows = Inbox(path).waiting(101.0)
    assert [(r.id, r.args, r.broken) for r in rows] == [(number, {}, True)]
    db.close()
    writer.close()
