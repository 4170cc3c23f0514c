"""All ovens on one page: what others say is not believed as it comes, and none delays another."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import pytest
from fastapi.testclient import TestClient

from nightcure.errors import BadInput
from nightcure.settings import Web
from nightcure_web import other_ovens
from nightcure_web.app import create_app
from nightcure_web.host_pages import announced_here, others_here
from nightcure_web.other_ovens import ASKED, AWAY, LOG_IN, OtherOvens, ask, parsed
from nightcure_web.routes.ovens import SILENT, _card
from tests.nights import changed
from tests.test_settings import GOOD, load
from tests.workshop import wait_for

from .conftest import settings_for

NOW_S = 1_764_104_400.0
STATUS = {
    "phase": "soak", "oven": "Mast shed", "host_s": NOW_S - 2.0, "now_s": NOW_S - 1.0,
    "wall_s": NOW_S, "units": "F", "control_c": 37.9, "setpoint_c": 38.0, "trip": None,
    "alarms": [], "next": "6 h of soak left.", "ends_s": NOW_S + 9000.0,
    "cure": [{"name": "Lid", "milestones": [
        {"name": "gelled", "at_s": NOW_S - 100.0}, {"name": "demould", "at_s": NOW_S + 3600.0}]}],
}  # fmt: skip


class Neighbour:
    """Another oven's page, as far as it is asked here."""

    def __init__(self, status: int, body: bytes, hangs_s: float = 0.0) -> None:
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self) -> None:
                time.sleep(hangs_s)
                self.send_response(status)
                if status == 302:
                    self.send_header("Location", "http://127.0.0.1:9/api/status")
                self.end_headers()
                self.wfile.write(body)

            def log_message(self, *_: Any) -> None: ...

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()
        self.address = f"http://127.0.0.1:{self.server.server_address[1]}"


@pytest.fixture
def neighbours() -> Iterator[list[Neighbour]]:
    made = [
        Neighbour(200, json.dumps(STATUS).encode()),
        Neighbour(401, b"{}"),
        Neighbour(200, b"<html>", 0.0),
        Neighbour(302, b""),
        Neighbour(200, b"[" * 100_000),
        Neighbour(200, json.dumps(STATUS).encode(), hangs_s=20.0),
    ]
    yield made
    for one in made:
        one.server.shutdown()
        one.server.server_close()


