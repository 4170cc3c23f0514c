"""Web push: what a browser's own service receives is opened with the browser's key by the reference
library (http_ece), and its signature is checked; one that is gone is taken out."""

from __future__ import annotations

import base64
import json
import threading
from collections.abc import Iterator
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

import http_ece
import pytest
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat
from py_vapid import Vapid

from nightcure.ledger.outbox import Message
from nightcure.ledger.push_file import change_browsers, key_path, push_path, read_browsers
from nightcure.notifier.push import Push, wanted
from nightcure.notifier.service import Refused
from nightcure.settings import Settings

from .services import telling

MESSAGE = Message("k", "trip", 1000.0, 0.0, "Estuary box: tripped", "02:14 Too hot.", 17)


def b64(data: bytes) -> str:
    return base64.urlsafe_b64encode(data).rstrip(b"=").decode()


class Browser:
    """A browser's keys, and its service on the loopback."""

    def __init__(self) -> None:
        self.key = ec.generate_private_key(ec.SECP256R1())
        self.auth = bytes(range(16))
        self.came: list[tuple[dict[str, str], bytes]] = []
        self.status = 201
        browser = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                body = self.rfile.read(int(self.headers["Content-Length"]))
                browser.came.append(({k.lower(): v for k, v in self.headers.items()}, body))
                self.send_response(browser.status)
                self.end_headers()

            def log_message(self, *_: Any) -> None: ...

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        threading.Thread(target=self.server.serve_forever, args=(0.05,), daemon=True).start()

    def subscription(self) -> dict[str, Any]:
        point = self.key.public_key().public_bytes(Encoding.X962, PublicFormat.UncompressedPoint)
        return {
            # The page takes https only; the loopback's service has no certificate.
            "endpoint": f"http://127.0.0.1:{self.server.server_address[1]}/one",
            "keys": {"p256dh": b64(point), "auth": b64(self.auth)},
        }

    def opened(self) -> list[dict[str, Any]]:
        return [
            json.loads(http_ece.decrypt(body, private_key=self.key, auth_secret=self.auth))
            for _, body in self.came
        ]


@pytest.fixture
def browsers() -> Iterator[list[Browser]]:
    made = [Browser(), Browser()]
    yield made
    for one in made:
        one.server.shutdown()
        one.server.server_close()


@pytest.fixture
def settings(tmp_path: Path) -> Settings:
    settings = telling(tmp_path / "p.ledger", page="https://oven.example/")
    key = Vapid()
    key.generate_keys()
    key.save_key(str(key_path(settings.ledger)))
    return settings


def test_nobody_asked(settings: Settings) -> None:
    assert not wanted(settings)


def test_a_browser_can_open_it_and_nobody_between(
    settings: Settings, browsers: list[Browser]
) -> None:
    for one in browsers:
        change_browsers(push_path(settings.ledger), add=one.subscription())
    assert wanted(settings)
    Push(settings).send(MESSAGE)
    for one in browsers:
        ((headers, body),) = one.came
        assert headers["content-encoding"] == "aes128gcm"
        assert headers["urgency"] == "high"
        assert int(headers["ttl"]) > 3600
        assert b"Too hot" not in body
        assert one.opened() == [
            {"id": 17, "kind": "trip", "at_s": 1000.0, "title": "Estuary box: tripped",
             "text": "02:14 Too hot.", "url": "https://oven.example/#message-17"}
        ]  # fmt: skip
        # RFC 8292: signed by the page's key; says for whom, and who answers for it.
        assert Vapid.verify(headers["authorization"])
        token = headers["authorization"].split("t=")[1].split(",")[0]
        claims = json.loads(base64.urlsafe_b64decode(token.split(".")[1] + "=="))
        assert claims["sub"] == "https://oven.example"
        assert claims["aud"] == one.subscription()["endpoint"].removesuffix("/one")


def test_one_that_refuses_is_tried_again_and_the_other_gets_one(
    settings: Settings, browsers: list[Browser]
) -> None:
    for one in browsers:
        change_browsers(push_path(settings.ledger), add=one.subscription())
    push = Push(settings)
    browsers[0].status = 500
    with pytest.raises(Refused, match="refused with status 500") as raised:
        push.send(MESSAGE)
    assert "127.0.0.1" not in str(raised.value)
    browsers[0].status = 201
    push.send(MESSAGE)
    assert [len(one.came) for one in browsers] == [2, 1]


@pytest.mark.parametrize("status", [404, 410])
def test_one_that_is_gone_is_taken_out(
    settings: Settings, browsers: list[Browser], status: int
) -> None:
    for one in browsers:
        change_browsers(push_path(settings.ledger), add=one.subscription())
    browsers[0].status = status
    Push(settings).send(MESSAGE)
    left = read_browsers(push_path(settings.ledger))
    assert [b["endpoint"] for b in left] == [browsers[1].subscription()["endpoint"]]
    assert len(browsers[1].came) == 1
