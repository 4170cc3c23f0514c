"""The ledger as an archive: copied while it is written, kept small, carried to the bit."""

from __future__ import annotations

import csv
import io
import json
import shutil
import sqlite3
import threading
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.backup import backup, unsound
from nightcure.ledger.file import LedgerLost
from nightcure.ledger.maintenance import IdleLedger, NightRuns
from nightcure.ledger.night_hash import night_hash
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.photo import FIELD, keep_photo, photo_of
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.retention import Done, Rules, apply_retention, latest_starts_s
from nightcure.ledger.transfer import export_night, import_night
from nightcure.ledger.writer import LedgerWriter
from nightcure.replay.verify import verify
from nightcure.report.facts import gather
from tests.nights import word
from tests.recording import EVENING_S, RecordedOven

DAY_S = 86400.0


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three nights: one stopped, one tripped with a power cut in it, one stopped."""
    path = tmp_path_factory.mktemp("archive") / "n.ledger"
    with RecordedOven(path) as oven:
        oven.run(1200.0)
        oven.tick(word("stop", 3))
    oven = RecordedOven(path, faults=["sensor-crc@15min+2min"], seed=4)
    oven.run(400.0)
    oven.close()
    oven.t_s += 60.0
    oven.open()
    oven.run(oven.t_s + 800.0)
    oven.tick(word("reset", 4))
    oven.close()
    with RecordedOven(path, seed=2) as oven:
        oven.run(300.0)
        oven.tick(word("stop", 3))
    return path


@pytest.fixture
def ledger(recorded: Path, tmp_path: Path) -> Path:
    copy = tmp_path / "n.ledger"
    shutil.copy(recorded, copy)
    return copy


def empty(folder: Path) -> Path:
    path = folder / "other.ledger"
    LedgerWriter(path).close()
    return path


def rows(path: Path, night_id: int) -> list[tuple[object, ...]]:
    return [tuple(t[1:]) for t in LedgerReader(path).ticks(night_id)]


# ---- carried -----------------------------------------------------------------------------------


@pytest.mark.parametrize("night_id", [1, 2])
def test_a_night_that_was_carried_is_the_same_to_the_bit(
    ledger: Path, tmp_path: Path, night_id: int
) -> None:
    with NotesWriter(ledger) as pen:
        pen.note(night_id, {"remarks": 'with, comma\n"quoted" \u6ce8'}, "t", 1.0)
        pen.label(night_id, "kept")
    file = tmp_path / "night.zip"
    stated = export_night(LedgerReader(ledger), night_id, file)
    other = empty(tmp_path)
    number = import_night(other, file)
    assert rows(other, number) == rows(ledger, night_id)
    assert (
        night_hash(LedgerReader(other), number)
        == stated
        == night_hash(LedgerReader(ledger), night_id)
    )
    found = verify(LedgerReader(other), number)
    assert found.same
    assert found.ticks > 500
    assert LedgerReader(other).noted(number) == LedgerReader(ledger).noted(night_id)
    assert LedgerReader(other).nights()[0]["label"] == "kept"
    with pytest.raises(BadInput, match="holds this night already"):
        import_night(other, file)


#: It begins and ends as a JPEG does (ITU-T T.81, B.1.1.3); nobody looks at it here.
PHOTO = b"\xff\xd8\xff\xe0" + bytes(range(256)) + b"\xff\xd9"


@pytest.fixture
def photographed(ledger: Path) -> Path:
    with NotesWriter(ledger) as pen:
        pen.note(1, {FIELD: keep_photo(ledger, PHOTO)}, "t", 1.0)
    return ledger


def test_a_photo_is_carried_with_its_night(photographed: Path, tmp_path: Path) -> None:
    """Fails before this: the note came, its photo did not."""
    file, other = tmp_path / "night.zip", empty(tmp_path)
    export_night(LedgerReader(photographed), 1, file)
    number = import_night(other, file)
    assert photo_of(other, LedgerReader(other).noted(number)[FIELD]) == PHOTO
    assert gather(LedgerReader(other), number).photo == PHOTO


def test_a_photo_that_was_changed_in_its_export_is_refused(
    photographed: Path, tmp_path: Path
) -> None:
    file, forged = tmp_path / "night.zip", tmp_path / "forged.zip"
    export_night(LedgerReader(photographed), 1, file)
    with zipfile.ZipFile(file) as old, zipfile.ZipFile(forged, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            new.writestr(name, data.replace(b"\x01\x02", b"\x02\x01") if "jpg" in name else data)
    with pytest.raises(BadInput, match="was changed since it was exported"):
        import_night(empty(tmp_path), forged)


def test_a_backup_has_the_photos_beside_it(photographed: Path, tmp_path: Path) -> None:
    """Fails before this. One that no night names any more goes with the next backup."""
    copy = tmp_path / "copy.ledger"
    backup(photographed, copy)
    sha256 = LedgerReader(copy).noted(1)[FIELD]
    assert photo_of(copy, sha256) == PHOTO
    with NotesWriter(photographed) as pen:
        pen.note(1, {FIELD: ""}, "t", 2.0)
    backup(photographed, copy)
    assert photo_of(copy, sha256) is None


def test_a_night_comes_to_a_machine_that_has_no_ledger_yet(ledger: Path, tmp_path: Path) -> None:
    file, other = tmp_path / "night.zip", tmp_path / "new.ledger"
    stated = export_night(LedgerReader(ledger), 1, file)
    number = import_night(other, file)
    assert night_hash(LedgerReader(other), number) == stated
    with pytest.raises(LedgerLost, match="no-folder"):
        import_night(tmp_path / "no-folder" / "new.ledger", file)


def repacked(file: Path, change: Callable[[dict[str, bytes]], None]) -> None:
    with zipfile.ZipFile(file) as archive:
        members = {name: archive.read(name) for name in archive.namelist()}
    change(members)
    with zipfile.ZipFile(file, "w") as archive:
        for name, data in members.items():
            archive.writestr(name, data)


def test_a_changed_parcel_is_refused_with_a_sentence(ledger: Path, tmp_path: Path) -> None:
    file, other = tmp_path / "n.zip", empty(tmp_path)
    reader = LedgerReader(ledger)

    def a_tick(m: dict[str, bytes]) -> None:
        m["ticks.csv"] = m["ticks.csv"].replace(b",ramp,", b",soak,", 1)

    def the_label(m: dict[str, bytes]) -> None:
        m["night.json"] = m["night.json"].replace(b'"label": ""', b'"label": "x"')

    def no_events(m: dict[str, bytes]) -> None:
        del m["events.csv"]

    def both(m: dict[str, bytes]) -> None:
        """A tick, and the hashes made to fit: the seal still tells."""
        import hashlib

        from nightcure.ledger.export import with_hash

        a_tick(m)
        about = json.loads(m["night.json"])
        del about["sha256"]
        about["files"]["ticks.csv"] = hashlib.sha256(m["ticks.csv"]).hexdigest()
        m["night.json"] = json.dumps(with_hash(about)).encode()

    for change in (a_tick, the_label, no_events, both):
        export_night(reader, 1, file)
        repacked(file, change)
        with pytest.raises(BadInput, match="nothing was imported"):
            import_night(other, file)
    assert LedgerReader(other).nights() == []


def test_columns_carry_their_units(ledger: Path, tmp_path: Path) -> None:
    """Read by the csv module, not by us."""
    reader = LedgerReader(ledger)
    export_night(reader, 1, tmp_path / "n.csv")
    with open(tmp_path / "n.csv", newline="", encoding="utf-8") as file:
        table = list(csv.DictReader(file))
    ticks = list(reader.ticks(1))
    assert len(table) == len(ticks)
    assert [float(r["Air_c"]) for r in table] == [json.loads(t.believed)[0] for t in ticks]
    with zipfile.ZipFile(tmp_path / "n.zip", "w") as archive:
        archive.writestr("x", "y")
    for file_name, words in (("n.csv", "table for people"), ("n.zip", "no night that nightcure"),
                             ("none.zip", "no such file"), ("n.txt", "no such file")):  # fmt: skip
        with pytest.raises(BadInput, match=words):
            import_night(ledger, tmp_path / file_name)


# ---- kept small --------------------------------------------------------------------------------


def test_a_thinned_night_keeps_peaks_events_and_sums_and_says_so(ledger: Path) -> None:
    reader = LedgerReader(ledger)
    before = gather(reader, 1)
    peaks = {name: (s.low, s.high) for name, s in before.tick_summary.hottest.items()}
    done = apply_retention(ledger, Rules(thin_after_s=0.0), EVENING_S + 30 * DAY_S)
    assert [d.what for d in done] == ["thinned"] * 3
    after = gather(LedgerReader(ledger), 1)
    assert after.tick_summary.ticks < 0.8 * before.tick_summary.ticks
    assert {name: (s.low, s.high) for name, s in after.tick_summary.hottest.items()} == peaks
    assert after.events == before.events
    assert after.energy_kwh == pytest.approx(before.energy_kwh)
    assert after.switchings == before.switchings
    assert after.thinned is not None
    assert after.thinned["seal"] == before.night_hash
    with pytest.raises(BadInput, match="was thinned"):
        verify(LedgerReader(ledger), 1)
    assert apply_retention(ledger, Rules(thin_after_s=0.0), EVENING_S + 30 * DAY_S) == [], (
        "only once"
    )
    assert unsound(ledger) == []


def test_by_age_old_nights_are_dropped_but_not_labelled_ones_nor_the_newest(ledger: Path) -> None:
    with NotesWriter(ledger) as pen:
        pen.label(1, "the good one")
    done = apply_retention(ledger, Rules(drop_after_s=0.0), EVENING_S + DAY_S)
    assert done == [Done(2, "dropped")]
    assert [n["id"] for n in LedgerReader(ledger).nights()] == [3, 1]
    assert unsound(ledger) == []


def test_a_newest_night_that_began_in_1970_is_the_newest(ledger: Path) -> None:
    """A board without a clock's battery, before the network told it the time."""
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE nights SET started_s = 40.0, ended_s = 900.0 WHERE id = 3")
    rules = Rules(drop_after_s=10 * DAY_S)
    assert apply_retention(ledger, rules, EVENING_S + DAY_S) == []
    assert apply_retention(ledger, rules, EVENING_S + 30 * DAY_S) == [
        Done(1, "dropped"), Done(2, "dropped"),
    ]  # fmt: skip
    assert [n["id"] for n in LedgerReader(ledger).nights()] == [3]