def test_what_each_says(neighbours: list[Neighbour], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(other_ovens, "ANSWER_S", 0.5)
    said = [ask(n.address) for n in neighbours]
    assert said == [STATUS, LOG_IN, AWAY, AWAY, AWAY, AWAY]
    assert ask("http://127.0.0.1:9") == AWAY


def test_the_route_answers_at_once_and_knows_more_later(
    neighbours: list[Neighbour], night_ledger: Path
) -> None:
    addresses = [n.address for n in neighbours]
    settings = changed(settings_for(night_ledger), web={"ovens": addresses})
    settings = settings.model_copy(update={"ledger": night_ledger})
    with TestClient(create_app(settings), raise_server_exceptions=False) as client:
        began_s = time.monotonic()
        first = client.get("/api/ovens").json()
        assert time.monotonic() - began_s < 2.0, "nobody waits for one that hangs"
        assert [o["found"] for o in first["ovens"]] == ["here", *["listed"] * 6]
        assert ASKED in [o["line"] for o in first["ovens"]]
        said = lambda: [o["line"] for o in client.get("/api/ovens").json()["ovens"]]  # noqa: E731
        wait_for(lambda: ASKED not in said(), 20, "all have said")
        ovens = {o["address"]: o for o in client.get("/api/ovens").json()["ovens"]}
        mast = ovens[addresses[0]]
        assert (mast["name"], mast["line"], mast["units"]) == (
            "Mast shed",
            "6 h of soak left.",
            "F",
        )
        assert (mast["milestone"], mast["milestone_s"]) == ("Lid hard", NOW_S + 3600.0)
        assert 1.0 <= mast["age_s"] < 20.0
        assert ovens[addresses[1]]["line"] == LOG_IN
        assert ovens[addresses[5]]["line"] == AWAY
        here = client.get("/api/ovens").json()["ovens"][0]
        assert here["found"] == "here", "the tripped one is first"
        assert here["tripped"]


@pytest.mark.parametrize(
    "status",
    [
        {"oven": 7, "phase": [], "alarms": "x", "cure": {"a": 1}, "trip": "hot", "next": 5},
        {"host_s": "yesterday", "control_c": True, "alarms": [1, None, {}], "cure": [None, {}]},
        {"cure": [{"milestones": [None, {"name": [], "at_s": 1e99}]}], "oven": "x" * 9000},
        {"alarms": [{"message": "m" * 5000}] * 500},
    ],
)
def test_what_another_says_is_not_taken_as_it_comes(status: dict[str, Any]) -> None:
    card = _card("http://a", "listed", 1.0, status, NOW_S)
    assert len(json.dumps(card)) < 2000
    assert isinstance(card["name"], str)
    assert card["units"] in ("C", "F")


def test_a_controller_that_is_silent(night_ledger: Path) -> None:
    card = _card("http://a", "listed", 0.0, {**STATUS, "host_s": NOW_S - 60.0}, NOW_S)
    assert card["line"] == SILENT
    assert card["age_s"] == 59.0


def test_what_the_networks_daemon_prints() -> None:
    """Lines as avahi-browse --parsable gives them (from memory of its manual page)."""
    text = (
        "+;eth0;IPv4;nightcure\\032on\\032shed;Web Site;local\n"
        '=;eth0;IPv6;nightcure\\032on\\032shed;_http._tcp;local;shed.local;fe80::1;8733;"path=/"\n'
        '=;eth0;IPv4;nightcure\\032on\\032shed;_http._tcp;local;shed.local;10.0.0.5;8733;"path=/"\n'
        '=;eth0;IPv4;A\\032printer;_http._tcp;local;print.local;10.0.0.9;80;"path=/"\n'
        "=;eth0;IPv4;nightcure\\032on\\032x;_http._tcp;local;x.local;10.0.0.7;none;\n"
        "rubbish\n"
    )
    assert parsed(text) == ["http://shed.local:8733"]
    assert parsed("") == []


@pytest.mark.parametrize("address", ["oven-2.local", "ftp://x", "http://x/page", "http://a@b"])
def test_a_wrong_address_gets_a_sentence(tmp_path: Path, address: str) -> None:
    with pytest.raises(BadInput, match="it should be an oven's page as"):
        load(tmp_path, GOOD.replace("[web]", f'[web]\novens = ["{address}"]', 1))


def of_port(port: int, address: str = "127.0.0.1") -> Web:
    return settings_for(Path("x")).web.model_copy(update={"port": port, "address": address})


def test_ovens_of_one_machine_find_each_other_unlisted(night_ledger: Path) -> None:
    """Fails before this: two ovens on one board were found where they were listed, or by avahi."""
    other = Neighbour(200, json.dumps(STATUS).encode())
    port = int(other.address.rpartition(":")[2])
    with announced_here(of_port(port)), announced_here(of_port(8733)):
        with TestClient(create_app(settings_for(night_ledger))) as client:
            cards = client.get("/api/ovens").json()["ovens"]
        found = {c["found"]: c for c in cards}
        assert sorted(found) == ["here", "host"], "not itself once more"
        assert found["host"]["name"] == "Mast shed"
        # As whoever looks has come: 127.0.0.1 would be the phone itself.
        assert found["host"]["address"] == f"http://testserver:{port}"
    assert others_here(1) == {}, "gone with their pages"
    other.server.shutdown()
    other.server.server_close()


def test_what_a_killed_page_left_and_what_is_no_page_count_for_nothing(tmp_path: Path) -> None:
    with announced_here(of_port(9001, "0.0.0.0")), announced_here(of_port(9002, "::")):
        assert others_here(9002) == {9001: "127.0.0.1"}
        assert others_here(1) == {9001: "127.0.0.1", 9002: "::1"}
        pages = tmp_path / "nightcure-pages"
        assert pages.stat().st_mode & 0o077 == 0
        (pages / "9003").write_text("127.0.0.1")  # nobody holds it
        (pages / "page.txt").write_text("127.0.0.1")
        (pages / "9004").symlink_to(pages / "9001")
        with announced_here(of_port(9005, "oven.example/?")):
            assert others_here(1) == {9001: "127.0.0.1", 9002: "::1"}
        with announced_here(of_port(9001)):  # a second of the same port changes nothing
            pass
        assert others_here(1) == {9001: "127.0.0.1", 9002: "::1"}


def test_fifty_are_asked_in_one_round() -> None:
    made = [Neighbour(200, json.dumps({**STATUS, "oven": f"Oven {i}"}).encode()) for i in range(5)]
    web = settings_for(Path("x")).web.model_copy(
        update={"ovens": tuple(f"{n.address}" for n in made)}
    )
    others = OtherOvens(web)
    others._listed = [f"{made[i % 5].address}/?{i}" for i in range(50)]
    others.said()
    told = lambda: sum(isinstance(said, dict) for *_, said in others.said())  # noqa: E731
    took_s = wait_for(lambda: told() == 50, 20, "all fifty")
    print(f"fifty ovens asked in {took_s:.2f} s")
    for one in made:
        one.server.shutdown()
        one.server.server_close()


def test_who_looks_first_sees_them_all(monkeypatch: pytest.MonkeyPatch) -> None:
    """Fails before this: the first answer had this oven alone, and so the page had no list."""
    monkeypatch.setattr(other_ovens, "FIRST_S", 2.0)
    quick = Neighbour(200, json.dumps(STATUS).encode())
    slow = Neighbour(200, json.dumps(STATUS).encode(), hangs_s=20.0)
    web = settings_for(Path("x")).web
    others = OtherOvens(web.model_copy(update={"ovens": (quick.address,)}))
    ((address, how, _, said),) = others.said()
    assert (address, how, said) == (quick.address, "listed", STATUS)
    monkeypatch.setattr(other_ovens, "FIRST_S", 0.1)
    others = OtherOvens(web.model_copy(update={"ovens": (slow.address,)}))
    began_s = time.monotonic()
    assert [said for *_, said in others.said()] == [ASKED], "one that hangs keeps nobody waiting"
    assert time.monotonic() - began_s < 1.0
    for one in (quick, slow):
        one.server.shutdown()
        one.server.server_close()
