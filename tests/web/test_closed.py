"""A page that is shown to nobody without the passphrase, and the end of every session."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from pydantic import ValidationError

from nightcure.settings import Settings
from nightcure_web import access
from nightcure_web.app import create_app
from tests.nights import SETTINGS, changed

from .conftest import HASH, PASSPHRASE, settings_for


def closed_settings(ledger: Path) -> Settings:
    return changed(settings_for(ledger), web={"reading": "login"})


@pytest.fixture
def closed(night_ledger: Path) -> Iterator[TestClient]:
    with TestClient(create_app(closed_settings(night_ledger))) as found:
        yield found


def log_in(client: TestClient) -> str:
    assert client.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200
    return client.cookies[access.COOKIE]


def test_every_get_but_two_needs_the_login(closed: TestClient) -> None:
    document = create_app(closed.app.state.services.settings).openapi()  # type: ignore[attr-defined]
    gets = [
        p.replace("{night_id}", "1").replace("{name}", "vinyl-ester")
        for p, verbs in document["paths"].items()
        if "get" in verbs
    ]
    assert len(gets) >= 13
    gets.remove("/api/stream")
    for path in [*gets, "/api/openapi.json", "/api/nowhere", "/api"]:
        answer = closed.get(path)
        if path in ("/api/session", "/api/health"):
            assert answer.status_code == 200
            assert answer.json().keys() <= {
                "logged_in", "has_passphrase", "ok", "controller_age_s"
            }  # fmt: skip
            continue
        assert answer.status_code == 401, path
        assert answer.headers["content-type"] == "application/problem+json"
        assert answer.headers["x-content-type-options"] == "nosniff"
    assert closed.get("/").status_code == 200, "the static shell"
    assert closed.get("/main.js").status_code == 200
    log_in(closed)
    for path in gets:
        assert closed.get(path).status_code == (
            404 if path.endswith(("/photo", "/file")) else 200
        ), path
    assert closed.get("/api/openapi.json").status_code == 200


def test_a_check_of_a_profile_tells_strangers_nothing_either(closed: TestClient) -> None:
    body = {"name": "x", "segments": [{"kind": "soak", "at_c": 70, "hours": 1}]}
    assert closed.post("/api/profiles/check", json=body).status_code == 401
    log_in(closed)
    assert closed.post("/api/profiles/check", json=body).status_code == 200


SPELLINGS = (
    *("//api/status", "/api//status", "/API/status", "/api/../api/status", "/api/status/"),
    *("/%61pi/status", "/api%2fstatus"),
)


@pytest.mark.parametrize("path", SPELLINGS)
def test_other_spellings_open_nothing(closed: TestClient, path: str) -> None:
    answer = closed.get(path)
    assert answer.status_code in (401, 404)
    assert "control_c" not in answer.text


def test_a_closed_page_without_a_passphrase_is_a_mistake() -> None:
    with pytest.raises(ValidationError, match="nobody could read"):
        changed(SETTINGS, web={"reading": "login"})
    assert changed(SETTINGS, web={"reading": "login", "passphrase_hash": HASH}).web.reading
    assert SETTINGS.web.reading == "open"


def test_logging_everybody_out(night_ledger: Path) -> None:
    settings = settings_for(night_ledger)
    with TestClient(create_app(settings)) as one, TestClient(one.app) as other:
        mine, theirs = log_in(one), log_in(other)
        assert other.get("/api/session").json()["logged_in"] is True
        assert one.post("/api/logout-everywhere").json() == {"logged_in": False}
        assert other.get("/api/session").json()["logged_in"] is False
        assert other.post("/api/commands/stop").status_code == 401
        fresh = log_in(other)
    with TestClient(create_app(settings)) as restarted:
        for cookie, good in ((mine, False), (theirs, False), (fresh, True)):
            restarted.cookies.set(access.COOKIE, cookie)
            assert restarted.get("/api/session").json()["logged_in"] is good
    secret = Path(f"{night_ledger}.secret")
    assert secret.stat().st_mode & 0o077 == 0
    assert [p.name for p in secret.parent.glob("*.secret.*")] == []


def test_only_a_person_who_is_logged_in_ends_sessions(client: TestClient) -> None:
    assert client.post("/api/logout-everywhere").status_code == 401
    log_in(client)
    origin = {"Origin": "http://elsewhere.example"}
    assert client.post("/api/logout-everywhere", headers=origin).status_code == 403
    assert client.get("/api/session").json()["logged_in"] is True


def test_a_key_that_cannot_be_renewed_is_told_and_sessions_stay(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> str:
        raise OSError(28, "No space left on device")

    log_in(client)
    monkeypatch.setattr(access, "make_secret", full)
    answer = client.post("/api/logout-everywhere")
    assert answer.status_code == 503
    assert "No space left" in answer.json()["detail"]
    assert client.get("/api/session").json()["logged_in"] is True
