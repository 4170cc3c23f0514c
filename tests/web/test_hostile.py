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
    ("/api/nights/99/notes", 404),
    ("/api/nights?search=" + "x" * 81, 422),
    ("/api/commands?limit=0", 422),
    (f"/api/commands?offset={BIG}", 422),
    ("/api/nowhere", 404),
    ("/../../etc/passwd", 404),
    ("/..%2f..%2fetc%2fpasswd", 404),
    ("/%2e%2e/%2e%2e/oven.toml", 404),
    ("/.digest%00.js", 404),
]

STARTS: list[tuple[str, bytes | str, int]] = [
    ("nothing", b"", 422),
    ("not JSON", b"{profile:", 422),
    ("not UTF-8", b'{"profile": "\xff\xfe"}', 400),
    ("a list", b"[]", 422),
    ("null", b"null", 422),
    ("a number for the profile", b'{"profile": 7}', 422),
    ("an empty profile", b'{"profile": {}}', 422),
    ("no segment", json.dumps(profile(segments=[])), 422),
    ("forty-one segments", json.dumps(profile(segments=[GOOD_SEGMENT] * 41)), 422),
    ("NaN", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": float("nan")}])), 422),
    ("infinity", json.dumps(profile(segments=[{**GOOD_SEGMENT, "hours": float("inf")}])), 422),
    ("1e400", '{"profile": {"name": "x", "segments": [{"kind": "soak", "at_c": 1e400}]}}', 422),
    ("hotter than the limit", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": 75}])), 422),
    ("a wrong kind", json.dumps(profile(segments=[{**GOOD_SEGMENT, "kind": "boil"}])), 422),
    ("an unknown key", json.dumps(profile(heater="on")), 422),
    ("a name of 10 000 letters", json.dumps(profile(name="x" * 10_000)), 422),
    ("text for a number", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": "hot"}])), 422),
    ("true for a number", json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": True}])), 422),
    ("5 000 brackets", nested(5_000), 400),
    ("200 000 brackets", nested(200_000), 413),
    ("a surrogate in the name", '{"profile": {"name": "\\ud800", "segments": []}}', 422),
    ("a number of 400 digits", json.dumps(profile(lag_c=int(BIG))), 422),
    ("a number of 5 000 digits", '{"profile": {"lag_c": ' + "9" * 5000 + "}}", 400),
    ("a surrogate for a key", '{"profile": {"\\ud800": 1}}', 422),
    ("a thousand unknown keys", json.dumps(profile(**{f"k{i}": 0 for i in range(1000)})), 422),
    ("a key of 50 000 letters", json.dumps(profile(**{"k" * 50_000: 0})), 422),
    (
        "forty wrong segments",
        json.dumps(profile(segments=[{**GOOD_SEGMENT, "at_c": 75}] * 40)),
        422,
    ),
    ("null for the name", json.dumps(profile(name=None)), 422),
]

OTHERS: list[tuple[str, str, int]] = [
    ("DELETE", "/api/nights/1", 405),
    ("PUT", "/api/status", 405),
    ("GET", "/api/commands/stop", 405),
    ("TRACE", "/api/status", 405),
    ("POST", "/api/commands/explode", 404),
    ("POST", "/api/nights", 405),
    ("OPTIONS", "/api/commands/stop", 405),
    ("PATCH", "/api/nights/1", 401),
    ("PATCH", "/api/nights", 405),
    ("PUT", "/api/nights/1/notes", 401),
    ("DELETE", "/api/profiles/Short", 401),
    ("DELETE", "/api/profiles", 405),
    ("POST", "/api/profiles", 401),
    ("POST", "/api/cautions/accept", 401),
    ("POST", "/api/logout-everywhere", 401),
    ("GET", "/api/logout-everywhere", 405),
    ("DELETE", "/index.html", 405),
]


def is_a_refusal(answer: Any, status: int) -> None:
    assert 400 <= answer.status_code < 500, answer.text
    assert answer.status_code == status, answer.text
    assert answer.headers["content-type"] == "application/problem+json"
    said = answer.json()
    assert said.keys() == {"type", "title", "status", "detail"}, "RFC 9457, section 3.1"
    assert said["status"] == answer.status_code
    assert said["type"] == "about:blank"
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert said["title"]
    assert said["detail"].endswith("."), said
    assert 10 <= len(said["detail"]) < 3000
    assert "Traceback" not in answer.text


@pytest.mark.parametrize(("path", "status"), GETS, ids=[p[:50] for p, _ in GETS])
def test_what_is_asked_wrongly(client: TestClient, path: str, status: int) -> None:
    is_a_refusal(client.get(path), status)


@pytest.mark.parametrize(
    ("body", "status"), [(b, s) for _, b, s in STARTS], ids=[n for n, _, _ in STARTS]
)
def test_what_nobody_may_start(client: TestClient, body: bytes | str, status: int) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    headers = {"Content-Type": "application/json"}
    is_a_refusal(client.post("/api/commands/start", content=body, headers=headers), status)


@pytest.mark.parametrize("kind", ["text/plain", "application/x-www-form-urlencoded", "text/xml"])
def test_a_form_of_another_page_is_no_command(client: TestClient, kind: str) -> None:
    """These types a page may send across origins without asking first (Fetch standard)."""
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    body = json.dumps(profile())
    headers = {"Content-Type": kind}
    is_a_refusal(client.post("/api/commands/start", content=body, headers=headers), 422)


@pytest.mark.parametrize(("verb", "path", "status"), OTHERS)
def test_what_is_no_request(client: TestClient, verb: str, path: str, status: int) -> None:
    is_a_refusal(client.request(verb, path), status)


SENT: list[tuple[str, str, str, int]] = [
    ("POST", "/api/commands/extend", '{"minutes": NaN}', 422),
    ("POST", "/api/commands/extend", '{"minutes": "ten"}', 422),
    ("POST", "/api/commands/extend", "{}", 422),
    ("POST", "/api/commands/setpoint", '{"celsius": 1e400}', 422),
    ("POST", "/api/commands/setpoint", '{"celsius": true}', 422),
    ("POST", "/api/commands/setpoint", '{"celsius": ' + "9" * 5000 + "}", 400),
    ("POST", "/api/commands/offset", '{"sensor_id": "x", "method": "guess"}', 422),
    ("POST", "/api/commands/offset", '{"sensor_id": {"$ne": 0}, "method": "typed"}', 422),
    ("POST", "/api/commands/acknowledge", '{"alarm": 7}', 422),
    ("POST", "/api/commands/acknowledge", '{"alarm": "' + "x" * 81 + '"}', 422),
    ("PATCH", "/api/nights/1", '{"label": "\\u0000"}', 422),
    ("PATCH", "/api/nights/1", '{"label": ["x"]}', 422),
    ("PATCH", "/api/nights/0", '{"label": "x"}', 422),
    ("PUT", "/api/nights/1/notes", '{"colour": "red"}', 422),
    ("PUT", "/api/nights/1/notes", '{"remarks": "\\ud800"}', 422),
    ("PUT", "/api/nights/99/notes", '{"remarks": ""}', 404),
    ("POST", "/api/profiles", '{"profile": {"name": ""}}', 422),
    ("POST", "/api/profiles?replace=perhaps", '{"profile": {}}', 422),
    ("POST", "/api/profiles/check", '{"parts": [{"card": "../../etc/passwd"}]}', 422),
    ("DELETE", "/api/profiles/" + "x" * 61, "", 422),
    ("DELETE", "/api/profiles/%00", "", 404),
]


@pytest.mark.parametrize(
    ("verb", "path", "body", "status"), SENT, ids=[f"{v} {p[:30]} {b[:30]}" for v, p, b, _ in SENT]
)
def test_what_a_person_sends_wrongly(
    client: TestClient, verb: str, path: str, body: str, status: int
) -> None:
    headers = {"Content-Type": "application/json"}
    is_a_refusal(client.request(verb, path, content=body, headers=headers),
                 401 if not path.endswith("check") and status != 400 else status)  # fmt: skip
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    is_a_refusal(client.request(verb, path, content=body, headers=headers), status)


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


@pytest.mark.parametrize(
    ("length", "status"),
    [("9" * 5000, 413), ("64001", 413), ("-1", 400), ("abc", 400), ("1e3", 400), ("0x10", 400),
     ("", 400), ("2, 2", 400), ("+2", 400), ("2.0", 400)],
)  # fmt: skip
def test_a_length_that_is_none(client: TestClient, length: str, status: int) -> None:
    """RFC 9112, section 6.3: an invalid Content-Length is answered with 400."""
    headers = {"Content-Type": "application/json", "Content-Length": length}
    is_a_refusal(client.post("/api/login", content=b"{}", headers=headers), status)


def test_two_lengths_are_none(client: TestClient) -> None:
    headers = [("Content-Type", "application/json"), ("Content-Length", "2"),
               ("Content-Length", "60")]  # fmt: skip
    is_a_refusal(client.post("/api/login", content=b"{}", headers=headers), 400)


def test_a_body_without_end_is_not_read(client: TestClient) -> None:
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    pieces = iter([b"[" * 1000] * 1000)
    is_a_refusal(client.post("/api/commands/start", content=pieces), 411)
    assert len(list(pieces)) > 0