def test_a_night_without_a_clock_is_no_older_than_it_can_be() -> None:
    began = [EVENING_S, 40.0, EVENING_S + DAY_S, EVENING_S - 5.0]
    assert latest_starts_s(began, EVENING_S + 9 * DAY_S) == [
        EVENING_S, EVENING_S, EVENING_S + DAY_S, EVENING_S + DAY_S,
    ]  # fmt: skip
    assert latest_starts_s([40.0, EVENING_S], 2e9) == [EVENING_S] * 2
    assert latest_starts_s([40.0], 2e9) == [2e9]


def test_by_size_the_oldest_goes_first(ledger: Path) -> None:
    with IdleLedger(ledger) as quiet:
        full = quiet.used_bytes()
    done = apply_retention(ledger, Rules(most_bytes=int(0.8 * full)), EVENING_S + DAY_S)
    assert done
    assert done[0] == Done(1, "thinned")
    with IdleLedger(ledger) as quiet:
        assert quiet.used_bytes() <= 0.8 * full
        assert quiet.shrink()
    assert ledger.stat().st_size <= 0.85 * full
    held = LedgerWriter(ledger)
    with IdleLedger(ledger) as quiet:
        assert not quiet.shrink(), "while a controller holds it"
    held.close()


def test_nothing_is_done_while_a_night_runs(ledger: Path, tmp_path: Path) -> None:
    file = tmp_path / "n.zip"
    export_night(LedgerReader(ledger), 1, file)
    with RecordedOven(ledger, seed=5) as oven:
        oven.run(20.0)
        oven.recorder.wait_below(1, 10.0)
        for attempt in (
            lambda: apply_retention(ledger, Rules(thin_after_s=0.0), 2e9),
            lambda: apply_retention(ledger, Rules(), 2e9),
            lambda: import_night(ledger, file.rename(tmp_path / "m.zip")),
        ):
            with pytest.raises((NightRuns, BadInput), match=r"runs|holds this night"):
                attempt()
        with NotesWriter(ledger) as pen:
            pen.label(4, "labelled while it runs")
            pen.note(4, {"remarks": "noted while it runs"}, "t", time.time())
        oven.run(60.0)
    reader = LedgerReader(ledger)
    assert len(list(reader.ticks(1))) == len(rows(ledger, 1))
    assert reader.thinned(1) is None
    assert verify(reader, 4).same
    assert reader.nights()[0]["label"] == "labelled while it runs"


