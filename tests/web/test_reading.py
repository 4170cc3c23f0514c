"""What anybody on the page may read: now, nights, samples, happenings, the API itself."""

from __future__ import annotations

import json
import socket
import sqlite3
import threading
import time
from pathlib import Path

import httpx
import pytest
from fastapi.testclient import TestClient

from nightcure_web.app import Server, create_app
from tests.nights import changed
from tests.recording import RecordedOven
from tests.workshop import wait_for

from .conftest import settings_for


def test_status_is_the_controllers_last_word(client: TestClient) -> None:
    status = client.get("/api/status").json()
    assert status["phase"] == "ramp" or status["phase"] == "tripped"
    assert status["night_id"] == 2
    assert [t["name"] for t in status["thermometers"]] == ["Air", "Lid", "Rim", "Shed"]
    assert status["now_s"] >= status["host_s"]
    health = client.get("/api/health").json()
    assert health["ok"] is True
    assert health["controller_age_s"] >= 0


def test_nights_are_listed_newest_first(client: TestClient) -> None:
    nights = client.get("/api/nights").json()
    assert [n["id"] for n in nights] == [2, 1]
    assert [n["outcome"] for n in nights] == ["tripped", "done"]
    assert client.get("/api/nights?limit=1&offset=1").json()[0]["id"] == 1


def test_one_night_in_full(client: TestClient) -> None:
    night = client.get("/api/nights/1").json()
    assert night["profile"]["name"] == "Short"
    assert night["outcome"] == "done"
    assert night["ended_s"] > night["started_s"]
    assert len(night["thermometers"]) == 4
    assert night["power_w"] == 300.0


def test_a_night_keeps_the_heater_it_had(night_ledger: Path) -> None:
    stronger = changed(settings_for(night_ledger), heater={"power_w": 450.0})
    with TestClient(create_app(stronger)) as client:
        assert client.get("/api/nights/1").json()["power_w"] == 300.0


def test_samples_are_thinned_and_keep_their_peaks(client: TestClient, night_ledger: Path) -> None:
    with sqlite3.connect(night_ledger) as db:
        rows = db.execute(
            "SELECT control_c, believed FROM ticks WHERE night_id = 1 ORDER BY seq"
        ).fetchall()
    samples = client.get("/api/nights/1/samples?points=200").json()
    count = len(samples["seq"])
    assert 50 < count <= 220
    assert count < len(rows) / 5
    assert samples["seq"] == sorted(samples["seq"])
    assert samples["seq"][0] == 0
    assert samples["seq"][-1] == len(rows) - 1
    assert max(samples["control_c"]) == max(r[0] for r in rows)
    assert min(samples["control_c"]) == min(r[0] for r in rows)
    for column in range(4):
        measured = [json.loads(r[1])[column] for r in rows]
        assert max(samples["believed"][column]) == max(measured)
        assert min(samples["believed"][column]) == min(measured)
    assert {len(v) for k, v in samples.items() if k != "believed"} == {count}


def test_samples_after_a_tick(client: TestClient) -> None:
    samples = client.get("/api/nights/1/samples?points=5000&after_seq=100").json()
    assert samples["seq"][0] == 101


def test_happenings_of_a_night_in_order(client: TestClient) -> None:
    events = client.get("/api/events?night_id=1").json()
    assert [e["id"] for e in events] == sorted(e["id"] for e in events)
    assert "Started 'Short' with the air at" in events[0]["message"]
    assert any("is done" in e["message"] for e in events)
    rest = client.get(f"/api/events?night_id=1&after_id={events[0]['id']}").json()
    assert rest == events[1:]


def test_profiles_come_with_their_refusals(client: TestClient) -> None:
    offers = client.get("/api/profiles").json()
    assert len(offers) == 7
    for offer in offers:
        assert offer["profile"]["segments"]
        assert offer["refusals"] == []
        assert offer["own"] is False
        checked = client.post("/api/profiles/check", json=offer["profile"])
        assert checked.json()["refusals"] == []
    hot = {"name": "Hot", "segments": [{"kind": "soak", "at_c": 70, "hours": 1}]}
    refusals = client.post("/api/profiles/check", json=hot).json()["refusals"]
    assert len(refusals) == 1
    assert "70" in refusals[0]
    assert "55 °C" in refusals[0]


def test_every_answer_carries_the_safe_headers(client: TestClient) -> None:
    for path in ("/", "/main.js", "/api/status", "/api/nights/99", "/nowhere"):
        headers = client.get(path).headers
        policy = headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["referrer-policy"] == "no-referrer"
        fresh = "no-store" if path.startswith("/api") else "no-cache"
        assert headers["cache-control"] == fresh
    page = client.get("/").text
    assert "<script" in page
    assert "style=" not in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    assert "https://" not in page


@pytest.mark.parametrize("closing", ["the reader leaves", "the server stops"])
def test_the_stream_sends_what_is_new(tmp_path: Path, closing: str) -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    ledger = tmp_path / "s.ledger"
    with RecordedOven(ledger) as oven:
        oven.run(20.0)
        app = create_app(settings_for(ledger))
        server = Server(app, "127.0.0.1", port)
        thread = threading.Thread(target=server.run, daemon=True)
        thread.start()
        wait_for(lambda: server.started, 20, "the server listens")
        heard: list[int] = []
        with httpx.stream("GET", f"http://127.0.0.1:{port}/api/stream", timeout=20) as answer:
            assert answer.headers["content-type"].startswith("text/event-stream")
            began_s = time.monotonic()
            lines = answer.iter_lines()
            for line in lines:
                if line.startswith("data:"):
                    heard.append(json.loads(line[5:])["seq"])
                    if len(heard) == 3:
                        break
                    oven.tick()
                assert time.monotonic() - began_s < 20
            if closing == "the server stops":
                server.handle_exit(2, None)
                for _ in lines:
                    pass  # ends, and well: no half sentence
        server.should_exit = True
        thread.join(10)
        assert not thread.is_alive()
    assert heard == sorted(set(heard))
    assert len(heard) == 3


def test_what_is_wrong_at_box_and_place_is_told_before_a_start(night_ledger: Path) -> None:
    """What may not be heated at all hinders a start, the rest is a note."""
    earlier = changed(settings_for(night_ledger), limits={"heater_c": 200.0, "cut_outs": 1})
    with TestClient(create_app(earlier)) as client:
        checks = client.get("/api/start-checks").json()["checks"]
    found = {c["sentence"]: c["needed"] for c in checks if c["name"].startswith("box-")}
    assert [needed for s, needed in found.items() if "heater_c is 200" in s] == [True]
    assert [needed for s, needed in found.items() if "there is one cut-out" in s] == [False]
    assert len(found) == 2
