"""What was made, across ledgers: picked, and as a table that a spreadsheet reads."""

from __future__ import annotations

import csv
import io
import json
import time
from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.ledger.export import csv_lines
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.report.logbook import LogRow, as_csv, logbook, picked
from tests.nights import SETTINGS
from tests.recording import EVENING_S, RecordedOven
from tests.verify_campaign import RESIN


@pytest.fixture(autouse=True)
def _another_country(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A clock that is neither UTC nor whole hours away from it."""
    monkeypatch.setenv("TZ", "Asia/Kolkata")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """A night each of two ovens, with notes of different people."""
    made = []
    for name, batch, who in (("Shed", "PL 2231", "Ann"), ("Attic", "PL 9", "Bob")):
        folder = tmp_path_factory.mktemp(name)
        path = folder / "n.ledger"
        settings = SETTINGS.model_copy(update={"name": name})
        with RecordedOven(path, settings) as oven:
            if name == "Attic":
                oven.wall_ahead_s = 86_400.0
            oven.run(1200.0, {}, RESIN)
        with NotesWriter(path) as pen:
            pen.note(
                1,
                {"resin_batch": batch, "mould_number": "=K-12", "touch_1": "hard",
                 "catalyst_weighed_g": "16,5", "made_by": who, "remarks": "thin,\nsanded"},
                who, 1.0,
            )  # fmt: skip
        made.append(path)
    return made[0], made[1]


def test_a_row_for_each_part_of_each_night_of_each_oven(two: tuple[Path, Path]) -> None:
    rows = logbook(two)
    names = [p.name for p in RESIN.parts]
    assert [(r.oven, r.part) for r in rows] == [
        *(("Shed", n) for n in names), *(("Attic", n) for n in names),
    ]  # fmt: skip
    first = rows[0]
    assert first.resin_batch == "PL 2231"
    assert first.catalyst_weighed_g == 16.5
    assert first.touch == "hard"
    assert [r.touch for r in rows[1 : len(names)]] == [""] * (len(names) - 1), "of one part only"
    local = datetime.fromtimestamp(EVENING_S, ZoneInfo("Asia/Kolkata"))
    assert first.began == local.strftime("%Y-%m-%d %H:%M:%S")


def test_rows_are_picked_by_mould_part_batch_and_person(two: tuple[Path, Path]) -> None:
    rows = logbook(two)
    parts = len(RESIN.parts)
    for wanted, ovens in (
        ({"batch": "pl 22"}, {"Shed"}),
        ({"person": "bob"}, {"Attic"}),
        ({"mould": "k-12"}, {"Shed", "Attic"}),
        ({"mould": "k-12", "oven": "attic"}, {"Attic"}),
        ({"batch": "PL 9", "person": "Ann"}, set()),
    ):
        found = picked(rows, {**dict.fromkeys(("mould", "part", "batch"), None), **wanted})
        assert {r.oven for r in found} == ovens, wanted
        assert len(found) == parts * len(ovens)
    one = picked(rows, {"part": RESIN.parts[0].name})
    assert len(one) == 2


@pytest.mark.parametrize("comma", [False, True])
def test_the_table_is_one_that_a_spreadsheet_reads(two: tuple[Path, Path], comma: bool) -> None:
    """Read back by the csv module: numbers as that country writes them, no formula in it."""
    rows = logbook(two)
    text = as_csv(rows, comma)
    dialect = csv.Sniffer().sniff(text.splitlines()[0], ",;")
    assert dialect.delimiter == (";" if comma else ",")
    table = list(csv.DictReader(io.StringIO(text, newline=""), dialect=dialect))
    assert len(table) == len(rows)
    assert list(table[0]) == list(LogRow.__dataclass_fields__)
    assert table[0]["catalyst_weighed_g"] == ("16,5" if comma else "16.5")
    assert table[0]["mould_number"] == "'=K-12", "told as text"
    assert table[0]["remarks"] == "thin, sanded"
    for line in table:
        datetime.strptime(line["began"], "%Y-%m-%d %H:%M:%S")  # noqa: DTZ007 (local by purpose)
    assert text.count("\r\n") == len(rows) + 1


def test_a_night_s_own_table_has_the_local_time_beside_utc(two: tuple[Path, Path]) -> None:
    table = csv.DictReader(io.StringIO("".join(csv_lines(LedgerReader(two[0]), 1)), newline=""))
    for line in list(table)[::100]:
        utc = datetime.fromisoformat(line["utc"])
        there = utc.astimezone(ZoneInfo("Asia/Kolkata"))
        assert line["local_time"] == there.strftime("%Y-%m-%d %H:%M:%S")


def said(*arguments: object) -> tuple[int, str, str]:
    result = CliRunner().invoke(app, [str(a) for a in arguments], env={"COLUMNS": "80"})
    return result.exit_code, result.stdout, result.stderr


def test_the_command(two: tuple[Path, Path], tmp_path: Path) -> None:
    file = tmp_path / "log.csv"
    code, out, err = said("nights", "log", *two, "--person", "ann", "--out", file)
    assert code == 0, err
    parts = len(RESIN.parts)
    assert out.split()[-2:] == [str(parts), "rows."]
    raw = file.read_bytes()
    assert raw.startswith(b"\xef\xbb\xbf"), "so that a spreadsheet knows it is UTF-8"
    table = list(csv.DictReader(io.StringIO(raw.decode("utf-8-sig"), newline="")))
    assert {line["made_by"] for line in table} == {"Ann"}
    code, out, err = said("nights", "log", *two)
    assert code == 0, err
    assert max(map(len, out.splitlines())) <= 80
    for whole in ("2023-11-15 03:43", "PL 2231", "Attic", "=K-12"):
        assert whole in out
    code, out, err = said("nights", "log", *two, "--json")
    assert len(json.loads(out)["rows"]) == 2 * parts


@pytest.mark.parametrize(
    ("options", "sentence"),
    [
        (("--out", "log.xls"), "must end in .csv"),
        (("--decimal-comma",), "say --out, too"),
        (("--batch", " "), "--batch is empty"),
        (("nowhere.ledger",), "nowhere.ledger"),
    ],
)
def test_mistakes_are_told(two: tuple[Path, Path], options: tuple[str, ...], sentence: str) -> None:
    code, out, err = said("nights", "log", two[0], *options)
    assert (code, out) == (2, "")
    assert sentence in " ".join(err.split())
