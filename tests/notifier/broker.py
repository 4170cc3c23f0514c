"""A real broker (Debian's mosquitto) on the loopback, and one that listens to it."""

from __future__ import annotations

import json
import subprocess
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import paho.mqtt.client as paho
from paho.mqtt.enums import CallbackAPIVersion

from tests.workshop import wait_for

from .services import free_port


class Broker:
    """Started and killed as a test wants it; it keeps nothing on the disk."""

    def __init__(
        self, folder: Path, password: tuple[str, str] | None = None, tls: bool = False
    ) -> None:
        self.folder, self.port = folder, free_port()
        self.ca = folder / "ca.pem"
        lines = [f"listener {self.port} 127.0.0.1", "persistence false", "user root"]
        if password is None:
            lines.append("allow_anonymous true")
        else:
            words = folder / "passwords"
            subprocess.run(
                ["mosquitto_passwd", "-b", "-c", str(words), *password],
                check=True, capture_output=True, timeout=20,
            )  # fmt: skip
            lines += ["allow_anonymous false", f"password_file {words}"]
        if tls:
            _certificates(folder)
            lines += [f"cafile {self.ca}", f"certfile {folder / 'broker.pem'}"]
            lines += [f"keyfile {folder / 'broker.key'}"]
        self._config = folder / "mosquitto.conf"
        self._config.write_text("\n".join(lines) + "\n")
        self._tls = tls
        self.process: subprocess.Popen[bytes] | None = None

    def up(self) -> None:
        """Start, or come back."""
        log = open(self.folder / "mosquitto.log", "ab")  # noqa: SIM115
        self.process = subprocess.Popen(
            ["mosquitto", "-c", str(self._config)], stdout=log, stderr=log
        )
        wait_for(self._listens, 20, "the broker listens")

    def _listens(self) -> bool:
        import socket

        with socket.socket() as probe:
            return probe.connect_ex(("127.0.0.1", self.port)) == 0

    def kill(self) -> None:
        """SIGKILL."""
        if self.process is not None:
            self.process.kill()
            self.process.wait(10)
            self.process = None


@contextmanager
def broker(folder: Path, **options: Any) -> Iterator[Broker]:
    made = Broker(folder, **options)
    made.up()
    yield made
    made.kill()


def _certificates(folder: Path) -> None:
    """A local authority, and the broker's certificate for 127.0.0.1 signed by it."""
    (folder / "ext").write_text("subjectAltName=IP:127.0.0.1\n")
    new = ["openssl", "req", "-newkey", "rsa:2048", "-nodes", "-subj"]
    for command in (
        [*new, "/CN=shed authority", "-x509", "-days", "2", "-keyout", "ca.key", "-out", "ca.pem"],
        [*new, "/CN=127.0.0.1", "-keyout", "broker.key", "-out", "broker.csr"],
        ["openssl", "x509", "-req", "-in", "broker.csr", "-CA", "ca.pem", "-CAkey", "ca.key",
         "-CAcreateserial", "-days", "2", "-out", "broker.pem", "-extfile", "ext"],
    ):  # fmt: skip
        subprocess.run(command, cwd=folder, check=True, capture_output=True, timeout=60)


class Listener:
    """Somebody else's client: the last of each topic, and everything that came."""

    def __init__(self, port: int, topic: str = "#", **login: str) -> None:
        self.came: list[tuple[str, bytes, bool]] = []
        """Topic, payload, retained."""
        self.last: dict[str, bytes] = {}
        self.ready = threading.Event()
        self.client = paho.Client(CallbackAPIVersion.VERSION2, protocol=paho.MQTTv5)
        if login:
            self.client.username_pw_set(login["username"], login["password"])

        def connected(client: paho.Client, *_: Any) -> None:
            client.subscribe(topic, qos=1)

        def subscribed(*_: Any) -> None:
            self.ready.set()

        def message(_: Any, __: Any, m: paho.MQTTMessage) -> None:
            self.came.append((m.topic, m.payload, m.retain))
            self.last[m.topic] = m.payload

        self.client.on_connect = connected
        self.client.on_subscribe = subscribed
        self.client.on_message = message
        self.client.connect("127.0.0.1", port, 15)
        self.client.loop_start()
        assert self.ready.wait(10)

    def state(self, topic: str) -> dict[str, Any]:
        """The last payload of a topic, parsed; empty where none came."""
        found: dict[str, Any] = json.loads(self.last.get(topic, b"{}"))
        return found

    def close(self) -> None:
        self.client.disconnect()
        self.client.loop_stop()
