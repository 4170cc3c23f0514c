"""Strangers who hold connections open, send by drops or read nothing: others get in all the same.

On the loopback, bounded in count and time. What a server must do with such requests: RFC 9112
(messages), RFC 9110 sections 7.8 (upgrade) and 15.5 (refusals).
"""

from __future__ import annotations

import asyncio
import json
import logging
import re
import socket
import time
from collections.abc import AsyncIterator, Iterator
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path

import httpx
import pytest
from starlette.background import BackgroundTask
from starlette.requests import Request
from starlette.responses import PlainTextResponse, Response, StreamingResponse
from starlette.routing import Route

from nightcure_web import connections
from nightcure_web.access import COOKIE
from nightcure_web.app import Server, create_app
from nightcure_web.connections import SHARES, Connection, Room, Seldom, Stage
from nightcure_web.problems import Problem
from nightcure_web.services import Turns
from tests.workshop import wait_for

from .conftest import PASSPHRASE, settings_for
from .serving import served

HALF = b"GET / HTTP/1.1\r\nHost: localhost\r\nX-Slow: "
WHOLE = b"GET /api/session HTTP/1.1\r\nHost: localhost\r\n\r\n"


@pytest.fixture
def door(night_ledger: Path) -> Iterator[tuple[str, Server]]:
    with served(create_app(settings_for(night_ledger))) as found:
        yield found


@contextmanager
def held(address: str, sent: bytes, source: str = "127.0.0.1") -> Iterator[socket.socket]:
    """A connection on which so much was sent, kept open."""
    port = int(address.rpartition(":")[2])
    with socket.create_connection(("127.0.0.1", port), 10, (source, 0)) as connection:
        connection.sendall(sent)
        yield connection


def said(connection: socket.socket, most: int = 100_000) -> bytes:
    """What comes until the server closes; a connection that stays open for 10 s is a failure."""
    connection.settimeout(10)
    got = b""
    while len(got) < most:
        try:
            piece = connection.recv(65536)
        except ConnectionError:
            break
        if not piece:
            break
        got += piece
    return got


def lives(address: str) -> None:
    assert httpx.get(f"{address}/api/session", timeout=10).status_code == 200


# ---- room -----------------------------------------------------------------------------------


def test_requests_sent_by_half_keep_nobody_out(door: tuple[str, Server]) -> None:
    """Fails before this: every one of them was kept, until no file could be opened any more."""
    address, server = door
    server.room.most = 40
    with ExitStack() as held_open:
        for _ in range(160):
            held_open.enter_context(held(address, HALF))
        lives(address)
        assert len(server.room) <= 40


def test_answers_that_nobody_reads_keep_nobody_out(door: tuple[str, Server]) -> None:
    address, server = door
    server.room.most = 40
    large = b"GET /main.js HTTP/1.1\r\nHost: localhost\r\n\r\n" * 30
    with ExitStack() as held_open:
        for _ in range(80):
            held_open.enter_context(held(address, large, "127.0.0.9"))
        lives(address)
        assert len(server.room) <= 40


def test_who_has_fewest_connections_keeps_them(door: tuple[str, Server]) -> None:
    address, server = door
    server.room.most = 40
    with ExitStack() as held_open:
        mine = held_open.enter_context(held(address, HALF, "127.0.0.2"))
        wait_for(lambda: len(server.room) == 1, 10, "it is there")
        for _ in range(120):
            held_open.enter_context(held(address, HALF, "127.0.0.3"))
        lives(address)
        mine.sendall(b"no more\r\n\r\n")
        assert mine.recv(20).startswith(b"HTTP/1.1 200"), "the rest of a request that was slow"


class Held(Connection):
    """A connection without a socket."""

    def __init__(self, room: Room, whose: str) -> None:
        self._room, self.whose, self.closed = room, whose, False

    def close(self) -> None:
        self._room.left(self)
        self.closed = True


def come(room: Room, stage: Stage, count: int, whose: str) -> list[Held]:
    found = [Held(room, f"{whose}{n % 3}") for n in range(count)]
    for connection in found:
        room.place(connection, stage)
    return found


def test_each_stage_has_its_share_and_a_stop_is_kept() -> None:
    assert sum(SHARES.values()) == pytest.approx(1.0)
    room = Room(most=100)
    (stop,) = come(room, Stage.URGENT, 1, "owner")
    by_stage = {s: come(room, s, 300, s.name) for s in Stage if s is not Stage.URGENT}
    new = come(room, Stage.NEW, 300, "NEW")
    assert not stop.closed
    assert len(room) == 100
    for stage in (Stage.IDLE, Stage.COMING, Stage.ANSWERED):
        left = sum(not c.closed for c in by_stage[stage])
        share = 100 * SHARES[stage]
        assert share <= left <= 1.25 * share + 1, stage
    assert not any(c.closed for c in new[-30:]), "of new ones the newest stay"
    assert sum(not c.closed for c in new) >= 35


