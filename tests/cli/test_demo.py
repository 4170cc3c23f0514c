"""The demo as a person runs it: from its start to Ctrl-C, and nothing left behind."""

from __future__ import annotations

import json
import re
import shutil
import signal
import socket
import subprocess
import sys
import urllib.request
from collections.abc import Callable
from pathlib import Path
from typing import Any

import psutil
import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.simulate.demo import Demo
from tests.workshop import wait_for


def fetch(address: str) -> str:
    with urllib.request.urlopen(address, timeout=5) as answer:
        assert answer.status == 200
        return str(answer.read().decode())


def test_the_demo_from_its_start_to_its_end() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "nightcure", "demo", "--speed", "200", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    children: list[psutil.Process] = []
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if "Ctrl-C" in line:
                break
        address = f"http://127.0.0.1:{port}/"
        assert address in said
        assert re.search(r"passphrase: \w+-\w+-\d\d", said)
        page = fetch(address)
        assert "<!doctype html>" in page.lower()
        assert "<script" in page

        def status() -> dict[str, Any]:
            found: dict[str, Any] = json.loads(fetch(address + "api/status"))
            return found

        wait_for(lambda: status()["phase"] == "ramp", 30, "the night has begun")
        first = status()
        wait_for(lambda: status()["control_c"] > first["control_c"] + 2, 60, "it warms")
        assert status()["wall_s"] - first["wall_s"] > 60, "the oven's time runs fast"
        children = psutil.Process(process.pid).children(recursive=True)
        assert children, "the page is a process of its own"
        folders = [Path(c.cmdline()[-1]).parent for c in children]
        assert any(folder.name.startswith("nightcure-demo-") for folder in folders)
        process.send_signal(signal.SIGINT)
        assert process.wait(10) == 0
        _, alive = psutil.wait_procs(children, timeout=10)
        assert alive == []
        assert not any(f.exists() for f in folders if f.name.startswith("nightcure-demo-"))
    finally:
        if process.poll() is None:
            children = psutil.Process(process.pid).children(recursive=True)
            process.kill()
            process.wait(10)
        for child in children:
            if child.is_running():
                child.kill()


def test_a_phone_on_the_network_is_let_in_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """Loopback stays the default; nothing is listened on here."""
    shown: list[Demo] = []

    def run(self: Demo, on_ready: Callable[[], None], start: bool) -> None:
        shown.append(self)
        on_ready()
        shutil.rmtree(self.folder)

    monkeypatch.setattr(Demo, "run", run)
    monkeypatch.setattr("nightcure.cli.demo.own_address", lambda: "192.168.7.5")
    for options, listens, told in (
        ([], "127.0.0.1", "http://127.0.0.1:8790/"),
        (["--lan"], "0.0.0.0", "http://192.168.7.5:8790/"),
    ):
        result = CliRunner().invoke(app, ["demo", "--port", "8790", *options])
        assert result.exit_code == 0, result.output
        assert told in result.stdout
        assert shown[-1].settings.web.address == listens
        assert shown[-1].settings.web.passphrase_hash
        assert [p.name for p in shown[-1].profile.parts] == ["Lid", "Rim"], "resin is in it"
