"""Debian's Chromium, a phone's size, and a demo of its own for every test that drives one."""

from __future__ import annotations

import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import psutil
import pytest
from playwright.sync_api import APIRequestContext, ConsoleMessage, Page, Playwright, expect

PHONE, SMALL, DESK = (390, 844), (320, 640), (1280, 800)
SIZES = (PHONE, SMALL, DESK)
#: For whatever has to happen on a busy machine.
WAIT_MS = 30_000
FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
expect.set_options(timeout=WAIT_MS)


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    return {"executable_path": "/usr/bin/chromium", "args": FLAGS}


@pytest.fixture(scope="session")
def browser_context_args() -> dict[str, Any]:
    width, height = PHONE
    size = {"width": width, "height": height}
    return {"viewport": size, "has_touch": True, "is_mobile": True, "device_scale_factor": 1}


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@dataclass
class RunningDemo:
    """A demo process that answers, and what it printed."""

    process: subprocess.Popen[str]
    address: str
    passphrase: str
    page_server: psutil.Process
    runtime: Path
    """Where pages of one machine find each other; this demo's alone, unless it is shared."""
    own_servers: list[subprocess.Popen[bytes]] = field(default_factory=list)

    @classmethod
    def start(cls, *options: str, beside: RunningDemo | None = None) -> RunningDemo:
        if beside is not None:
            runtime = beside.runtime
        else:
            runtime = Path(tempfile.mkdtemp(prefix="nightcure-alone-"))
        environment = {**os.environ, "XDG_RUNTIME_DIR": str(runtime)}
        command = [sys.executable, "-m", "nightcure", "demo", "--port", str(free_port()), *options]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        assert process.stdout is not None
        said = ""
        for line in process.stdout:  # ends with the process, or with the test's own time limit
            said += line
            if "Ctrl-C" in line:
                break
        address = re.search(r"http://\S+", said)
        passphrase = re.search(r"passphrase: (\S+)", said)
        assert address is not None, said
        assert passphrase is not None, said
        (server,) = psutil.Process(process.pid).children()
        return cls(process, address[0], passphrase[1], server, runtime)

    def restart_page_server(self) -> Callable[[], None]:
        """End the page's process; what is returned begins it again, as it was."""
        command, environment = self.page_server.cmdline(), self.page_server.environ()
        self.page_server.terminate()
        while self._serves():  # bounded by the test's own time limit
            time.sleep(0.05)

        def again() -> None:
            self.own_servers.append(subprocess.Popen(command, env=environment))
            self.page_server = psutil.Process(self.own_servers[-1].pid)

        return again

    def end(self) -> None:
        """End it and whatever it started."""
        folder = Path(self.page_server.cmdline()[-1]).parent if self._serves() else None
        for server in self.own_servers:
            server.terminate()
            server.wait(20)
        if self.process.poll() is None:
            self.process.send_signal(signal.SIGCONT)
            self.process.send_signal(signal.SIGINT)
            try:
                self.process.wait(20)
            except subprocess.TimeoutExpired:
                self.process.kill()
                self.process.wait(10)
                raise
        if self._serves():  # its controller was killed and could not end it
            self.page_server.terminate()
        if folder is not None and folder.name.startswith("nightcure-demo-"):
            shutil.rmtree(folder, ignore_errors=True)
        shutil.rmtree(self.runtime, ignore_errors=True)

    def _serves(self) -> bool:
        try:
            return self.page_server.status() != psutil.STATUS_ZOMBIE  # the demo does not reap it
        except psutil.NoSuchProcess:
            return False


#: Demos that tests share, one at a time, in this order; tests with one of their own come last.
SHARED = ("steered", "archive", "tripped", "shipped")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """The tests here by the demo that they share, which lives no longer than they need it."""
    here = Path(__file__).parent

    def place(item: pytest.Item) -> int:
        if here not in item.path.parents:
            return -1
        used = getattr(item, "fixturenames", ())
        return next((i for i, name in enumerate(SHARED) if name in used), len(SHARED))

    items.sort(key=place)


class Shared:
    """The demo that the tests under way share; a demo ticks on for as long as it lives."""

    def __init__(self) -> None:
        self._name = ""
        self._running: RunningDemo | None = None

    def get(self, name: str, begin: Callable[[], RunningDemo]) -> RunningDemo:
        """The demo of this name; another is ended first."""
        if self._running is None or name != self._name:
            self.end()
            self._name, self._running = name, begin()
        return self._running

    def end(self) -> None:
        """End what runs."""
        running, self._running = self._running, None
        if running is not None:
            running.end()


