"""The units: accepted by the service manager's own checkers, shut in, and off at every end."""

from __future__ import annotations

import json
import re
import subprocess
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from nightcure.board.claimed_pins import RUNTIME, STATE
from nightcure.board.relay import LOOK_S as DEAD_MAN_LOOK_S
from nightcure.daemon.daemon import KILL_AFTER_DEAD_MAN_S
from nightcure.settings import Timing
from nightcure_web.app import ALIVE_S
from nightcure_web.host_pages import NAME
from nightcure_web.survey_job import REQUEST

FOLDER = Path(__file__).parents[2] / "systemd"
UNITS = sorted(FOLDER.glob("*.service"))
README = (FOLDER / "README.md").read_text("utf-8")


def read(name: str) -> dict[str, list[str]]:
    """Every setting of a unit, in order, whatever its section."""
    found: dict[str, list[str]] = {}
    for line in (FOLDER / name).read_text("utf-8").splitlines():
        if line and line[0] not in "#[":
            key, _, value = line.partition("=")
            found.setdefault(key, []).append(value)
    return found


def test_there_are_these() -> None:
    assert [u.name for u in UNITS] == [
        f"nightcure-{who}.service" for who in ("adopt", "controller", "notifier", "web")
    ]
    assert [u.name for u in FOLDER.glob("*.path")] == ["nightcure-adopt.path"]


