"""The page's server on a port of its own, and its stream as a browser hears it."""

from __future__ import annotations

import json
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any, NamedTuple

import httpx
from fastapi import FastAPI

from nightcure_web.app import Server
from tests.workshop import wait_for


class Heard(NamedTuple):
    """One server-sent event."""

    event: str
    id: str
    retry: str
    data: Any


@contextmanager
def served(app: FastAPI) -> Iterator[tuple[str, Server]]:
    """The application behind a real socket on the loopback; its address and its server."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    server = Server(app, "127.0.0.1", port)
    thread = threading.Thread(target=server.run, daemon=True)
    thread.start()
    wait_for(lambda: server.started, 20, "the server listens")
    yield f"http://127.0.0.1:{port}", server
    server.should_exit = True
    app.state.services.closing = True
    thread.join(10)
    assert not thread.is_alive()


@contextmanager
def listening(address: str, **headers: str) -> Iterator[Iterator[Heard]]:
    """The stream, event by event, parsed as the HTML standard says (blank line ends an event)."""
    raw = {name: value.encode() for name, value in headers.items()}
    with httpx.stream("GET", f"{address}/api/stream", headers=raw, timeout=20) as answer:
        assert answer.status_code == 200, answer.read()
        assert answer.headers["content-type"].startswith("text/event-stream")
        yield _events(answer.iter_lines())


def _events(lines: Iterator[str]) -> Iterator[Heard]:
    began_s = time.monotonic()
    fields: dict[str, str] = {}
    for line in lines:
        assert time.monotonic() - began_s < 20, "the stream said nothing that was waited for"
        if line:
            name, _, value = line.partition(":")
            fields[name] = value.removeprefix(" ")
        elif "data" in fields:
            data = json.loads(fields["data"])
            yield Heard(fields["event"], fields["id"], fields["retry"], data)
            fields = {}
