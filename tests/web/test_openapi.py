"""The API's description of itself: a valid document, and true."""

from __future__ import annotations

from typing import Any

import pytest
from fastapi.testclient import TestClient
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
    assert len(routes) >= 14
    for path, verb, route in routes:
        assert len(route["description"]) > 15, (path, verb)
        for status, said in route["responses"].items():
            if status != "200":
                assert list(said["content"]) == ["application/problem+json"], (path, verb, status)


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
