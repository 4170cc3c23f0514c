"""Commands from the page reach the loop through the inbox, and come back as a sentence."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from nightcure.tick import Phase
from nightcure_web import services as services
from nightcure_web.app import create_app
from tests.nights import SHORT

from .conftest import PASSPHRASE, Steered, settings_for

PROFILE = {"profile": SHORT.model_dump(mode="json"), "limit_device_confirmed": True}


def test_a_night_is_started_and_stopped(steered: Steered) -> None:
    steered.accept()
    answer = steered.client.post("/api/commands/start", json=PROFILE)
    assert answer.json() == {"outcome": "done", "message": "Started 'Short'."}
    assert steered.oven.loop.phase is Phase.RAMP
    again = steered.client.post("/api/commands/start", json=PROFILE)
    assert again.status_code == 409
    assert again.headers["content-type"] == "application/problem+json"
    stopped = steered.client.post("/api/commands/stop")
    assert stopped.json() == {"outcome": "done", "message": "Stopped; the heater is off."}
    assert steered.oven.loop.phase is Phase.IDLE


def test_a_shipped_profile_starts_as_it_was_offered(steered: Steered) -> None:
    steered.accept()
    for offer in steered.client.get("/api/profiles").json():
        body = {"profile": offer["profile"], "limit_device_confirmed": True}
        assert steered.client.post("/api/commands/start", json=body).status_code == 200
        assert steered.client.post("/api/commands/stop").status_code == 200


def test_every_command_is_kept_with_who_and_what_came_of_it(steered: Steered) -> None:
    steered.log_in()
    steered.client.post("/api/commands/stop")
    steered.client.post("/api/commands/reset")
    with sqlite3.connect(steered.oven.ledger) as db:
        rows = db.execute("SELECT word, who, outcome, message FROM inbox ORDER BY id").fetchall()
    assert [r[0] for r in rows] == ["stop", "reset"]
    for _, who, outcome, message in rows:
        assert who == "page, testclient"
        assert outcome in ("done", "refused")
        assert message.endswith(".")


def test_a_refusal_is_the_loops_own_sentence(steered: Steered) -> None:
    steered.log_in()
    hot = {"name": "Hot", "segments": [{"kind": "soak", "at_c": 75, "hours": 1}]}
    answer = steered.client.post("/api/commands/start", json={"profile": hot})
    assert answer.status_code in (409, 422)
    assert "75" in answer.json()["detail"]
    assert steered.oven.loop.phase is Phase.IDLE


def test_a_controller_that_does_not_answer_is_told_within_seconds(
    night_ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(services, "ANSWER_S", 0.3)
    with TestClient(create_app(settings_for(night_ledger))) as client:
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        answer = client.post("/api/commands/stop")
    assert answer.status_code == 504
    assert "pull the heater's plug" in answer.json()["detail"]
