"""The desk: what people write by hand is kept whole, beside a controller that writes too."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger import file
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import CheckRow, LedgerLost, LedgerWriter


@pytest.fixture
def path(tmp_path: Path) -> Path:
    return tmp_path / "d.ledger"


@pytest.fixture
def writer(path: Path) -> Iterator[LedgerWriter]:
    found = LedgerWriter(path)
    with found.transaction(durable=True):
        for name in ("Lid", "Rim"):
            found.begin_night(
                oven="Box", profile=json.dumps({"name": name}), settings="{}", version="1",
                opening="{}", started_s=100.0,
            )  # fmt: skip
    yield found
    found.close()


def test_profiles_by_name(path: Path, writer: LedgerWriter) -> None:
    desk, reader = NotesWriter(path), LedgerReader(path)
    assert desk.save_profile("B", '{"n":1}', "Ann", 1.0, replace=False)
    assert not desk.save_profile("B", '{"n":2}', "Bob", 2.0, replace=False)
    assert reader.profiles() == [{"name": "B", "profile": {"n": 1}, "who": "Ann", "saved_s": 1.0}]
    assert desk.save_profile("B", '{"n":3}', "Bob", 3.0, replace=True)
    assert desk.save_profile("A", "{}", "Ann", 4.0, replace=True)
    assert [(p["name"], p["who"]) for p in reader.profiles()] == [("A", "Ann"), ("B", "Bob")]
    assert desk.remove_profile("B")
    assert not desk.remove_profile("B")
    assert [p["name"] for p in reader.profiles()] == ["A"]


def test_the_first_acceptance_counts(path: Path, writer: LedgerWriter) -> None:
    desk, reader = NotesWriter(path), LedgerReader(path)
    assert reader.accepted("cautions") is None
    desk.accept("cautions", "Ann", 1.0)
    desk.accept("cautions", "Bob", 2.0)
    assert reader.accepted("cautions") == {"who": "Ann", "host_s": 1.0}
    assert reader.accepted("else") is None


def test_labels_and_notes_find_their_night(path: Path, writer: LedgerWriter) -> None:
    desk, reader = NotesWriter(path), LedgerReader(path)
    desk.label(2, "Second try")
    with pytest.raises(BadInput, match="holds no night 3"):
        desk.label(3, "Nobody's")
    desk.note(1, {"resin_batch": "B 77", "remarks": "thin"}, "Ann", 1.0)
    desk.note(1, {"resin_batch": "", "remarks": "thin at the rim"}, "Bob", 2.0)
    assert reader.notes(1) == {"remarks": {"value": "thin at the rim", "who": "Bob", "host_s": 2.0}}
    assert reader.notes(2) == {}
    for search, found in (("TRY", [2]), ("lid", [1]), ("the rim", [1]), ("rim", [2, 1]),
                          ("b 77", []), ("%", []), ("", [2, 1]), (None, [2, 1])):  # fmt: skip
        assert [n["id"] for n in reader.nights(search=search)] == found, search


def test_a_note_of_no_night_is_refused_and_leaves_nothing(path: Path, writer: LedgerWriter) -> None:
    desk = NotesWriter(path)
    with pytest.raises(BadInput, match="holds no night 9"):
        desk.note(9, {"remarks": "x"}, "Ann", 1.0)
    desk.accept("cautions", "Ann", 1.0)
    assert LedgerReader(path).notes(9) == {}


def test_what_is_written_is_kept_beside_a_busy_controller(path: Path, writer: LedgerWriter) -> None:
    desk = NotesWriter(path)
    thread = threading.Thread(target=lambda: desk.label(1, "Waited"))
    with writer.transaction(durable=False):
        writer.live(1.0, "{}")
        thread.start()
        thread.join(0.2)
        assert thread.is_alive(), "it waits for the controller's tick"
    thread.join(10)
    assert LedgerReader(path).nights()[1]["label"] == "Waited"


def test_a_ledger_that_stays_busy_is_told(
    path: Path, writer: LedgerWriter, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(file, "BUSY_S", 0.05)
    desk = NotesWriter(path)
    with writer.transaction(durable=False), pytest.raises(LedgerLost, match="locked"):
        desk.label(1, "x")
    desk.label(1, "y")  # and goes on


def test_no_ledger_no_desk(path: Path) -> None:
    with pytest.raises(BadInput, match="no such ledger"):
        NotesWriter(path)


def test_the_latest_check_of_each_thermometer_counts(path: Path, writer: LedgerWriter) -> None:
    with writer.transaction(durable=True):
        for sensor, offset_c in (("a", 0.5), ("b", 1.0), ("a", -0.25)):
            writer.check(CheckRow(sensor, "typed", None, None, offset_c, "Ann", 1.0))
    assert writer.offsets_c() == {"a": -0.25, "b": 1.0}
    assert LedgerReader(path).checks()["a"]["offset_c"] == -0.25
    with writer.transaction(durable=True):
        writer.check(CheckRow("b", "typed", None, None, 50.0, "by hand", 2.0))
    assert writer.offsets_c() == {"a": -0.25}, "nobody can have entered 50 K"
