"""Debian's Chromium, a phone's size, and a demo of its own for every test that drives one."""

from __future__ import annotations

import re
import signal
import socket
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from typing import Any

import pytest
from playwright.sync_api import ConsoleMessage, Page

PHONE = {"width": 390, "height": 844}
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


@pytest.fixture(scope="session")
def browser_type_launch_args() -> dict[str, Any]:
    return {"executable_path": "/usr/bin/chromium", "args": FLAGS}


@pytest.fixture(scope="session")
def browser_context_args() -> dict[str, Any]:
    return {"viewport": PHONE, "has_touch": True, "is_mobile": True, "device_scale_factor": 2}


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


@pytest.fixture
def demo() -> Iterator[Callable[..., RunningDemo]]:
    """Starts `nightcure demo` with these options; ends it, and whatever it started, afterwards."""
    started: list[subprocess.Popen[str]] = []

    def start(*options: str) -> RunningDemo:
        command = [sys.executable, "-m", "nightcure", "demo", "--port", str(free_port()), *options]
        process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
        started.append(process)
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
        return RunningDemo(process, address[0], passphrase[1])

    yield start
    for process in started:
        process.send_signal(signal.SIGCONT)
        process.send_signal(signal.SIGINT)
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait(10)
            raise


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
