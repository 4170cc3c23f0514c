"""The record and the table over HTTP."""

from __future__ import annotations

import csv
import io
import re
from html.parser import HTMLParser
from pathlib import Path

from fastapi.testclient import TestClient

from nightcure.ledger.night_hash import night_hash
from nightcure.ledger.reader import LedgerReader


def test_the_record_is_a_page_that_runs_and_fetches_nothing(
    client: TestClient, night_ledger: Path
) -> None:
    answer = client.get("/api/nights/1/record")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/html")
    policy = answer.headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "sandbox" in policy
    assert "script" not in policy
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert night_hash(LedgerReader(night_ledger), 1) in answer.text
    assert "<script" not in answer.text
    assert not re.search(r"https?://", answer.text)
    HTMLParser().feed(answer.text)


def test_other_answers_keep_the_house_policy(client: TestClient) -> None:
    assert "script-src 'self'" in client.get("/api/nights").headers["content-security-policy"]


def test_the_table_has_every_tick_and_units_in_its_header(
    client: TestClient, night_ledger: Path
) -> None:
    answer = client.get("/api/nights/1/export.csv")
    assert answer.status_code == 200
    assert answer.headers["content-disposition"] == 'attachment; filename="night-1.csv"'
    rows = list(csv.DictReader(io.StringIO(answer.text)))
    ticks = list(LedgerReader(night_ledger).ticks(1))
    assert len(rows) == len(ticks)
    assert {"time_s", "setpoint_c", "control_c", "Air_c", "Lid_c", "Shed_c"} <= rows[0].keys()
    assert [float(r["control_c"]) for r in rows] == [t.control_c for t in ticks]
    assert float(rows[-1]["time_s"]) == ticks[-1].mono_s - ticks[0].mono_s


def test_no_such_night(client: TestClient) -> None:
    for what in ("record", "export.csv"):
        answer = client.get(f"/api/nights/77/{what}")
        assert answer.status_code == 404
        assert "night 77" in answer.json()["detail"]
