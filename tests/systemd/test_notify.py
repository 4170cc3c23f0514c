"""Both processes speak the service manager's protocol (sd_notify(3)): a datagram to a socket."""

from __future__ import annotations

import signal
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.workshop import Workshop, wait_for


class Manager:
    """The service manager's end of the socket."""

    def __init__(self, workshop: Workshop, path: Path) -> None:
        self.workshop = workshop
        self._socket = socket.socket(socket.AF_UNIX, socket.SOCK_DGRAM)
        self._socket.bind(str(path))
        self._socket.setblocking(False)
        workshop.env["NOTIFY_SOCKET"] = str(path)
        self.said: list[str] = []

    def listen(self) -> list[str]:
        """Every assignment said so far."""
        while True:
            try:
                self.said += self._socket.recv(4096).decode().splitlines()
            except BlockingIOError:
                return self.said

    def count(self, word: str) -> int:
        """How often something was said."""
        return self.listen().count(word)

    def close(self) -> None:
        self._socket.close()


@pytest.fixture
def manager(tmp_path: Path) -> Iterator[Manager]:
    with Workshop(tmp_path) as workshop:
        made = Manager(workshop, tmp_path / "notify")
        yield made
        made.close()


@pytest.mark.parametrize("who", ["controller", "web"])
def test_ready_once_then_alive_again_and_again_then_stopping(manager: Manager, who: str) -> None:
    shop = manager.workshop
    port = ["--port", "18741"] if who == "web" else []
    process = shop.nightcure(who, str(shop.oven_file), *port)
    wait_for(lambda: manager.count("READY=1"), 40, "ready")
    if who == "web":
        socket.create_connection(("127.0.0.1", 18741), 5).close()
    wait_for(lambda: manager.count("WATCHDOG=1") >= 3, 40, "alive three times")
    assert manager.count("STOPPING=1") == 0

    process.send_signal(signal.SIGTERM)
    wait_for(lambda: manager.count("STOPPING=1"), 20, "stopping")
    assert process.wait(20) in (0, -signal.SIGTERM), "both are clean ends to the service manager"
    said = manager.listen()
    assert said.count("READY=1") == 1
    assert said.index("READY=1") < said.index("WATCHDOG=1") < said.index("STOPPING=1")
    # sd_notify(3): the silence after which it is to be killed, in place of the unit's.
    assert [s for s in said if "WATCHDOG_USEC" in s] == (
        ["WATCHDOG_USEC=7500000"] if who == "controller" else []
    )


def test_a_page_whose_loop_hangs_falls_silent(manager: Manager) -> None:
    shop = manager.workshop
    hung = (
        "import sys, time, asyncio\n"
        "from pathlib import Path\n"
        "from nightcure.settings import load_settings\n"
        "from nightcure_web import app\n"
        "plain = app.Server.on_tick\n"
        "async def on_tick(self, counter):\n"
        "    if Path('stall').exists(): time.sleep(3600)\n"
        "    return await plain(self, counter)\n"
        "app.Server.on_tick = on_tick\n"
        "s = load_settings(Path(sys.argv[1]))\n"
        "web = s.web.model_copy(update={'port': 18742})\n"
        "app.run(s.model_copy(update={'web': web}))\n"
    )

    shop.spawn(sys.executable, "-c", hung, str(shop.oven_file))
    wait_for(lambda: manager.count("WATCHDOG=1") >= 2, 40, "alive twice")
    (shop.folder / "stall").touch()
    time.sleep(1.0)  # the loop's own tick, then it hangs
    before = manager.count("WATCHDOG=1")
    time.sleep(7.0)  # two of its words are missing by now
    assert manager.count("WATCHDOG=1") == before
