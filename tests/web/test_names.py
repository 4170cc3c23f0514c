"""By which names the page answers, and whom it believes for whom a request is."""

from __future__ import annotations

import logging
import socket
from collections.abc import Iterator
from pathlib import Path

import httpx
import pytest
from fastapi.testclient import TestClient

from nightcure.errors import BadInput
from nightcure.settings import load_settings
from nightcure.simulate.scenario import OVEN_FILE
from nightcure_web.app import create_app
from tests.nights import changed

from .conftest import PASSPHRASE, settings_for
from .serving import served
from .test_hostile import is_a_refusal

OWN = [
    "localhost", "localhost:8733", "LOCALHOST.", "127.0.0.1", "127.0.0.1:8733", "192.168.1.20",
    "[::1]", "[::1]:8733", "[fd00::1:2]:80", "[fe80::1%eth0]", "ofen.local", "ofen.local:8733",
    "a.b.local.", socket.gethostname(), f"{socket.gethostname().upper()}:8733", "testserver",
    f"{socket.gethostname()}.lan", f"{socket.gethostname()}.home.arpa:8733",
    "oven.example.org", "OVEN.example.org:443",
]  # fmt: skip
FOREIGN = [
    "evil.example", "evil.example:8733", "localhost.evil.example", "127.0.0.1.evil.example",
    "local", "other.lan", ".local.evil.example", "evil.example/.local", "evil@localhost",
    "[evil.example]", "[::1].evil.example", "::1", "localhost:evil", "0x7f.evil", "", "é",
    "a" * 5000, f"{socket.gethostname()}.evil.example",
]  # fmt: skip


@pytest.fixture
def named(night_ledger: Path) -> Iterator[TestClient]:
    settings = changed(
        settings_for(night_ledger), web={"hosts": ["testserver", "Oven.Example.org"]}
    )
    with TestClient(create_app(settings)) as found:
        yield found


@pytest.mark.parametrize("host", OWN)
def test_its_own_names(named: TestClient, host: str) -> None:
    assert named.get("/api/session", headers={"Host": host}).status_code == 200
    assert named.get("/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("host", FOREIGN, ids=[h[:30] for h in FOREIGN])
def test_a_name_that_a_stranger_gave_this_address(named: TestClient, host: str) -> None:
    """DNS rebinding. Fails before this: any name was answered."""
    headers = {"Host": host.encode("latin-1")}
    for verb, path in (("GET", "/"), ("GET", "/api/status"), ("POST", "/api/login")):
        answer = named.request(verb, path, headers=headers)
        is_a_refusal(answer, 421)
        assert "hosts = [...] under [web]" in answer.json()["detail"]
        assert len(answer.text) < 500


@pytest.mark.parametrize(
    ("web", "said"),
    [
        ('hosts = ["http://oven.example.org"]', "it should be a name as 'oven.example.org'"),
        ('hosts = ["oven.example.org:80"]', "without http:// and without a port."),
        ('hosts = ["*"]', "web.hosts.0 is '*'; it should be a name"),
        ('proxies = ["localhost"]', "it should be an address as '127.0.0.1'"),
        ('proxies = ["*"]', "web.proxies.0 is '*'; it should be an address"),
    ],
)
def test_a_name_or_a_proxy_that_is_none(tmp_path: Path, web: str, said: str) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text().replace("[web]", f"[web]\n{web}"))
    with pytest.raises(BadInput) as refused:
        load_settings(oven)
    assert said in refused.value.sentences[0]


def guessed(
    client: httpx.Client | TestClient, forwarded: str, log: pytest.LogCaptureFixture
) -> str:
    """What a wrong guess for somebody else is put down to."""
    log.clear()
    with log.at_level(logging.WARNING, "nightcure.web"):
        headers = {"X-Forwarded-For": forwarded, "X-Forwarded-Proto": "https"}
        answer = client.post("/api/login", json={"passphrase": "kelp"}, headers=headers)
    assert answer.status_code in (401, 429)
    return log.text


def test_nobody_asks_for_somebody_else(
    night_ledger: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """Fails before this: whoever asked from this machine said what address he liked."""
    with (
        served(create_app(settings_for(night_ledger))) as (address, _),
        httpx.Client(base_url=address, timeout=20) as here,
    ):
        assert "from 127.0.0.1." in guessed(here, "203.0.113.9", caplog)
        for n in range(6):
            guessed(here, f"203.0.113.{n}", caplog)
        answer = here.post("/api/login", json={"passphrase": PASSPHRASE},
                           headers={"X-Forwarded-For": "203.0.113.77"})  # fmt: skip
        assert answer.status_code == 429, "another address each time is still one client"


def test_a_proxy_of_the_settings_does(night_ledger: Path, caplog: pytest.LogCaptureFixture) -> None:
    settings = changed(settings_for(night_ledger), web={"proxies": ["127.0.0.1", "10.1.0.0/16"]})
    app = create_app(settings)
    for proxy in ("127.0.0.1", "10.1.2.3"):
        with TestClient(app, client=(proxy, 50000)) as through:
            assert "from 203.0.113.9." in guessed(through, "198.51.100.1, 203.0.113.9", caplog)
            answer = through.post("/api/login", json={"passphrase": PASSPHRASE},
                                  headers={"X-Forwarded-Proto": "https"})  # fmt: skip
            assert all("; Secure" in c for c in answer.headers.get_list("set-cookie"))
    with TestClient(app, client=("192.0.2.5", 50000)) as stranger:
        assert "from 192.0.2.5." in guessed(stranger, "203.0.113.9", caplog)
