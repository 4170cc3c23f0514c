"""The morning: what may be done next, the touch, the photo; and that the record's hash has them."""

from __future__ import annotations

import base64
import hashlib
import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from nightcure.ledger.photo import photo_folder
from nightcure.ledger.reader import LedgerReader
from nightcure.profile import load_profile
from nightcure.report.html import page_hash, page_hash_stated
from nightcure.report.record_check import check
from nightcure.simulate.scenario import PROFILES
from nightcure.tick import Command
from nightcure_web.app import create_app
from tests.nights import COARSE
from tests.recording import RecordedOven

from .conftest import PASSPHRASE, settings_for

#: One white pixel: the smallest baseline JPEG (ITU-T T.81), made once with a drawing program.
JPEG = base64.b64decode(
    "/9j/4AAQSkZJRgABAQEASABIAAD/2wBDAP//////////////////////////////////////////////////////////"
    "////////////////////////////wgALCAABAAEBAREA/8QAFBABAAAAAAAAAAAAAAAAAAAAAP/aAAgBAQABPxA//9k="
)
GELLED = load_profile(PROFILES / "gelled-outside.toml")


@pytest.fixture(scope="module")
def short_night(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the ledger of a short night with lid and rim; to be copied."""
    folder = tmp_path_factory.mktemp("morning")
    with RecordedOven(folder / "m.ledger", COARSE) as oven:
        parts = tuple(p.model_copy(update={"batch": "PL 2199"}) for p in GELLED.parts)
        night = GELLED.model_copy(update={"parts": parts})
        oven.run(5402.0, {5400.0: Command(2, "stop", {}, "test")}, night)
    return folder


@pytest.fixture
def cured(short_night: Path, tmp_path: Path) -> Iterator[tuple[TestClient, Path]]:
    """A person, the morning after that night."""
    shutil.copytree(short_night, tmp_path, dirs_exist_ok=True)
    path = tmp_path / "m.ledger"
    with TestClient(create_app(settings_for(path)), raise_server_exceptions=False) as client:
        assert client.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200
        yield client, path


def test_the_verdict_and_what_may_be_done_next(cured: tuple[TestClient, Path]) -> None:
    """After an hour and a half the lid, mixed four hours ago, has not been at 32 °C yet.

    What was reached before the box was shut has no event in the night.
    """
    told = cured[0].get("/api/nights/1/morning").json()
    assert told["verdict"].startswith("Stopped after 1 h 30 min")
    assert [p["part"] for p in told["parts"]] == ["Lid", "Rim"]
    for part in told["parts"]:
        assert part["sentence"].endswith(".")
        assert part["found"] == ""
        assert "gelled, by" not in part["sentence"].lower(), "it had, before the box was shut"
        assert part["foretold"] in (
            "gelled, by its card",
            "ready to laminate on, by its card",
            "hard enough to leave its mould, by its card",
        )


def test_the_touch_is_kept_and_nothing_else_is(cured: tuple[TestClient, Path]) -> None:
    client, path = cured
    felt = client.put("/api/nights/1/touch/2", json={"felt": "leathery", "barcol": 12})
    assert felt.json()["parts"][1]["found"] == "leathery, Barcol 12"
    assert client.put("/api/nights/1/touch/2", json={"felt": "soggy"}).status_code == 422
    assert client.put("/api/nights/1/touch/3", json={"felt": "hard"}).status_code == 404
    assert client.put("/api/nights/7/touch/1", json={"felt": "hard"}).status_code == 404
    assert LedgerReader(path).noted(1) == {"touch_2": "leathery", "barcol_2": "12"}
    rubbed = client.put("/api/nights/1/touch/2", json={"felt": "hard", "acetone": "softens"})
    assert rubbed.json()["parts"][1]["found"] == "hard, Barcol 12, softened by acetone"
    assert LedgerReader(path).noted(1)["acetone_2"] == "softens"
    wet = client.put("/api/nights/1/touch/2", json={"felt": "hard", "acetone": "wet"})
    assert wet.status_code == 422


def test_only_a_jpeg_of_bearable_size_is_a_photo(cured: tuple[TestClient, Path]) -> None:
    client, path = cured
    for data, status in (
        (b"GIF89a", 422),
        (JPEG[:40], 422),
        (b"", 422),
        (JPEG + bytes(1_000_000), 413),
    ):
        answer = client.put("/api/nights/1/photo", content=data)
        assert answer.status_code == status, data[:8]
        assert answer.json()["detail"].endswith(".")
    assert client.get("/api/nights/1/photo").status_code == 404
    assert not photo_folder(path).exists()


def test_photo_touch_and_batch_are_in_the_record_and_its_hash_covers_them(
    cured: tuple[TestClient, Path], tmp_path: Path
) -> None:
    """Any of the three changed later is told. Fails before this: only the ticks were hashed."""
    client, path = cured
    client.put("/api/nights/1/notes", json={"resin_batch": "PL 2231"})
    client.put("/api/nights/1/touch/1", json={"felt": "hard"})
    assert client.put("/api/nights/1/photo", content=JPEG).status_code == 200
    assert client.get("/api/nights/1/photo").content == JPEG
    record = client.get("/api/nights/1/record").text
    in_it = base64.b64encode(JPEG).decode()
    for told in ("PL 2231", ", batch PL 2199", "What may be done next", in_it, "hard</td>"):
        assert told in record
    assert hashlib.sha256(JPEG).hexdigest() in record
    assert page_hash(record) == page_hash_stated(record)
    file = tmp_path / "night.html"
    file.write_text(record, "utf-8")
    reader = LedgerReader(path)
    assert check(reader, 1, file).same

    for change in (
        lambda: client.put("/api/nights/1/notes", json={"resin_batch": "PL 2232"}),
        lambda: client.put("/api/nights/1/touch/1", json={"felt": "tacky"}),
        lambda: client.put("/api/nights/1/photo", content=JPEG[:-2] + b"\x00\xff\xd9"),
    ):
        assert change().status_code == 200
        found = check(reader, 1, file)
        assert not found.same
        assert "by hand or its photo was changed" in found.sentence
        record = client.get("/api/nights/1/record").text
        file.write_text(record, "utf-8")
        assert check(reader, 1, file).same
    assert len([*photo_folder(path).iterdir()]) == 1, "the photo before is gone"

    (photo,) = photo_folder(path).iterdir()
    photo.write_bytes(JPEG)  # not the one that was noted
    assert client.get("/api/nights/1/photo").status_code == 404
    assert "gone, or was changed" in client.get("/api/nights/1/record").text


def test_the_pdf_has_the_photo(cured: tuple[TestClient, Path]) -> None:
    client, _ = cured
    before = client.get("/api/nights/1/record.pdf")
    assert before.content.startswith(b"%PDF")
    client.put("/api/nights/1/photo", content=JPEG)
    after = client.get("/api/nights/1/record.pdf").content
    assert b"/DCTDecode" not in before.content
    assert b"/DCTDecode" in after


def test_a_dropped_night_s_photo_is_dropped(tmp_path: Path) -> None:
    from nightcure.ledger.notes import NotesWriter
    from nightcure.ledger.photo import keep_photo
    from nightcure.ledger.retention import Rules, apply_retention

    path = tmp_path / "d.ledger"
    for _ in range(2):
        with RecordedOven(path) as oven:
            oven.run(62.0, {60.0: Command(2, "stop", {}, "test")}, GELLED)
    with NotesWriter(path) as notes:
        notes.note(1, {"photo": keep_photo(path, JPEG)}, "test", 1.7e9)
    apply_retention(path, Rules(drop_after_s=1.0), 1.8e9)
    assert [*photo_folder(path).iterdir()] == []


@pytest.mark.parametrize("typed", ["sixteen", "-3", "16 kg", "1e3", "99999"])
def test_what_is_no_weight_is_refused(cured: tuple[TestClient, Path], typed: str) -> None:
    """Fails before this: "sixteen" grams were saved."""
    client, path = cured
    answer = client.put("/api/nights/1/notes", json={"catalyst_weighed_g": typed, "remarks": "x"})
    assert answer.status_code == 422
    assert "it should be a number, 0 to 10000 g" in answer.json()["detail"]
    assert LedgerReader(path).noted(1) == {}, "all or nothing"
    for good in ("16", "16,2", "16.2 g"):
        sent = client.put("/api/nights/1/notes", json={"catalyst_weighed_g": good})
        assert sent.json()["catalyst_weighed_g"] == good
