"""Requests nobody should send, and what each gets: a status below 500 and one sentence."""

from __future__ import annotations

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient

from nightcure_web import access

from .conftest import PASSPHRASE

BIG = "9" * 400
GOOD_SEGMENT = {"kind": "soak", "at_c": 30, "hours": 1}


def profile(**changes: Any) -> dict[str, Any]:
    return {"profile": {"name": "x", "segments": [GOOD_SEGMENT], **changes}}


def nested(depth: int) -> str:
    return '{"profile":' + "[" * depth + "]" * depth + "}"


GETS = [
    ("/api/nights/0", 422),
    ("/api/nights/-1", 422),
    ("/api/nights/1e3", 422),
    (f"/api/nights/{BIG}", 422),
    ("/api/nights/9007199254740993", 422),
    ("/api/nights/99", 404),
    ("/api/nights/1%20OR%201=1", 422),
    ("/api/nights/1;DROP%20TABLE%20nights", 422),
    ("/api/nights/%00", 422),
    ("/api/nights/99/samples", 404),
    ("/api/nights/1/samples?points=0", 422),
    ("/api/nights/1/samples?points=-5", 422),
    ("/api/nights/1/samples?points=NaN", 422),
    (f"/api/nights/1/samples?points={BIG}", 422),
    (f"/api/nights/1/samples?after_seq={BIG}", 422),
    ("/api/nights?limit=501", 422),
    ("/api/nights?limit=-1", 422),
    (f"/api/nights?offset={BIG}", 422),
    ("/api/events?night_id=0", 422),
    ("/api/events?after_id=-1", 422),
    ("/api/nowhere", 404),
    ("/../../etc/passwd", 404),
    ("/..%2f..%2fetc%2fpasswd", 404),
    ("/%2e%2e/%2e%2e/oven.toml", 404),
    ("/.digest%00.js", 404),
]

STARTS: list[tuple[str, bytes | str]] = [
    ("nothing", b""),
    ("not JSON", b"{profile:"),
    ("not UTF-8", b'{"profile": "\xff\xfe"}'),
    ("a list", b"[]"),
    ("null", b"null"),
    ("a number for the profile", b'{"profile": 7}'),
    ("an empty profile", b'{"profile": {}}'),
    ("no segment", json.dumps(profile(segments=[]))),
    ("forty-one segments", json.dumps(profile(segments=[GOOD_SEGMENT] * 41))),
    ("NaN", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": float("nan")}]))),
    ("infinity", json.dumps(profile(segments=[{**GOOD_SEGMENT, "hours": float("inf")}]))),
    ("1e400", '{"profile": {"name": "x", "segments": [{"kind": "soak", "at_c": 1e400}]}}'),
    ("hotter than the limit", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": 75}]))),
    ("a wrong kind", json.dumps(profile(segments=[{**GOOD_SEGMENT, "kind": "boil"}]))),
    ("an unknown key", json.dumps(profile(heater="on"))),
    ("a name of 10 000 letters", json.dumps(profile(name="x" * 10_000))),
    ("text for a number", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": "hot"}]))),
    ("true for a number", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": True}]))),
    ("5 000 brackets", nested(5_000)),
    ("200 000 brackets", nested(200_000)),
    ("a surrogate in the name", '{"profile": {"name": "\\ud800", "segments": []}}'),
]

OTHERS: list[tuple[str, str, int]] = [
    ("DELETE", "/api/nights/1", 405),
    ("PUT", "/api/status", 405),
    ("GET", "/api/commands/stop", 404),
    ("TRACE", "/api/status", 405),
    ("POST", "/api/commands/explode", 405),
    ("POST", "/api/nights", 405),
]


def is_a_refusal(answer: Any, status: int | None = None) -> None:
    assert 400 <= answer.status_code < 500, answer.text
    if status is not None:
        assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    said = answer.json()
    assert said["status"] == answer.status_code
    assert said["title"]
    assert said["detail"].endswith("."), said
    assert 10 <= len(said["detail"]) < 1500
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(("path", "status"), GETS, ids=[p[:50] for p, _ in GETS])
def test_what_is_asked_wrongly(client: TestClient, path: str, status: int) -> None:
    is_a_refusal(client.get(path), status)


@pytest.mark.parametrize(("body"), [b for _, b in STARTS], ids=[n for n, _ in STARTS])
def test_what_nobody_may_start(client: TestClient, body: bytes | str) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    headers = {"Content-Type": "application/json"}
    is_a_refusal(client.post("/api/commands/start", content=body, headers=headers))


@pytest.mark.parametrize(("verb", "path", "status"), OTHERS)
def test_what_is_no_request(client: TestClient, verb: str, path: str, status: int) -> None:
    is_a_refusal(client.request(verb, path), status)


def test_logins_that_are_none(client: TestClient) -> None:
    for body in ({}, {"passphrase": None}, {"passphrase": ["x"]}, {"passphrase": "x" * 201}):
        is_a_refusal(client.post("/api/login", json=body), 422)
    is_a_refusal(client.post("/api/login", json={"passphrase": "\x00"}), 401)
    for value in ("\x01", "é".encode().decode("latin-1"), "x" * 4000, "{}"):
        client.cookies.clear()
        answer = client.post(
            "/api/commands/stop", headers={"Cookie": f"{access.COOKIE}={value}".encode("latin-1")}
        )
        is_a_refusal(answer, 401)


def test_a_body_too_large_is_not_read(client: TestClient) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    body = json.dumps(profile(name="x" * 3_000_000))
    headers = {"Content-Type": "application/json"}
    is_a_refusal(client.post("/api/commands/start", content=body, headers=headers), 413)


def test_a_body_without_end_is_not_read(client: TestClient) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    pieces = iter([b"[" * 1000] * 1000)
    is_a_refusal(client.post("/api/commands/start", content=pieces), 411)
    assert len(list(pieces)) > 0
