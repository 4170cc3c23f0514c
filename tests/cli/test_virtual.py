"""As somebody without a board would try it: virtual bench, setup, controller and page."""

from __future__ import annotations

import json
import os
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path
from typing import Any

from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.ledger.inbox import Inbox
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.settings import load_settings
from nightcure.simulate.wires import read_pin
from tests.setup.board import AIR, LID, VirtualBoard
from tests.workshop import wait_for


def start(*arguments: str, board: VirtualBoard) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-m", "nightcure", *arguments],
        env={**os.environ, **board.environment},
        cwd=board.folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
    )


def test_from_setup_to_a_running_controller_and_page(tmp_path: Path) -> None:
    with VirtualBoard(tmp_path, "--sensors", "2") as board, socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
        oven = str(board.oven_file)
        written = start(
            "setup", "--out", oven, "--yes", "--power", "300", "--relay", "solid-state",
            "--cut-out", "65",
            "--sensor", f"{AIR}=air:Air", "--sensor", f"{LID}=part:Lid", "--no-passphrase",
            "--port", str(port), board=board,
        )  # fmt: skip
        assert written.wait(60) == 0
        settings = load_settings(board.oven_file)
        controller = start("controller", oven, board=board)
        probe.close()
        page = start("web", oven, board=board)
        try:

            def status() -> dict[str, Any]:
                try:
                    url = f"http://127.0.0.1:{port}/api/status"
                    with urllib.request.urlopen(url, timeout=5) as answer:
                        found: dict[str, Any] = json.loads(answer.read())
                        return found
                except urllib.error.URLError:
                    return {}

            wait_for(lambda: status().get("control_c"), 40, "the page shows the virtual air")
            assert 8.0 < status()["control_c"] < 10.0
            segments = [{"kind": "soak", "at_c": 45.0, "hours": 8.0}]
            profile = {"name": "Hot", "lag_c": 30.0, "band_c": 2.0, "segments": segments}
            inbox = Inbox(settings.ledger)
            inbox.put("start", {"profile": profile, **ALL_CONFIRMED}, "test", time.time())
            wait_for(board.heater_on, 20, "the separate controller drives the virtual heater")
            assert read_pin(board.folder / "pins", 27)
            board.process.send_signal(signal.SIGINT)
            assert board.process.wait(10) == 0
            assert not list((board.folder / "w1").glob("28-*")), "the thermometers are unplugged"
            wait_for(lambda: not board.heater_on(), 15, "no thermometer, no heat")
        finally:
            said = []
            for process in (page, controller):
                process.terminate()
                said.append(process.communicate(timeout=20)[1].decode())
        assert f"http://127.0.0.1:{port}/ No passphrase is set" in said[0]
        assert f"(nightcure web {oven})" in said[1]


def test_one_folder_one_oven(tmp_path: Path) -> None:
    with VirtualBoard(tmp_path) as board:
        second = CliRunner().invoke(app, ["demo", "board", str(board.folder)])
        assert second.exit_code == 2
        assert "has a virtual oven running already" in second.stderr
    third = CliRunner().invoke(app, ["demo", "board", "/proc/nothing"])
    assert third.exit_code == 2
    assert "name another folder" in third.stderr


def test_a_hand_by_its_file(tmp_path: Path) -> None:
    with VirtualBoard(tmp_path, "--sensors", "1", "--ambient", "5") as board:
        slave = board.folder / "w1" / AIR / "w1_slave"

        def value_c() -> float:
            return int(slave.read_text().rpartition("t=")[2]) / 1000.0

        assert abs(value_c() - 5.0) < 0.5
        for odd in ("99", "-1", "two", "\x00"):
            (board.folder / "hand").write_text(odd)
        time.sleep(1.0)
        assert abs(value_c() - 5.0) < 0.5
        (board.folder / "hand").write_text("1")
        wait_for(lambda: value_c() > 9.0, 15, "warm in the hand")