# ---- copied and checked ------------------------------------------------------------------------


def test_a_copy_made_while_the_ledger_is_written_is_whole(ledger: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy.ledger"
    copy.write_bytes(b"an older copy")
    stopping = threading.Event()

    def write() -> None:
        with RecordedOven(ledger, seed=6) as oven:
            oven.run(4.0)
            while not stopping.is_set():
                oven.run(oven.t_s + 20.0)

    writing = threading.Thread(target=write)
    writing.start()
    try:
        sizes = [backup(ledger, copy) for _ in range(5)]
    finally:
        stopping.set()
        writing.join(30)
    assert sizes[-1] > 100_000
    assert unsound(copy) == []
    assert rows(copy, 2) == rows(ledger, 2)
    assert verify(LedgerReader(copy), 1).same
    assert not list(tmp_path.glob(".copy*")), "nothing is left beside it"


def test_a_copy_that_cannot_be_made_leaves_the_old_one(
    ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    copy = tmp_path / "copy.ledger"
    copy.write_bytes(b"an older copy")
    monkeypatch.setattr("nightcure.ledger.backup.unsound", lambda *_, **__: ["Bad."])
    with pytest.raises(Exception, match="not sound"):
        backup(ledger, copy)
    assert copy.read_bytes() == b"an older copy"
    with pytest.raises(BadInput, match="is the ledger itself"):
        backup(ledger, ledger)
    with pytest.raises(BadInput, match="is a folder"):
        backup(ledger, tmp_path)
    with pytest.raises(BadInput, match="cannot be written"):
        backup(ledger, tmp_path / "none" / "copy.ledger")


def test_damage_is_found(ledger: Path, tmp_path: Path) -> None:
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET inputs = replace(inputs, '\"r\":[[9', '\"r\":[[8') "
                   "WHERE night_id = 1 AND seq = 3")  # fmt: skip
        db.execute("UPDATE ticks SET decision = '{' WHERE night_id = 2 AND seq = 9")
        db.execute("DELETE FROM ticks WHERE night_id = 3 AND seq = 4")
    faults = unsound(ledger)
    assert "Night 1, tick 3: its inputs are not what was written." in faults
    assert "Night 2, tick 9 is not JSON." in faults
    assert "Night 3: 1 ticks are missing." in faults
    data = bytearray(ledger.read_bytes())
    data[60_000:70_000] = b"\x55" * 10_000
    broken = tmp_path / "broken.ledger"
    broken.write_bytes(data)
    assert unsound(broken)[0].startswith("The file is damaged")


# ---- what stands beside ------------------------------------------------------------------------


def test_notes_for_the_next_night_go_to_it(ledger: Path) -> None:
    with NotesWriter(ledger) as pen:
        pen.note_next({"mould_number": "K-12", "resin_batch": "A"}, "ann", EVENING_S + DAY_S)
    reader = LedgerReader(ledger)
    assert reader.noted(3) == {}
    with RecordedOven(ledger, seed=7) as oven:
        oven.wall_ahead_s = 2 * DAY_S
        oven.run(20.0)
        oven.tick(word("stop", 3))
    assert reader.noted(4) == {"mould_number": "K-12", "resin_batch": "A"}
    with NotesWriter(ledger) as pen:
        pen.note(4, {"resin_batch": "B", "mould_number": ""}, "ann", 1.0)
    assert reader.noted(4) == {"resin_batch": "B"}


@pytest.mark.parametrize(
    ("write", "words"),
    [
        (lambda p: p.label(9, "x"), "holds no night 9"),
        (lambda p: p.label(1, "x" * 81), "at most 80 characters"),
        (lambda p: p.label(1, "two\nlines"), "one line"),
        (lambda p: p.label(1, "\x7f"), "one line"),
        (lambda p: p.label(1, "12"), "cannot be a label"),
        (lambda p: p.label(1, " last "), "cannot be a label"),
        (lambda p: p.note(9, {"remarks": "x"}, "t", 1.0), "holds no night 9"),
        (lambda p: p.note(1, {"Mould": "x"}, "t", 1.0), "cannot be a field"),
        (lambda p: p.note(1, {"remarks": "x" * 2001}, "t", 1.0), "2000 are the most"),
        (lambda p: p.note(1, {"remarks": "\x00"}, "t", 1.0), "cannot be printed"),
    ],
)
def test_what_cannot_be_noted_is_refused(
    ledger: Path, write: Callable[[NotesWriter], None], words: str
) -> None:
    with NotesWriter(ledger) as pen, pytest.raises(BadInput, match=words):
        write(pen)


def test_csv_cells_are_no_formulas(ledger: Path, tmp_path: Path) -> None:
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE nights SET settings = replace(settings, '\"Lid\"', '\"=1+1\"')")
    export_night(LedgerReader(ledger), 1, tmp_path / "n.csv")
    head = next(csv.reader(io.StringIO((tmp_path / "n.csv").read_text("utf-8"))))
    assert "'=1+1_c" in head
