"""Schemathesis over the API's own description: requests nobody thought of, against a live loop.

Requests the document allows and requests it forbids, logged in and not. Whatever is sent, the
answer is no mistake of the server's, and its status, type and body are those the document tells.
"""

from __future__ import annotations

from contextlib import suppress
from typing import Any

import schemathesis
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, Phase, given
from hypothesis import settings as hypo
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    positive_data_acceptance,
    response_headers_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from nightcure_web.access import COOKIE

from .conftest import PASSPHRASE, Steered

CHECKS = [
    not_a_server_error,
    status_code_conformance,
    content_type_conformance,
    response_headers_conformance,
    response_schema_conformance,
]
#: Where the document tells all that is needed: what it allows is taken.
TOLD_IN_FULL = (
    "POST /api/profiles/check", "PATCH /api/nights/{night_id}", "PUT /api/nights/{night_id}/notes",
)  # fmt: skip
BOUNDED = hypo(
    max_examples=4,
    deadline=None,
    database=None,
    derandomize=True,
    phases=[Phase.explicit, Phase.generate],
    suppress_health_check=list(HealthCheck),
)


def test_whatever_is_asked_is_answered_as_described(steered: Steered) -> None:
    client = steered.client
    steered.accept()
    document = client.get("/api/openapi.json").json()
    document["openapi"] = "3.1.0"  # the newest it reads; a stream has no end and is left out
    del document["paths"]["/api/stream"]
    statuses: dict[bool, list[int]] = {True: [], False: []}
    sessions: list[str] = []

    def log_in() -> str:
        """A session; another one where what was asked has ended it."""
        if sessions:
            client.cookies.set(COOKIE, sessions[-1])
            if client.get("/api/session").json()["logged_in"]:
                return sessions[-1]
        person = TestClient(steered.app, client=(f"198.51.100.{len(sessions)}", 1))
        answer = person.post("/api/login", json={"passphrase": PASSPHRASE})
        sessions.append(answer.cookies[COOKIE])
        return sessions[-1]

    def ask(case: Any) -> None:
        for logged_in in (False, True):
            client.cookies.clear()
            if logged_in:
                client.cookies.set(COOKIE, log_in())
            asked = case.as_transport_kwargs(base_url="http://testserver")
            answer = client.request(**{**asked, "cookies": None})
            statuses[logged_in].append(answer.status_code)
            full = logged_in and case.operation.label in TOLD_IN_FULL
            checks = [*CHECKS, positive_data_acceptance] if full else CHECKS
            case.validate_response(answer, checks=checks)

    for found in schemathesis.openapi.from_dict(document).get_all_operations():
        operation = found.ok()
        for mode in GenerationMode:
            with suppress(Unsatisfiable):  # there may be nothing to ask that is forbidden
                BOUNDED(given(operation.as_strategy(mode))(ask))()
    assert len(statuses[True]) > 120
    assert 401 in statuses[False]
    assert statuses[True].count(200) > 25