@pytest.fixture(scope="package")
def shared() -> Iterator[Shared]:
    keeps = Shared()
    yield keeps
    keeps.end()


@pytest.fixture
def demo(shared: Shared) -> Iterator[Callable[..., RunningDemo]]:
    """Starts `nightcure demo` with these options; ends it, and whatever it started, afterwards."""
    shared.end()
    started: list[RunningDemo] = []

    def start(*options: str, beside: RunningDemo | None = None) -> RunningDemo:
        started.append(RunningDemo.start(*options, beside=beside))
        return started[-1]

    yield start
    for running in started:
        running.end()


@dataclass
class Steering:
    """The API of a demo, asked as a logged-in person."""

    request: APIRequestContext
    demo: RunningDemo

    def get(self, path: str) -> Any:
        return self.request.get(f"{self.demo.address}api/{path}").json()

    def post(self, path: str, body: Any = None) -> Any:
        answer = self.request.post(f"{self.demo.address}api/{path}", data=body or {})
        assert answer.ok, answer.text()
        return answer.json()

    def put(self, path: str, body: Any) -> None:
        answer = self.request.put(f"{self.demo.address}api/{path}", data=body)
        assert answer.ok, answer.text()

    def log_in(self) -> Steering:
        self.post("login", {"passphrase": self.demo.passphrase})
        return self

    def begin(self, *segments: dict[str, Any], name: str = "Trial", **more: Any) -> None:
        """Stop what runs and start these segments."""
        self.post("cautions/accept")
        self.post("commands/stop")
        profile = {"name": name, "segments": segments, **more}
        self.post("commands/start", {"profile": profile, "limit_device_confirmed": True})

    def offer(self, name: str) -> dict[str, Any]:
        """A profile by its name."""
        found = [o["profile"] for o in self.get("profiles") if o["profile"]["name"] == name]
        assert len(found) == 1
        profile: dict[str, Any] = found[0]
        return profile


@pytest.fixture
def archive(playwright: Playwright, shared: Shared) -> RunningDemo:
    """A demo that rests after two short nights; tests of it change nothing that others read."""

    def begin() -> RunningDemo:
        running = RunningDemo.start("--speed", "30")
        request = playwright.request.new_context()
        steering = Steering(request, running).log_in()
        steering.begin({"kind": "soak", "at_c": 9.5, "hours": 0.05}, name="Short and mild")
        _until(steering, "done")
        steering.begin(
            {"kind": "ramp", "to_c": 12, "rate_c_per_h": 25},
            {"kind": "soak", "at_c": 12, "hours": 0.05},
            name="Short and warm",
            band_c=5,
        )
        _until(steering, "done")
        request.dispose()
        return running

    return shared.get("archive", begin)


@pytest.fixture
def tripped(playwright: Playwright, shared: Shared) -> RunningDemo:
    """A demo whose night has tripped, and whose cause stays."""

    def begin() -> RunningDemo:
        running = RunningDemo.start("--speed", "60", "--fault", "sensor-missing@16min")
        request = playwright.request.new_context()
        _until(Steering(request, running), "tripped")
        request.dispose()
        return running

    return shared.get("tripped", begin)


@pytest.fixture
def steered(shared: Shared) -> RunningDemo:
    """A demo whose nights the tests begin themselves, one after the other."""
    return shared.get("steered", lambda: RunningDemo.start("--speed", "60", "--no-start"))


@pytest.fixture
def shipped(shared: Shared) -> RunningDemo:
    """A demo whose shipped night runs; whatever is stopped in it goes on at the test's end."""
    return shared.get("shipped", lambda: RunningDemo.start("--speed", "60"))


def _until(steering: Steering, phase: str) -> None:
    while steering.get("status")["phase"] != phase:  # bounded by the test's own time limit
        time.sleep(0.2)


@pytest.fixture
def quiet(page: Page) -> Iterator[list[str]]:
    """No error on the console and no exception in the page, to the end of the test."""
    said: list[str] = []

    def listen(message: ConsoleMessage) -> None:
        if message.type in ("error", "warning"):
            said.append(message.text)

    page.on("console", listen)
    page.on("pageerror", lambda error: said.append(str(error)))
    yield said
    assert said == []
