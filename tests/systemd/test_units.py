"""The units: accepted by the service manager's own checker, and safe at every end."""

from __future__ import annotations

import configparser
import subprocess
from pathlib import Path

import pytest

UNITS = sorted((Path(__file__).parents[2] / "systemd").glob("*.service"))


def read(name: str) -> configparser.ConfigParser:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(next(u for u in UNITS if u.name == name))
    return unit


@pytest.mark.parametrize("unit", UNITS, ids=[u.name for u in UNITS])
def test_the_checker_accepts_it(unit: Path, tmp_path: Path) -> None:
    """systemd-analyze verify, with a program where the unit expects one."""
    program = tmp_path / "nightcure"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    for other in UNITS:
        text = other.read_text().replace("/opt/nightcure/bin/nightcure", str(program))
        (tmp_path / other.name).write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", tmp_path / unit.name],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert unit.name not in done.stderr


def test_the_pin_is_driven_off_after_every_end() -> None:
    service = read("nightcure-controller.service")["Service"]
    start, off = service["ExecStart"].split(), service["ExecStopPost"].split()
    assert off[0] == start[0], "no prefix that ignores a failure"
    assert (start[1], off[1]) == ("controller", "off")
    assert start[2] == off[2], "the same oven"
    assert service["Type"] == "notify"
    assert 0 < int(service["WatchdogSec"]) <= 15
    assert service["Restart"] == "always"


def test_restarts_have_a_limit() -> None:
    unit = read("nightcure-controller.service")["Unit"]
    assert int(unit["StartLimitBurst"]) <= 5
    assert int(unit["StartLimitIntervalSec"]) >= 60
