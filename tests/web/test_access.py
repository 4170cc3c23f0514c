"""Who may do what: nobody without the passphrase, nobody from another page."""

from __future__ import annotations

import shutil
import threading
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from itsdangerous import URLSafeTimedSerializer

from nightcure.errors import NightcureError
from nightcure.ledger.reader import LedgerReader
from nightcure_web import access, logged_out
from nightcure_web import login_limits as guesses
from nightcure_web.app import HEADERS, create_app
from tests.nights import changed

from .conftest import ORIGIN, PASSPHRASE, settings_for

COMMANDS = ("stop", "start", "acknowledge", "reset")
BODIES = {"start": {"profile": {"name": "x", "segments": []}}}


def post(client: TestClient, command: str, **headers: str) -> tuple[int, str]:
    answer = client.post(
        f"/api/commands/{command}", json=BODIES.get(command, {}), headers=headers or None
    )
    return answer.status_code, answer.json()["detail"]


def log_in(client: TestClient) -> None:
    assert client.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200


@pytest.mark.parametrize("command", COMMANDS)
def test_no_command_without_a_login(client: TestClient, command: str) -> None:
    status, detail = post(client, command)
    assert status == 401
    assert detail == "Log in with the passphrase first."


@pytest.mark.parametrize("command", COMMANDS)
def test_no_command_where_no_passphrase_is_set(night_ledger: Path, command: str) -> None:
    with TestClient(create_app(settings_for(night_ledger, None))) as client:
        assert client.get("/api/session").json() == {"logged_in": False, "has_passphrase": False}
        status, detail = post(client, command)
        assert status == 403
        assert "No passphrase is set" in detail
        assert client.post("/api/login", json={"passphrase": ""}).status_code == 403


