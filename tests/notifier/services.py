"""A service on the loopback, as apprise's `json://` tells one; and what tests share."""

from __future__ import annotations

import json
import os
import re
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import Any

from nightcure.settings import Notifications, Settings
from tests.nights import SETTINGS
from tests.workshop import wait_for


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


class LocalService:
    """Takes messages, refuses them, hangs, or is not there at all; keeps what it took."""

    def __init__(self, port: int = 0) -> None:
        self.taken: list[tuple[float, dict[str, Any]]] = []
        """When (wall, s), and what."""
        self.asked = 0
        self.asked_s: list[float] = []
        """When it was asked (monotonic, s)."""
        self.status, self.hangs_s = 200, 0.0
        self._server: ThreadingHTTPServer | None = None
        self.port = port
        self.up()

    def up(self) -> None:
        """Begin, or come back."""
        service = self

        class Handler(BaseHTTPRequestHandler):
            def do_POST(self) -> None:
                data = self.rfile.read(int(self.headers.get("Content-Length", 0)))
                service.asked += 1
                service.asked_s.append(time.monotonic())
                if service.hangs_s:
                    time.sleep(service.hangs_s)
                if service.status == 200:
                    service.taken.append((time.time(), json.loads(data or b"{}")))
                self.send_response(service.status)
                self.end_headers()

            do_GET = do_POST  # noqa: N815 - the library's name

            def log_message(self, *_: Any) -> None: ...

        self._server = ThreadingHTTPServer(("127.0.0.1", self.port), Handler)
        self._server.daemon_threads = True
        self.port = self._server.server_address[1]
        threading.Thread(target=self._server.serve_forever, args=(0.05,), daemon=True).start()

    def down(self) -> None:
        """Nobody listens any more."""
        if self._server is not None:
            self._server.shutdown()
            self._server.server_close()
            self._server = None

    def numbers(self) -> list[int]:
        """The messages' numbers, in the order in which they came."""
        found = [re.search(r"#message-(\d+)$|\((\d+)\)$", m["message"]) for _, m in self.taken]
        return [int(f[1] or f[2]) for f in found if f is not None]

    def titles(self) -> list[str]:
        """Each message's title, a number that came twice counted once."""
        once = dict(zip(self.numbers(), (str(m["title"]) for _, m in self.taken), strict=True))
        return list(once.values())


@contextmanager
def local_service() -> Iterator[LocalService]:
    service = LocalService()
    yield service
    service.down()


SECRET = "swordfish-31"


def told(**keys: Any) -> Notifications:
    return Notifications.model_validate({"page": "http://oven.local:8733", **keys})


def telling(ledger: Path, **keys: Any) -> Settings:
    """The scenario's settings with these of `[notifications]`."""
    return SETTINGS.model_copy(update={"ledger": ledger, "notifications": told(**keys)})


def write_secrets(path: Path, text: str) -> Path:
    path.unlink(missing_ok=True)
    fd = os.open(path, os.O_CREAT | os.O_WRONLY, 0o600)
    with os.fdopen(fd, "w") as file:
        file.write(text)
    return path


class NotifierProcess:
    """`nightcure notifier` beside an oven.toml."""

    def __init__(self, oven_file: Path, env: dict[str, str] | None = None) -> None:
        self.log = oven_file.parent / f"notifier-{time.monotonic_ns()}.log"
        with open(self.log, "w") as log:
            self.process = subprocess.Popen(
                [sys.executable, "-m", "nightcure", "notifier", str(oven_file)],
                stdout=log, stderr=log, env=env,
            )  # fmt: skip
        wait_for(
            lambda: "Telling of" in self.log.read_text() or self.process.poll() is not None,
            30, "the notifier runs",
        )  # fmt: skip
        assert self.process.poll() is None, self.log.read_text()

    def stop(self) -> None:
        if self.process.poll() is None:
            self.process.terminate()
            self.process.wait(20)
