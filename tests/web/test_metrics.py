"""/metrics: read by the official parser (prometheus_client), shut where reading asks for a login;
the alert rules and the dashboard use names that are there, tried with Debian's promtool."""

from __future__ import annotations

import re
import shutil
import subprocess
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from prometheus_client.openmetrics.parser import text_string_to_metric_families

from nightcure.ledger.outbox import Message, Outbox, outbox_path
from nightcure_web.app import create_app
from nightcure_web.openmetrics import Families, exposition
from tests.nights import changed

from .conftest import PASSPHRASE, settings_for

FOLDER = Path(__file__).parents[2] / "systemd" / "monitoring"
RULES, DASHBOARD = FOLDER / "nightcure.rules.yml", FOLDER / "nightcure.html"


def families(text: str) -> dict[str, dict[tuple[tuple[str, str], ...], float]]:
    """By family: labels and value of each sample, by the official parser."""
    return {
        family.name: {tuple(sorted(s.labels.items())): s.value for s in family.samples}
        for family in text_string_to_metric_families(text)
    }


@pytest.fixture
def text(client: TestClient, night_ledger: Path) -> str:
    outbox = Outbox(outbox_path(night_ledger))
    outbox.join("phone")
    outbox.put([Message("a", "trip", 1.0, 0.0, "t", "x")])
    outbox.failed("phone", "It was not reached.", 1.0)
    outbox.close()
    answer = client.get("/metrics")
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("application/openmetrics-text; version=1.0.0")
    return answer.text


def test_the_official_parser_reads_it(text: str, client: TestClient) -> None:
    found = families(text)
    status = client.get("/api/status").json()
    oven = ("oven", "Estuary box")
    assert found["nightcure_tripped"][(oven,)] == 1.0
    assert status["control_c"] is None, "its thermometer is missing, and so is the sample"
    assert "nightcure_air_temperature_celsius" not in found
    for t in status["thermometers"]:
        labels = tuple(sorted((oven, ("thermometer", t["name"]), ("role", t["role"]))))
        assert found["nightcure_thermometer_celsius"].get(labels) == t["value_c"]
        believed = found["nightcure_thermometer_believed"][labels]
        assert believed == (t["value_c"] is not None)
    assert sum(found["nightcure_phase"].values()) == 1.0
    assert found["nightcure_phase"][(("nightcure_phase", "tripped"), oven)] == 1.0
    assert found["nightcure_relay_operations"][(oven,)] == status["switchings"]
    assert found["nightcure_service_failing"][(oven, ("service", "phone"))] == 1.0
    assert found["nightcure_service_waiting_messages"][(oven, ("service", "phone"))] == 1.0
    assert any(("trip", "true") in labels for labels in found["nightcure_alarm_active"])


def test_names_have_base_units_and_say_what_they_are(text: str) -> None:
    """OpenMetrics 1.0: a unit is the name's end; by convention base units (seconds, celsius)."""
    for family in text_string_to_metric_families(text):
        assert family.name.startswith("nightcure_")
        assert len(family.documentation) > 8
        assert family.name.endswith(family.unit)
    assert not re.search(r"_(c|s|w|percent|minutes)\b", text)


def test_what_is_not_known_is_not_there() -> None:
    found = families(exposition('Ofen \\ "x"\n2', None, None))
    assert list(found) == ["nightcure_build"]
    ((oven, _),) = found["nightcure_build"]
    assert oven == ("oven", 'Ofen \\ "x"\n2'), "escaped and read back"
    f = Families()
    f.add("a", "gauge", "A.", ({}, None))
    f.add("b", "gauge", "B.", ({}, 1.5), ({"x": "y"}, True))
    assert families(f.text()) == {"nightcure_b": {(): 1.5, (("x", "y"),): 1.0}}


def test_a_token_lets_a_collector_in_where_reading_asks_for_a_login(night_ledger: Path) -> None:
    settings = changed(settings_for(night_ledger), web={"reading": "login"})
    settings = settings.model_copy(update={"ledger": night_ledger})
    with TestClient(create_app(settings), raise_server_exceptions=False) as client:
        shut = client.get("/metrics")
        assert shut.status_code == 401
        assert shut.headers["www-authenticate"] == "Bearer"
        path = Path(f"{night_ledger}.metrics")
        token = path.read_text()
        assert path.stat().st_mode & 0o077 == 0
        for wrong in ("Bearer x", "Bearer ", f"Basic {token}", f"Bearer {token[:-1]}", token):
            assert client.get("/metrics", headers={"Authorization": wrong}).status_code == 401
        right = client.get("/metrics", headers={"Authorization": f"Bearer {token}"})
        assert right.status_code == 200
        # It is for measurements alone.
        api = client.get("/api/status", headers={"Authorization": f"Bearer {token}"})
        assert api.status_code == 401
        client.post("/api/login", json={"passphrase": PASSPHRASE})
        assert client.get("/metrics").status_code == 200


# ---- rules and dashboard -------------------------------------------------------------------------


def used(path: Path) -> set[str]:
    return set(re.findall(r"\bnightcure_[a-z_]+", path.read_text(encoding="utf-8")))


@pytest.mark.parametrize("path", [RULES, DASHBOARD], ids=lambda p: p.name)
def test_they_ask_for_what_is_there(path: Path, text: str, client: TestClient) -> None:
    live = client.get("/api/status").json() | {"control_c": 37.9, "setpoint_c": 38.0}
    whole = text.replace("# EOF\n", "") + exposition("x", live, None)
    names = set(re.findall(r"^(nightcure_[a-z_]+)", whole, re.MULTILINE))
    assert used(path)
    assert used(path) - names - {"nightcure_phase"} == set()


def test_the_collectors_own_checker_takes_the_rules() -> None:
    promtool = shutil.which("promtool")
    assert promtool is not None, "Debian's package prometheus"
    done = subprocess.run(
        [promtool, "check", "rules", str(RULES)], capture_output=True, text=True, timeout=60,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    tests = FOLDER / "nightcure.rules.test.yml"
    done = subprocess.run(
        [promtool, "test", "rules", str(tests)], capture_output=True, text=True, timeout=60,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout + done.stderr
    linted = subprocess.run(
        [promtool, "check", "metrics"],
        input=_without_openmetrics_only(), capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert "error while linting" not in linted.stderr


def _without_openmetrics_only() -> str:
    f = Families()
    f.add("duty_ratio", "gauge", "Share of full power.", ({"oven": "x"}, 0.5))
    return f.text().replace("# EOF\n", "")