@pytest.mark.parametrize("command", COMMANDS)
def test_no_command_from_another_page(client: TestClient, command: str) -> None:
    log_in(client)
    for headers in (
        {"Origin": "http://elsewhere.example"},
        {"Origin": "null"},
        {"Origin": "http://testserver.elsewhere.example"},
        {"Origin": "http://testserver:81"},
        {"Origin": ""},
        {"Origin": "http://["},
        {"Origin": "http://[::1"},
        {"Origin": "http://testserver@elsewhere.example"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
    ):
        status, detail = post(client, command, **headers)
        assert status == 403, headers
        assert "another page" in detail


def test_the_cookie_is_out_of_reach(client: TestClient) -> None:
    answer = client.post("/api/login", json={"passphrase": PASSPHRASE}, headers={"Origin": ORIGIN})
    cookie = answer.headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert "max-age=43200" in cookie
    assert PASSPHRASE not in cookie
    assert client.get("/api/session").json()["logged_in"] is True


def test_logging_out(client: TestClient) -> None:
    log_in(client)
    assert client.post("/api/logout").json() == {"logged_in": False}
    assert client.get("/api/session").json()["logged_in"] is False


def test_a_copied_cookie_is_worth_nothing_after_the_logout(
    client: TestClient, night_ledger: Path
) -> None:
    """Fails before this: a logout only asked the browser to forget its cookie."""
    log_in(client)
    copied = client.cookies[access.COOKIE]
    log_in(client)  # another session of the same device
    mine = client.cookies[access.COOKIE]
    client.cookies.clear()
    client.cookies.set(access.COOKIE, copied)
    assert client.post("/api/logout").status_code == 200
    with TestClient(create_app(settings_for(night_ledger))) as restarted:
        for page in (client, restarted):
            for cookie, good in ((copied, False), (mine, True)):
                page.cookies.clear()
                page.cookies.set(access.COOKIE, cookie)
                assert page.get("/api/session").json()["logged_in"] is good
                assert (page.post("/api/commands/start", json={}).status_code == 401) is not good
    kept = Path(f"{night_ledger}.logged-out")
    assert [p.name for p in kept.parent.glob("*.logged-out.*")] == []


def test_a_logout_that_cannot_be_written_down_is_told(
    client: TestClient, night_ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    log_in(client)
    monkeypatch.setattr(logged_out.os, "replace", full)
    answer = client.post("/api/logout")
    assert answer.status_code == 503
    assert "No space left on device" in answer.json()["detail"]
    assert client.get("/api/session").json()["logged_in"] is False, "here it is ended all the same"


@pytest.mark.parametrize("content", [b"", b"{", b"[1, null]", b"{}", b"\xff\xfe"])
def test_a_damaged_list_of_ended_sessions_is_as_none(tmp_path: Path, content: bytes) -> None:
    (tmp_path / "ended").write_bytes(content)
    ended = logged_out.LoggedOut(tmp_path / "ended")
    assert "x" not in ended
    for n in range(logged_out.MOST + 5):
        ended._ended[f"s{n}"] = None
    ended.add("x")
    again = logged_out.LoggedOut(tmp_path / "ended")
    assert "x" in again
    assert len(again._ended) == logged_out.MOST


def test_a_wrong_passphrase_and_too_many(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    now = {"s": 1000.0}
    monkeypatch.setattr(access.time, "monotonic", lambda: now["s"])
    for _ in range(guesses.MOST_ATTEMPTS):
        answer = client.post("/api/login", json={"passphrase": "kelp"})
        assert answer.status_code == 401
        assert answer.json()["detail"] == "That is not the passphrase."
        now["s"] += 1.0
    closed = client.post("/api/login", json={"passphrase": PASSPHRASE})
    assert closed.status_code == 429, "even the right one has to wait"
    assert 0 < int(closed.headers["retry-after"]) <= guesses.WINDOW_S
    assert client.get("/api/session").json()["logged_in"] is False
    now["s"] += guesses.WINDOW_S
    log_in(client)


def test_guesses_sent_together_count_one_by_one(night_ledger: Path) -> None:
    slow = access.PasswordHasher(time_cost=2, memory_cost=20_000, parallelism=1).hash(PASSPHRASE)
    statuses: list[int] = []
    together = threading.Barrier(16)
    with TestClient(create_app(settings_for(night_ledger, slow))) as client:

        def guess() -> None:
            together.wait(20)
            statuses.append(client.post("/api/login", json={"passphrase": "kelp"}).status_code)

        threads = [threading.Thread(target=guess, daemon=True) for _ in range(16)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join(30)
    assert sorted(statuses) == [401] * guesses.MOST_ATTEMPTS + [429] * (16 - guesses.MOST_ATTEMPTS)


def test_forged_and_outdated_cookies(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    for value in ("", "person", "a.b.c", URLSafeTimedSerializer("guessed").dumps("person")):
        client.cookies.set(access.COOKIE, value)
        assert post(client, "stop")[0] == 401, value
    client.cookies.clear()
    log_in(client)
    assert client.get("/api/session").json()["logged_in"] is True
    monkeypatch.setattr(access, "SESSION_S", -1)
    assert client.get("/api/session").json()["logged_in"] is False


def test_a_new_passphrase_ends_every_session(client: TestClient, night_ledger: Path) -> None:
    log_in(client)
    cookie = client.cookies[access.COOKIE]
    other = access.PasswordHasher(time_cost=1, memory_cost=8, parallelism=1).hash("another one")
    with TestClient(create_app(settings_for(night_ledger, other))) as changed:
        changed.cookies.set(access.COOKIE, cookie)
        assert changed.get("/api/session").json()["logged_in"] is False


def test_the_signing_key_is_the_owners_alone(client: TestClient, night_ledger: Path) -> None:
    assert client.get("/api/session").status_code == 200
    secret = Path(f"{night_ledger}.secret")
    assert secret.stat().st_mode & 0o077 == 0
    assert len(secret.read_text()) >= 32


@pytest.mark.parametrize("content", [b"", b"short", b"\xff" * 50])
def test_a_signing_key_anybody_could_guess_is_not_used(tmp_path: Path, content: bytes) -> None:
    """An empty file is what a power cut may leave."""
    (tmp_path / "x.ledger.secret").write_bytes(content)
    with pytest.raises(NightcureError, match=r"is not a key of this page; remove it"):
        create_app(settings_for(tmp_path / "x.ledger"))


def test_the_servers_own_mistake_tells_nothing_and_stays_safe(
    client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError("a detail of the inside")

    monkeypatch.setattr(LedgerReader, "nights", broken)
    answer = client.get("/api/nights")
    assert answer.status_code == 500
    assert answer.headers["content-type"] == "application/problem+json"
    assert "inside" not in answer.text
    for name, value in HEADERS.items():
        assert answer.headers[name] == value
    assert answer.headers["cache-control"] == "no-store"


def test_two_ovens_on_one_host_do_not_log_each_other_out(
    night_ledger: Path, tmp_path: Path
) -> None:
    """A browser keeps one jar for a host, whatever the port (RFC 6265, section 8.5).

    Fails before this: the login at one ended the login at the other.
    """
    other = tmp_path / "other.ledger"
    shutil.copy(night_ledger, other)
    first, second = settings_for(night_ledger), settings_for(other)
    second = changed(second, web={"port": first.web.port + 1})
    with TestClient(create_app(first)) as one, TestClient(create_app(second)) as two:
        for oven, neighbour in ((one, two), (two, one)):
            oven.cookies.update(neighbour.cookies)
            assert oven.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200
            neighbour.cookies.update(oven.cookies)
        for oven in (one, two):
            assert oven.get("/api/session").json()["logged_in"] is True
        one.post("/api/logout")
        assert one.get("/api/session").json()["logged_in"] is False
        assert two.get("/api/session").json()["logged_in"] is True
