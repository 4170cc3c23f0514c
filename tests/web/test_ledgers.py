"""Ledgers the page cannot use: a 503 and a sentence, for it is not the asker who was wrong."""

from __future__ import annotations

import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from nightcure_web.app import create_app

from .conftest import PASSPHRASE, settings_for

ASKED = (
    "/api/health",
    "/api/status",
    "/api/nights",
    "/api/nights/1",
    "/api/nights/1/samples",
    "/api/events",
)


def other_database(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("CREATE TABLE recipes (name TEXT)")
    db.close()


def newer(path: Path) -> None:
    with sqlite3.connect(path) as db:
        db.execute("PRAGMA user_version = 99")
    db.close()


def half(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:3000])


def overwritten(path: Path) -> None:
    data = path.read_bytes()
    path.write_bytes(data[:2048] + b"\xaa" * (len(data) - 2048))


WRONG: dict[str, tuple[Callable[[Path], object], str]] = {
    "a shopping list": (lambda p: p.write_text("Two eggs, flour.\n" * 400), "is not a ledger"),
    "nothing": (lambda p: p.write_bytes(b""), "the controller has not made it yet"),
    "a folder": (lambda p: (p.unlink(), p.mkdir()), "cannot be opened"),
    "another database": (lambda p: (p.unlink(), other_database(p)), "but not a ledger"),
    "a newer one": (newer, "written by a newer nightcure"),
    "half of one": (half, "malformed"),
    "one overwritten": (overwritten, "malformed"),
}


def is_a_503(client: TestClient, path: str, said: str) -> None:
    answer = client.get(path)
    assert answer.status_code == 503, (path, answer.text)
    assert answer.headers["content-type"] == "application/problem+json"
    assert said in answer.json()["detail"], path
    assert answer.json()["detail"].endswith((".", "?"))


def test_no_ledger_yet(tmp_path: Path) -> None:
    app = create_app(settings_for(tmp_path / "none.ledger"))
    with TestClient(app, raise_server_exceptions=False) as client:
        assert client.get("/api/health").json() == {"ok": True, "controller_age_s": None}
        for path in ASKED[1:]:
            is_a_503(client, path, "has not made its ledger yet")
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        assert client.post("/api/commands/stop").status_code == 503


def test_the_ledger_is_found_once_it_is_made(tmp_path: Path, night_ledger: Path) -> None:
    path = tmp_path / "late.ledger"
    with TestClient(create_app(settings_for(path))) as client:
        assert client.get("/api/nights").status_code == 503
        shutil.copy(night_ledger, path)
        assert len(client.get("/api/nights").json()) == 2


@pytest.mark.parametrize("name", WRONG)
def test_a_file_that_is_no_ledger(tmp_path: Path, night_ledger: Path, name: str) -> None:
    path = tmp_path / "w.ledger"
    shutil.copy(night_ledger, path)
    spoil, said = WRONG[name]
    spoil(path)
    with TestClient(create_app(settings_for(path)), raise_server_exceptions=False) as client:
        for asked in ASKED:
            is_a_503(client, asked, said)
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        assert client.post("/api/commands/stop").status_code == 503


def test_a_row_that_is_damaged(tmp_path: Path, night_ledger: Path) -> None:
    path = tmp_path / "w.ledger"
    shutil.copy(night_ledger, path)
    with sqlite3.connect(path) as db:
        db.execute("UPDATE live SET state = '{'")
        db.execute("UPDATE nights SET settings = 'x' WHERE id = 1")
        db.execute("UPDATE ticks SET believed = '[' WHERE night_id = 1 AND seq = 7")
    db.close()
    with TestClient(create_app(settings_for(path)), raise_server_exceptions=False) as client:
        for asked in ("/api/health", "/api/status", "/api/nights/1", "/api/nights/1/samples"):
            is_a_503(client, asked, "is damaged")
        assert client.get("/api/nights/2").status_code == 200, "what is whole is still shown"
