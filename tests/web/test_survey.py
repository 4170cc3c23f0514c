"""The guided survey through the API: an ordinary night, ended once enough is known."""

from __future__ import annotations

import time
from typing import Any

import pytest
from fastapi.testclient import TestClient

from nightcure.simulate.scenario import BOX
from nightcure.survey.heat_and_cool import NAME
from nightcure_web import survey_job as surveying
from nightcure_web.survey_job import SurveyJob
from tests.web.conftest import PASSPHRASE, Steered

#: Longest a test's night may take here, s.
PATIENCE_S = 150.0


def begin(steered: Steered, **asked: Any) -> tuple[int, Any]:
    answer = steered.client.post("/api/survey", json={"limit_device_confirmed": True, **asked})
    return answer.status_code, answer.json()


def test_refused_until_a_person_has_taken_care(steered: Steered) -> None:
    assert begin(steered)[0] == 401
    steered.log_in()
    status, problem = begin(steered)
    assert status == 409
    assert "cautions" in problem["detail"]
    steered.accept()
    status, problem = begin(steered, limit_device_confirmed=False)
    assert status == 409
    assert "cut-out" in problem["detail"]
    assert begin(steered, precision_pct=0)[0] == 422
    assert steered.client.get("/api/survey").json()["running"] is False


def test_it_ends_the_night_once_enough_is_known(
    steered: Steered, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Against the box's own numbers: its loss lies in the interval that is told."""
    monkeypatch.setattr(surveying, "EVERY_S", 5400.0)
    steered.accept()
    jobs = steered.app.state.surveying._jobs
    status, told = begin(steered, precision_pct=50)
    assert status == 200, told
    assert told["running"] is True
    assert begin(steered)[0] == 409
    end_s = time.monotonic() + PATIENCE_S
    while (told := steered.client.get("/api/survey").json())["running"]:
        assert time.monotonic() < end_s, told
        # Faster than life, but not while the fit is at work: it stands back for everything else,
        # and on a busy machine the night would end meanwhile.
        steered.pace_s[0] = 0.5 if jobs.busy else 0.0005
        time.sleep(0.01)
    assert told["half_width_pct"] <= 50.0
    loss = told["found"]["loss_w_per_k"]
    assert loss["low"] <= BOX.loss_w_per_k <= loss["high"]
    night = steered.client.get(f"/api/nights/{told['night_id']}").json()
    assert night["profile"]["name"] == NAME
    assert night["outcome"] == "stopped"
    assert "survey for page" in night["reason"]


def test_a_night_that_ends_before_is_told(steered: Steered) -> None:
    steered.accept()
    assert begin(steered, precision_pct=1)[0] == 200
    assert steered.ask("stop")[0] == 200
    end_s = time.monotonic() + PATIENCE_S
    while (told := steered.client.get("/api/survey").json())["running"]:
        assert time.monotonic() < end_s, told
        time.sleep(0.2)
    assert told["sentence"].startswith("Stopped by page")


def test_a_test_that_is_lost_sight_of_says_so(
    steered: Steered, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A mistake in the following must not leave 'running' on the page for ever."""

    async def nonsense(*_: object) -> dict[str, Any]:
        return {}

    monkeypatch.setattr(SurveyJob, "of_night", nonsense)
    steered.accept()
    assert begin(steered)[0] == 200
    end_s = time.monotonic() + PATIENCE_S
    while (told := steered.client.get("/api/survey").json())["running"]:
        assert time.monotonic() < end_s, told
        time.sleep(0.2)
    assert "no longer followed" in told["sentence"]
    assert steered.client.get("/api/status").json()["phase"] == "ramp", "an ordinary night goes on"


def test_any_night_may_be_surveyed_by_who_is_logged_in(client: TestClient) -> None:
    assert client.get("/api/nights/1/survey").status_code == 401
    client.post("/api/login", json={"passphrase": PASSPHRASE})
    found = client.get("/api/nights/1/survey")
    assert found.status_code == 200, found.text
    assert found.json()["loss_w_per_k"]["low"] < BOX.loss_w_per_k * 1.2
    assert client.get("/api/nights/99/survey").status_code == 404


def test_a_night_too_short_to_tell_anything_says_so(steered: Steered) -> None:
    steered.start()
    assert steered.ask("stop")[0] == 200
    short = steered.client.get("/api/nights/1/survey")
    assert short.status_code == 409
    assert short.json()["detail"].endswith(".")