@pytest.mark.parametrize("unit", UNITS, ids=lambda u: u.name)
def test_the_checker_accepts_it(unit: Path, tmp_path: Path) -> None:
    """systemd-analyze verify, with a program where the unit expects one; it warns of nothing."""
    program = tmp_path / "nightcure"
    program.write_text("#!/bin/sh\n")
    program.chmod(0o755)
    for other in UNITS:
        text = other.read_text("utf-8").replace("/opt/nightcure/bin/nightcure", str(program))
        (tmp_path / other.name).write_text(text)
    done = subprocess.run(
        ["systemd-analyze", "verify", "--man=no", "--recursive-errors=no", tmp_path / unit.name],
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "nightcure" not in done.stderr


@pytest.mark.parametrize(
    ("unit", "most"),
    [
        ("nightcure-controller.service", 3.0),
        ("nightcure-web.service", 2.0),
        ("nightcure-notifier.service", 2.0),
        ("nightcure-adopt.service", 2.0),
    ],
)
def test_it_is_shut_in(unit: str, most: float) -> None:
    """systemd-analyze security: under the bounds set for each, and as the README says."""
    done = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", f"--threshold={most * 10:.0f}",
         "--no-pager", "--json=short", str(FOLDER / unit)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    rows = json.loads(done.stdout)
    assert len(rows) > 50
    plain = subprocess.run(
        ["systemd-analyze", "security", "--offline=yes", "--no-pager", str(FOLDER / unit)],
        capture_output=True, text=True, timeout=60, check=False,
    )  # fmt: skip
    level = re.search(r"exposure level for \S+: ([\d.]+)", plain.stdout)
    assert level is not None, plain.stdout
    assert float(level[1]) < most
    who = "page" if "web" in unit else unit.removeprefix("nightcure-").removesuffix(".service")
    who = "one that writes" if who == "adopt" else who
    assert re.search(rf"the {who} {re.escape(level[1])}\b", README), level[1]


def test_what_writes_the_settings_is_roots_without_a_capability_and_looks_at_one_file() -> None:
    """It reads the request as the page's group, and may write beside oven.toml alone."""
    unit, path = read("nightcure-adopt.service"), read("nightcure-adopt.path")
    (request,) = path["PathChanged"]
    assert request == f"{STATE}/{REQUEST}"
    assert unit["ConditionPathExists"] == [request]
    command = unit["ExecStart"][0].split()
    assert command[1:] == ["adopt", request, "--oven", "/etc/nightcure/oven.toml"]
    assert (unit["User"], unit["Group"]) == (["root"], ["nightcure"])
    assert unit["CapabilityBoundingSet"] == [""]
    assert unit["ReadWritePaths"] == ["/etc/nightcure"]
    assert unit["ProtectSystem"] == ["strict"]
    assert unit["PrivateNetwork"] == ["yes"]
    assert "Restart" not in unit
    assert path["WantedBy"] == path["PartOf"] == ["nightcure-web.service"]


def test_the_pages_of_one_board_share_a_folder() -> None:
    page = read("nightcure-web.service")
    assert page["RuntimeDirectory"] == [NAME]
    assert page["RuntimeDirectoryPreserve"] == ["yes"], "one that stops leaves it to the others"


def test_the_pin_is_driven_off_after_every_end() -> None:
    unit = read("nightcure-controller.service")
    start, off = unit["ExecStart"][0].split(), unit["ExecStopPost"][0].split()
    assert off[0] == start[0], "no prefix that ignores a failure"
    assert (start[1], off[1]) == ("controller", "off")
    assert start[2] == off[2], "the same oven"
    assert unit["Restart"] == ["always"]
    assert "RestartPreventExitStatus" not in unit


def test_silence_is_noticed_after_the_dead_man_and_before_anything_gets_hot() -> None:
    """The slowest tick the settings allow must not be taken for a hang."""
    unit = read("nightcure-controller.service")
    assert unit["Type"] == ["notify"]
    watchdog_s = float(unit["WatchdogSec"][0])
    most = next(m.le for m in Timing.model_fields["dead_man_s"].metadata if hasattr(m, "le"))
    slowest_tick_s = most / 2.0
    assert Timing(tick_s=slowest_tick_s, dead_man_s=most)
    assert 2.0 * slowest_tick_s < watchdog_s <= 10.0
    # What the controller asks for leaves the dead-man its time (it looks every half second), and a
    # process that stands still is killed soon enough to be off within 10 s as the settings come.
    assert KILL_AFTER_DEAD_MAN_S >= 3.0 * DEAD_MAN_LOOK_S
    assert 2.0 * slowest_tick_s < most + KILL_AFTER_DEAD_MAN_S
    silent_s = Timing().dead_man_s + KILL_AFTER_DEAD_MAN_S
    assert silent_s <= 8.0
    assert f"nothing for {silent_s:g} s" in README
    page = read("nightcure-web.service")
    assert page["Type"] == ["notify"]
    assert float(page["WatchdogSec"][0]) >= 3.0 * ALIVE_S


def test_restarts_have_a_limit_that_can_be_reached() -> None:
    unit = read("nightcure-controller.service")
    assert int(unit["StartLimitBurst"][0]) == 5
    assert int(unit["StartLimitIntervalSec"][0]) == 600
    # Five ends, each after a restart's wait, fit the interval: the limit can be reached.
    assert 5 * (float(unit["RestartSec"][0]) + float(unit["WatchdogSec"][0])) < 600


def test_the_controller_reaches_its_pins_and_nothing_else() -> None:
    unit = read("nightcure-controller.service")
    assert unit["DeviceAllow"] == ["char-gpiochip rw"]
    assert unit["SupplementaryGroups"] == ["gpio"]
    assert unit["PrivateNetwork"] == ["yes"]
    assert unit["WorkingDirectory"] == ["/var/lib/nightcure"]
    assert unit["RuntimeDirectory"] == ["nightcure"], "where the pins are written down for off"
    assert (RUNTIME, STATE) == ("/run/nightcure", "/var/lib/nightcure")
    page = read("nightcure-web.service")
    assert page["PrivateDevices"] == ["yes"]
    assert "SupplementaryGroups" not in page


def test_the_controller_waits_for_no_clock_and_reaches_a_bus_that_comes_later() -> None:
    """Fails before this: time-sync.target, which systemd-time-wait-sync holds up for ever on a
    board without network, and the first bus alone, if it was there at the start."""
    unit = read("nightcure-controller.service")
    assert unit["After"] == ["local-fs.target"]
    assert unit["ReadWritePaths"] == ["/sys/devices"], "not a bus by its name"


def test_the_boards_watchdog_is_within_what_it_can() -> None:
    """A Raspberry Pi's counts at most 15 s (bcm2835_wdt; from memory)."""
    text = (FOLDER / "60-nightcure-watchdog.conf").read_text("utf-8")
    seconds = re.search(r"^RuntimeWatchdogSec=(\d+)$", text, re.MULTILINE)
    assert seconds is not None
    assert 0 < int(seconds[1]) < 15


def test_the_udev_rule_is_well_formed() -> None:
    """Every rule: comma-separated KEY op "value"; systemd 252 has no checker of its own."""
    text = (FOLDER / "60-nightcure.rules").read_text("utf-8")
    rules = [line for line in text.splitlines() if line and not line.startswith("#")]
    assert len(rules) == 2
    for rule in rules:
        for part in rule.split(", "):
            assert re.fullmatch(r'[A-Z]+(==|=|\+=)"[^"]+"', part), part


def test_the_page_is_announced_as_a_page() -> None:
    group = ET.parse(FOLDER / "avahi" / "nightcure.service").getroot()
    assert group.findtext("service/type") == "_http._tcp"
    assert group.findtext("service/port") == "8733"