def test_what_was_not_read_yet_waits_while_others_hold_more_than_their_share() -> None:
    room = Room(most=20)
    held = come(room, Stage.IDLE, 20, "idle")
    new = come(room, Stage.NEW, 7, "new")
    assert not any(c.closed for c in new)
    assert sum(c.closed for c in held) == 7


# ---- time -----------------------------------------------------------------------------------


def test_a_head_that_does_not_end_is_not_waited_for(
    door: tuple[str, Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Fails before this: a connection that had sent a byte was kept for ever."""
    monkeypatch.setattr(connections, "HEAD_S", 0.3)
    with held(door[0], HALF) as slow:
        assert said(slow) == b""
    with held(door[0], WHOLE) as kept:
        kept.sendall(HALF)  # and so the second request of a connection
        assert said(kept).count(b"HTTP/1.1 ") == 1
    lives(door[0])


def test_a_body_that_comes_by_drops_is_not_waited_for(
    door: tuple[str, Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "BODY_S", 0.5)
    head = (
        b"POST /api/login HTTP/1.1\r\nHost: localhost\r\nContent-Type: application/json\r\n"
        b"Content-Length: 50\r\n\r\n"
    )
    with held(door[0], head) as slow:
        began_s = time.monotonic()
        with suppress(OSError):
            while time.monotonic() - began_s < 10:
                slow.sendall(b"{")
                time.sleep(0.05)
        assert time.monotonic() - began_s < 10, "it was closed"
    lives(door[0])


def test_an_answer_that_is_not_read_is_not_kept(
    door: tuple[str, Server], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(connections, "READ_S", 0.3)
    address, server = door
    with held(address, b"GET /main.js HTTP/1.1\r\nHost: localhost\r\n\r\n" * 60) as unread:
        wait_for(lambda: len(server.room) == 1, 10, "it is there")
        wait_for(lambda: len(server.room) == 0, 20, "it is given up")
        assert unread.fileno() >= 0


def test_an_answer_is_not_cut_off_by_the_one_before_it(
    night_ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first has been read, and is still being put away when the second begins."""
    monkeypatch.setattr(connections, "HEAD_S", 0.3)

    def first(_: Request) -> Response:
        return PlainTextResponse("first", background=BackgroundTask(asyncio.sleep, 0.2))

    async def pieces() -> AsyncIterator[bytes]:
        for piece in (b"be", b"gun, ", b"and over"):
            yield piece
            await asyncio.sleep(0.5)

    def second(_: Request) -> Response:
        return StreamingResponse(pieces())

    app = create_app(settings_for(night_ledger))
    app.router.routes[:0] = [Route("/first", first), Route("/second", second)]
    with served(app) as (address, _), httpx.Client(base_url=address, timeout=10) as client:
        assert client.get("/first").text == "first"
        assert client.get("/second").text == "begun, and over"


# ---- what is no request ---------------------------------------------------------------------


@pytest.mark.parametrize(
    "lines", [[b"X: " + b"a" * 200_000], [b"X%d: a" % n for n in range(30_000)]]
)
def test_heads_too_large(door: tuple[str, Server], lines: list[bytes]) -> None:
    with held(door[0], b"GET / HTTP/1.1\r\nHost: localhost\r\n") as large:
        with suppress(OSError):  # it may be closed before all is sent
            large.sendall(b"\r\n".join(lines))
        assert said(large)[:12] in (b"HTTP/1.1 400", b"")
    lives(door[0])


def test_requests_sent_together_are_answered_in_order(door: tuple[str, Server]) -> None:
    paths = ["/api/session", "/api/nowhere", "/api/health"] * 20
    together = "".join(f"GET {p} HTTP/1.1\r\nHost: localhost\r\n\r\n" for p in paths)
    last = "GET /api/session HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n"
    with held(door[0], (together + last).encode()) as piped:
        got = said(piped)
    statuses = re.findall(rb"HTTP/1.1 (\d+)", got)
    assert statuses == [b"200", b"404", b"200"] * 20 + [b"200"]


def test_an_upgrade_is_not_taken(door: tuple[str, Server]) -> None:
    for to in (b"websocket", b"h2c", b"TLS/1.3"):
        asked = (
            b"GET /api/stream HTTP/1.1\r\nHost: localhost\r\nConnection: Upgrade\r\n"
            b"Sec-WebSocket-Key: dGhlIHNhbXBsZSBub25jZQ==\r\nSec-WebSocket-Version: 13\r\n"
            b"Upgrade: " + to + b"\r\n\r\n"
        )
        with held(door[0], asked) as upgraded:
            upgraded.settimeout(10)
            assert upgraded.recv(100).startswith(b"HTTP/1.1 200"), "an ordinary request"
    lives(door[0])


@pytest.mark.parametrize(
    "rubbish",
    [b"\x16\x03\x01\x02\x00\x01\x00\x01\xfc\x03\x03" + bytes(200), b"\x00" * 5000, b"\r\n" * 5000,
     b"GET / HTTP/9.9\r\n\r\n", b"GET /\xff HTTP/1.1\r\n\r\n", b"STOP\r\n\r\n",
     b"GET / HTTP/1.1\r\nHost: localhost\r\nHost: localhost\r\n\r\n",
     b"POST /api/login HTTP/1.1\r\nHost: localhost\r\nContent-Length: 5\r\nTransfer-Encoding: "
     b"chunked\r\n\r\n0\r\n\r\n"],
)  # fmt: skip
def test_rubbish_is_refused(door: tuple[str, Server], rubbish: bytes) -> None:
    with held(door[0], rubbish) as sent:
        sent.shutdown(socket.SHUT_WR)
        assert said(sent)[:10] in (b"HTTP/1.1 4", b"")
    lives(door[0])


@pytest.mark.parametrize(
    "cookie",
    ["", "=", ";" * 5000, f"{COOKIE}=" + "x" * 12_000, f"{COOKIE}=a; {COOKIE}=b; {COOKIE}=c",
     "; ".join(f"c{n}=v" for n in range(1500)), f'{COOKIE}="\\303\\251"', f"{COOKIE}=a.b.c.d.e.f"],
)  # fmt: skip
def test_cookies_of_another_size_open_nothing(door: tuple[str, Server], cookie: str) -> None:
    asked = f"POST /api/commands/stop HTTP/1.1\r\nHost: localhost\r\nCookie: {cookie}\r\n\r\n"
    with held(door[0], asked.encode()) as sent:
        sent.settimeout(10)
        assert sent.recv(65536)[:12] == b"HTTP/1.1 401"


# ---- what takes long ---------------------------------------------------------------------------


def test_what_takes_long_is_reckoned_in_turn_and_not_for_everybody() -> None:
    order: list[str] = []

    async def ask(turns: Turns, client: str) -> None:
        try:
            async with turns.turn(client):
                order.append(f"{client} begins")
                await asyncio.sleep(0)
                order.append(f"{client} ends")
        except Problem as refused:
            order.append(f"{client} {refused.status}")

    async def together() -> None:
        turns = Turns(most_waiting=3, most_of_one=2)
        await asyncio.gather(*(ask(turns, client) for client in "aaabbc"))
        await ask(turns, "c")

    asyncio.run(together())
    assert [said for said in order if said.endswith("503")] == ["a 503", "b 503", "c 503"]
    done = [said for said in order if not said.endswith("503")]
    assert done == [f"{c} {w}" for c in "aabc" for w in ("begins", "ends")]


# ---- what is told ---------------------------------------------------------------------------


def test_the_same_is_logged_seldom() -> None:
    """Fails before this: each connection too many was told with its traceback, 150 MB a minute."""
    heard: list[str] = []
    logger = logging.Logger("crowd")
    logger.addFilter(seldom := Seldom(times=3, within_s=1000.0))
    handler = logging.Handler()
    handler.emit = lambda record: heard.append(record.getMessage())  # type: ignore[method-assign]
    logger.addHandler(handler)
    for _ in range(50):
        logger.error("socket.accept() out of system resource")
    logger.error("Another %s.", "thing")
    assert heard == ["socket.accept() out of system resource"] * 3 + ["Another thing."]
    seldom._within_s = 0.0
    logger.error("socket.accept() out of system resource")
    assert heard[-1].endswith("(and 47 more of the kind before)")


def test_a_person_asks_while_the_crowd_stands_there(door: tuple[str, Server]) -> None:
    """A login, its cookie and a command through a full house."""
    address, server = door
    server.room.most = 40
    with ExitStack() as held_open, httpx.Client(base_url=address, timeout=20) as person:
        for _ in range(100):
            held_open.enter_context(held(address, HALF))
        assert person.post("/api/login", json={"passphrase": PASSPHRASE}).status_code == 200
        label = person.patch("/api/nights/1", json={"label": "Through"})
        assert json.loads(label.content)["label"] == "Through"
