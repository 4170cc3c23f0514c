"""Resin cards made on the page: the same questions and refusals as `nightcure cure new`."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from fastapi.testclient import TestClient

from nightcure.cure.card import parse_card
from nightcure.cure.new import questions
from tests.web.conftest import Steered

ROWS = ["15 2 40", "20 2 20", "25 2 12"]
ANSWERS = {
    "name": "shed-resin",
    "title": "The shed's own",
    "lowest_c": "12",
    "demould": "240",
    "demould_at_c": "20",
    "demould_catalyst_pct": "2",
    "density_kg_per_m3": "1,1",
}
SOAK = {"kind": "soak", "at_c": 30.0, "hours": 8.0}


def check(client: TestClient, answers: dict[str, str], rows: list[str]) -> dict[str, Any]:
    answer = client.post("/api/cards/check", json={"answers": answers, "gel_rows": rows})
    assert answer.status_code == 200, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_the_page_asks_what_the_command_asks(client: TestClient) -> None:
    for like, fixed in (("polyester-laminating", False), ("epoxy-slow", True)):
        told = client.get(f"/api/cards/{like}/questions").json()
        assert [(q["key"], q["question"]) for q in told["questions"]] == questions(like)
        assert told["fixed_ratio"] is fixed
    assert client.get("/api/cards/nothing/questions").status_code == 404


@pytest.mark.parametrize(
    ("key", "text", "said"),
    [
        ("name", "My Resin!", "small letters, digits and dashes"),
        ("name", "vinyl-ester", "ships with nightcure"),
        ("lowest_c", "cold", "should be a number"),
        ("highest_c", "900", "20 °C to 250 °C"),
        ("monomer_pct", "120", "0 to 70 %"),
        ("density_kg_per_m3", "3", "800 to 2500 kg/m³"),
        ("demould", "0", "1 to 100000 minutes"),
    ],
)
def test_a_wrong_answer_is_refused_at_its_question(
    client: TestClient, key: str, text: str, said: str
) -> None:
    found = check(client, {**ANSWERS, key: text}, ROWS)
    assert list(found["faults"]) == [key]
    assert said in found["faults"][key]
    assert found["card"] is None


def test_wrong_gel_rows_and_a_card_that_cannot_be_true(client: TestClient) -> None:
    found = check(client, ANSWERS, ["20 2 20", "20 x 20", "15 2"])
    assert list(found["faults"]) == ["gel/1", "gel/2"]
    slower_when_warmer = check(client, ANSWERS, ["20 2 20", "25 2 30"])
    assert "does not gel slower when warmer" in slower_when_warmer["faults"]["card"]


def test_a_card_is_kept_laid_up_with_and_taken_away(steered: Steered) -> None:
    client = steered.client
    draft = {"answers": ANSWERS, "gel_rows": ROWS}
    assert client.post("/api/cards", json=draft).status_code == 401
    steered.accept()
    assert client.post("/api/cards", json=draft).status_code == 200
    assert client.post("/api/cards", json=draft).status_code == 409
    kept = [c for c in client.get("/api/cards").json() if c["own"]]
    assert [c["name"] for c in kept] == ["shed-resin"]
    assert (kept[0]["least_pct"], kept[0]["most_pct"]) == (2.0, 2.0)
    card = parse_card(tomllib.loads(client.get("/api/cards/shed-resin/file").text), "file")
    assert card.density_kg_per_m3 is not None
    assert card.density_kg_per_m3.value == 1100.0
    part = {"name": "Lid", "card": "shed-resin", "catalyst_pct": 2.0, "resin_kg": 0.3,
            "start_h": -3.0, "before_c": 20.0}  # fmt: skip
    box = {"volume_m3": 0.43, "wet": "hard", "breathes": "ordinary"}
    profile = {"name": "Warm", "segments": [SOAK], "parts": [part], "box": box}
    told = client.post("/api/profiles/check", json=profile).json()
    assert told["planned_s"] > 0, told
    status, said = steered.ask("start", profile=profile, limit_device_confirmed=True)
    assert status == 200, said
    night = client.get("/api/nights/1").json()
    assert night["profile"]["parts"][0]["figures"]["gel_min"][0] == [15.0, 40.0]
    remembered = client.get("/api/remembered").json()
    assert remembered["parts"][0]["card"] == "shed-resin"
    assert client.delete("/api/cards/shed-resin").status_code == 200
    assert client.delete("/api/cards/shed-resin").status_code == 404
    refused = client.post("/api/profiles/check", json=profile)
    assert refused.status_code == 422
    assert "there is no resin card 'shed-resin'" in refused.json()["detail"]
