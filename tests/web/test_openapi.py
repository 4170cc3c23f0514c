"""The API's description of itself: a valid document, and true."""

from __future__ import annotations

import json
from typing import Any

import pytest
from fastapi.testclient import TestClient
from jsonschema import Draft202012Validator
from openapi_spec_validator import OpenAPIV32SpecValidator, validate

from .conftest import PASSPHRASE
from .test_hostile import GETS, STARTS


@pytest.fixture
def document(client: TestClient) -> dict[str, Any]:
    found: dict[str, Any] = client.get("/api/openapi.json").json()
    return found


def test_it_is_valid(document: dict[str, Any]) -> None:
    """By the OpenAPI Initiative's own schema, as openapi-spec-validator carries it."""
    assert document["openapi"] == "3.2.0"
    validate(document, cls=OpenAPIV32SpecValidator)


def test_every_route_is_described(document: dict[str, Any]) -> None:
    routes = [
        (path, verb, route)
        for path, verbs in document["paths"].items()
        for verb, route in verbs.items()
    ]
    assert len(routes) >= 29
    for path, verb, route in routes:
        assert len(route["description"]) > 15, (path, verb)
        assert route["summary"], (path, verb)
        for status, said in route["responses"].items():
            if status != "200":
                assert list(said["content"]) == ["application/problem+json"], (path, verb, status)
        if verb != "get" and not path.startswith(
            ("/api/login", "/api/logout", "/api/profiles/che", "/api/cards/che")
        ):
            assert route["security"] == [{"session": []}], (path, verb)


def test_every_answer_has_a_model_and_an_example_that_fits(document: dict[str, Any]) -> None:
    """Checked with jsonschema, by JSON Schema 2020-12 as OpenAPI 3.1 and later say."""
    checked = 0
    for path, verbs in document["paths"].items():
        for verb, route in verbs.items():
            for kind, said in route["responses"]["200"]["content"].items():
                assert said["example"], (path, verb)
                if not kind.endswith("json"):
                    continue
                schema = said["schema"]
                assert "$ref" in schema.get("items", schema), (path, verb)
                validator = Draft202012Validator({**schema, "components": document["components"]})
                assert list(validator.iter_errors(said["example"])) == [], (path, verb)
                checked += 1
    assert checked >= 28


def test_every_body_has_an_example(document: dict[str, Any]) -> None:
    text = json.dumps(document["components"]["schemas"])
    for path, verbs in document["paths"].items():
        for verb, route in verbs.items():
            if "requestBody" in route:
                (said,) = route["requestBody"]["content"].values()
                name = said["schema"].get("$ref", "").rpartition("/")[2]
                model = document["components"]["schemas"].get(name, said["schema"])
                assert "example" in json.dumps(model), (path, verb)
    assert "passphrase_hash" not in text


VERBS = ("GET", "HEAD", "POST", "PUT", "PATCH", "DELETE", "OPTIONS", "TRACE", "PROPFIND")


def test_what_a_route_does_not_do_is_answered_with_what_it_does(
    client: TestClient, document: dict[str, Any]
) -> None:
    """RFC 9110, section 15.5.6: 405, and Allow. Fails before this on 19 routes."""
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    asked = 0
    for path, verbs in document["paths"].items():
        at = path.replace("{night_id}", "1").replace("{name}", "Mine")
        known = {verb.upper() for verb in verbs}
        if at in ("/api/profiles/check", "/api/cards/check"):
            known.add("DELETE")  # a profile, or a card, may be called so
        for verb in set(VERBS) - known:
            answer = client.request(verb, at)
            assert answer.status_code == 405, (verb, at)
            assert set(answer.headers["allow"].split(", ")) == known, (verb, at)
            asked += 1
    assert asked > 200
    for verb in VERBS:
        assert client.request(verb, "/api/nowhere").status_code == 404, verb
    assert client.request("POST", "/api/openapi.json").headers["allow"] == "GET, HEAD"


def test_every_refusal_is_announced(client: TestClient, document: dict[str, Any]) -> None:
    """A status that a hostile request gets is one that the document names."""
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    start = document["paths"]["/api/commands/start"]["post"]["responses"]
    assert {str(status) for _, _, status in STARTS} <= start.keys()
    said = document["paths"]
    routes = {
        "/api/nights/1/samples?": said["/api/nights/{night_id}/samples"],
        "/api/nights?": said["/api/nights"],
        "/api/events?": said["/api/events"],
    }
    checked = 0
    for asked, status in GETS:
        for beginning, route in routes.items():
            if asked.startswith(beginning):
                assert str(status) in route["get"]["responses"], asked
                checked += 1
    assert checked >= 8
