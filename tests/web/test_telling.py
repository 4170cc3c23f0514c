"""Who is told, on the page: the notifier's state, and browsers that ask to be told themselves."""

from __future__ import annotations

import os
import time
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from nightcure.ledger.outbox import Message, Outbox, outbox_path
from nightcure.ledger.push_file import MOST, key_path, push_path, read_browsers
from nightcure.ledger.writer import LedgerWriter
from nightcure_web.app import create_app

from .conftest import PASSPHRASE, settings_for

BROWSER = {
    "endpoint": "https://push.example/abc",
    "keys": {"p256dh": "B" + "A" * 86, "auth": "A" * 22},
}


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    LedgerWriter(tmp_path / "t.ledger").close()
    return tmp_path / "t.ledger"


def browser(ledger: Path, base_url: str = "https://testserver") -> TestClient:
    app = create_app(settings_for(ledger))
    return TestClient(app, base_url=base_url, raise_server_exceptions=False)


def test_without_a_notifier(ledger: Path) -> None:
    with browser(ledger) as client:
        said = client.get("/api/notifications").json()
    assert said == {"runs": False, "seen_s": None, "services": [], "messages": []}


def test_what_fails_is_told(ledger: Path) -> None:
    outbox = Outbox(outbox_path(ledger))
    outbox.join("phone")
    outbox.put([Message("a", "trip", 1000.0, 0.0, "Estuary box: tripped", "Too hot.")])
    outbox.failed("phone", "It was not reached.", 1100.0)
    with browser(ledger) as client:
        said = client.get("/api/notifications").json()
        assert said["runs"]
        assert said["services"] == [
            {"name": "phone", "waiting": 1, "sent_s": None, "failing_s": 1100.0,
             "sentence": "It was not reached."}
        ]  # fmt: skip
        assert [m["title"] for m in said["messages"]] == ["Estuary box: tripped"]
        old_s = time.time() - 60.0
        os.utime(outbox.path, (old_s, old_s))
        assert not client.get("/api/notifications").json()["runs"], "it was not seen for a minute"


def test_without_https_the_page_says_why_it_cannot(ledger: Path) -> None:
    with browser(ledger, "http://testserver") as client:
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        said = client.get("/api/push").json()
        assert not said["possible"]
        assert "served over https" in said["why_not"]
        refused = client.post("/api/push", json=BROWSER)
        assert refused.status_code == 409
        assert "served over https" in refused.json()["detail"]
    assert not push_path(ledger).exists()
    with browser(ledger, "http://127.0.0.1") as client:  # a browser takes its own machine for safe
        assert client.get("/api/push").json()["possible"]


def test_a_browser_joins_and_leaves(ledger: Path) -> None:
    with browser(ledger) as client:
        assert client.post("/api/push", json=BROWSER).status_code == 401
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        for _ in range(2):  # twice is once
            said = client.post("/api/push", json=BROWSER).json()
            assert said["browsers"] == 1
        assert len(said["key"]) == 87, "an uncompressed point of P-256, base64url"
        assert client.get("/api/push").json()["key"] == said["key"], "one key for good"
        assert read_browsers(push_path(ledger)) == [BROWSER]
        for path in (push_path(ledger), key_path(ledger)):
            assert path.stat().st_mode & 0o077 == 0
        left = client.post("/api/push/leave", json={"endpoint": BROWSER["endpoint"]})
        assert left.json()["browsers"] == 0


@pytest.mark.parametrize(
    "changes",
    [
        {"endpoint": "http://push.example/abc"},
        {"endpoint": "https://" + "x" * 2000},
        {"keys": {"p256dh": "short", "auth": "A" * 22}},
        {"keys": None},
    ],
)
def test_what_no_browser_gives_is_refused(ledger: Path, changes: dict[str, Any]) -> None:
    with browser(ledger) as client:
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        assert client.post("/api/push", json={**BROWSER, **changes}).status_code == 422
    assert read_browsers(push_path(ledger)) == []


def test_there_is_room_for_so_many(ledger: Path) -> None:
    with browser(ledger) as client:
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        for i in range(MOST):
            one = {**BROWSER, "endpoint": f"https://push.example/{i}"}
            assert client.post("/api/push", json=one).status_code == 200
        assert client.post("/api/push", json=BROWSER).status_code == 409


def test_the_siren_is_silenced_from_the_page_and_nothing_is_reset(steered: Any) -> None:
    steered.start()
    assert steered.ask("silence") == (409, "There was nothing to silence.")
    steered.oven.stop_pressed = False
    assert steered.client.get("/api/status").json()["siren"] is None, "none is declared"
