"""The other commands: help worth reading, mistakes told, the demo from its start to its end."""

from __future__ import annotations

import json
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from pathlib import Path
from typing import Any

import psutil
import pytest
from argon2 import PasswordHasher
from typer.testing import CliRunner

from nightcure import __version__
from nightcure.cli.main import app
from nightcure.scenario import OVEN_FILE
from tests.workshop import Workshop, wait_for

COMMANDS = {
    "demo": ("--speed", "--port", "--night", "--fault"),
    "rehearse": ("--night", "--fault", "--seed", "--json", "--stress"),
    "controller": ("oven.toml",),
    "web": ("--port",),
    "off": ("off",),
    "passphrase": ("--phrase",),
}


def test_the_help_names_every_command() -> None:
    result = CliRunner().invoke(app, ["--help"])
    assert result.exit_code == 0
    for name in COMMANDS:
        assert re.search(rf"^\W*{name}\s+\S", result.stdout, re.M), name


@pytest.mark.parametrize("name", COMMANDS)
def test_every_help_is_worth_reading(name: str) -> None:
    result = CliRunner().invoke(app, [name, "--help"])
    assert result.exit_code == 0
    assert len(result.stdout) > 300
    for option in COMMANDS[name]:
        assert option in result.stdout


def test_the_version() -> None:
    assert CliRunner().invoke(app, ["--version"]).stdout.strip() == f"nightcure {__version__}"


@pytest.mark.parametrize("name", ["controller", "web", "off"])
def test_a_wrong_oven_file_is_told_fault_by_fault(name: str, tmp_path: Path) -> None:
    bad = tmp_path / "oven.toml"
    bad.write_text(
        OVEN_FILE.read_text()
        .replace("window_s = 20.0 ", "window_s = 0.0 ")
        .replace("air_c = 60.0", 'air_c = "hot"')
        .replace("[fan]", "[fun]")
    )
    result = CliRunner().invoke(app, [name, str(bad)])
    assert result.exit_code == 2
    assert result.stdout == ""
    lines = result.stderr.strip().splitlines()
    assert len(lines) == 3
    for key in ("heater.window_s", "limits.air_c", "fun"):
        assert any(key in line for line in lines), key
    assert all(line.endswith(".") for line in lines)


def test_a_page_for_everybody_needs_a_passphrase(tmp_path: Path) -> None:
    wide = tmp_path / "oven.toml"
    wide.write_text(OVEN_FILE.read_text().replace('"127.0.0.1"', '"0.0.0.0"'))
    result = CliRunner().invoke(app, ["web", str(wide)])
    assert result.exit_code == 2
    assert "passphrase" in result.stderr


def test_the_passphrases_line_fits_the_oven_file(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["passphrase", "--phrase", "kelp and heron"])
    assert result.exit_code == 0
    line = result.stdout.strip()
    found = re.fullmatch(r"passphrase_hash = '(\$argon2id\$.+)'", line)
    assert found is not None, line
    assert PasswordHasher().verify(found[1], "kelp and heron")
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text() + line + "\n")
    from nightcure.settings import load_settings

    assert load_settings(oven).web.passphrase_hash == found[1]
    short = CliRunner().invoke(app, ["passphrase", "--phrase", "kelp"])
    assert short.exit_code == 2
    assert "at least 8" in short.stderr


def test_off_drives_the_pins_off(tmp_path: Path) -> None:
    with Workshop(tmp_path) as workshop:
        process = workshop.controller()
        workshop.start_heating()
        process.kill()
        process.wait(10)
        assert workshop.heater_on()
        done = workshop.nightcure("off", str(workshop.oven_file))
        assert done.wait(30) == 0
        assert not workshop.heater_on()
        assert not workshop.contactor_on()
        assert "Heater, contactor and fan are off." in workshop.log()


def fetch(address: str) -> dict[str, Any]:
    with urllib.request.urlopen(address, timeout=5) as answer:
        found: dict[str, Any] = json.loads(answer.read())
    return found


def test_the_demo_from_its_start_to_its_end() -> None:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-m", "nightcure", "demo", "--speed", "200", "--port", str(port)]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert process.stdout is not None
        said = ""
        for line in process.stdout:
            said += line
            if "Ctrl-C" in line:
                break
        assert f"http://127.0.0.1:{port}/" in said
        assert "passphrase:" in said
        assert "█" in said or "▀" in said, "a QR code"
        status = f"http://127.0.0.1:{port}/api/status"
        wait_for(lambda: fetch(status)["phase"] == "ramp", 30, "the night has begun")
        first = fetch(status)
        wait_for(lambda: fetch(status)["control_c"] > first["control_c"] + 2, 60, "it warms")
        taken = subprocess.run(command, capture_output=True, text=True, timeout=60, check=False)
        assert taken.returncode == 2
        assert "is in use" in taken.stderr
        children = psutil.Process(process.pid).children(recursive=True)
        assert children, "the page is a process of its own"
        process.send_signal(signal.SIGINT)
        assert process.wait(20) == 0
        _, alive = psutil.wait_procs(children, timeout=10)
        assert alive == []
    finally:
        if process.poll() is None:
            process.kill()
            process.wait(10)
