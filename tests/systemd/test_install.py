"""The installer, into a root of its own: shows first, does once, undoes all. Its live commands are
run for real in a booted container (python -m tests.container)."""

from __future__ import annotations

import os
import subprocess
from pathlib import Path

import pytest

from nightcure.settings import load_settings
from nightcure.simulate.scenario import OVEN_FILE

SYSTEMD = Path(__file__).parents[2] / "systemd"
INSTALL = SYSTEMD / "install"
LEDGER = "/var/lib/nightcure/nightcure.ledger"
OURS = "# nightcure begin"
CONFIG = "# For more options see the manual\ndtparam=i2c_arm=on\n[cm4]\notg_mode=1\n"


class Machine:
    """A root to install into, commands that only note that they were called, an oven.toml."""

    def __init__(self, folder: Path) -> None:
        self.root = folder / "root"
        (self.root / "boot/firmware").mkdir(parents=True)
        (self.root / "etc/avahi/services").mkdir(parents=True)
        self.config = self.root / "boot/firmware/config.txt"
        self.config.write_text(CONFIG)
        self.called = folder / "called"
        self.called.touch()
        fakes = folder / "bin"
        fakes.mkdir()
        for name in ("systemctl", "systemd-sysusers", "systemd-tmpfiles", "udevadm", "rm"):
            fake = fakes / name
            fake.write_text(f'#!/bin/sh\necho "{name} $*" >> {self.called}\n')
            fake.chmod(0o755)
        self.env = {**os.environ, "PATH": f"{fakes}:{os.environ['PATH']}"}
        self.oven = folder / "oven.toml"
        self.write_oven(("nightcure.ledger", LEDGER))

    def write_oven(self, *changes: tuple[str, str]) -> None:
        """The scenario's oven.toml, changed."""
        text = OVEN_FILE.read_text("utf-8")
        for old, new in changes:
            assert old in text
            text = text.replace(old, new)
        self.oven.write_text(text)

    def install(self, *words: str, said: str = "", status: int = 0) -> str:
        """Run the installer on the root; what it said."""
        done = subprocess.run(
            [INSTALL, f"--root={self.root}", *words],
            env=self.env, input=said, capture_output=True, text=True, timeout=60, check=False,
        )  # fmt: skip
        assert done.returncode == status, done.stdout + done.stderr
        return done.stdout + done.stderr

    def tree(self) -> dict[str, bytes]:
        """Every file below the root."""
        return {
            str(p.relative_to(self.root)): p.read_bytes()
            for p in sorted(self.root.rglob("*"))
            if p.is_file()
        }

    def calls(self) -> list[str]:
        """The commands called so far, without the root."""
        return self.called.read_text().replace(f"--root={self.root} ", "").splitlines()


@pytest.fixture
def machine(tmp_path: Path) -> Machine:
    return Machine(tmp_path)


def test_it_shows_what_it_would_do_and_does_nothing(machine: Machine) -> None:
    before = machine.tree()
    shown = machine.install(f"--oven={machine.oven}", "--dry-run")
    assert f"{machine.root}/etc/systemd/system/nightcure-controller.service" in shown
    assert "gpio=17,27,22=op,dl" in shown
    assert "notifier" not in shown
    assert "systemctl" in shown
    assert machine.tree() == before
    assert machine.calls() == []


@pytest.mark.parametrize("answer", ["", "n\n", "no\n", "perhaps\n"])
def test_without_a_yes_nothing_is_done(machine: Machine, answer: str) -> None:
    before = machine.tree()
    said = machine.install(f"--oven={machine.oven}", said=answer, status=1)
    assert "Nothing was done." in said
    assert machine.tree() == before


def test_it_puts_everything_in_place_and_the_second_time_nothing(machine: Machine) -> None:
    machine.install(f"--oven={machine.oven}", said="y\n")
    first = machine.tree()
    for place in (
        "etc/systemd/system/nightcure-controller.service",
        "etc/systemd/system/nightcure-web.service",
        "etc/systemd/system/nightcure-adopt.path",
        "etc/systemd/system/nightcure-adopt.service",
        "etc/sysusers.d/nightcure.conf",
        "etc/tmpfiles.d/nightcure.conf",
        "etc/udev/rules.d/60-nightcure.rules",
        "etc/systemd/system.conf.d/60-nightcure-watchdog.conf",
        "etc/nightcure/oven.toml",
    ):
        assert place in first
    settings = machine.root / "etc/nightcure/oven.toml"
    assert load_settings(settings).ledger == Path(LEDGER)
    assert settings.stat().st_mode & 0o007 == 0, "it may hold the passphrase's hash"
    assert machine.calls() == [
        "systemd-sysusers nightcure.conf",
        "systemd-tmpfiles --create nightcure.conf",
        "systemctl enable nightcure-controller.service nightcure-web.service nightcure-adopt.path",
    ]
    for again in ([f"--oven={machine.oven}", "--yes"], ["--yes"]):
        assert "Nothing to do." in machine.install(*again)
    assert machine.tree() == first
    assert len(machine.calls()) == 3


def test_the_notifier_comes_with_its_secrets_and_only_with_them(machine: Machine) -> None:
    unit = "etc/systemd/system/nightcure-notifier.service"
    machine.install(f"--oven={machine.oven}", said="y\n")
    assert unit not in machine.tree()
    secrets = machine.root.parent / "secrets.toml"
    secrets.write_text('[services]\nphone = "ntfys://swordfish"\n')
    shown = machine.install(f"--notifications={secrets}", said="y\n")
    assert unit in machine.tree()
    place = machine.root / "etc/nightcure/notifications.toml"
    assert place.stat().st_mode & 0o777 == 0o600
    assert place.read_bytes() == secrets.read_bytes()
    assert any("enable" in c and "nightcure-notifier.service" in c for c in machine.calls())
    kept = {name: data for name, data in machine.tree().items() if name != str(place.name)}
    told = [name for name, data in kept.items() if b"swordfish" in data]
    assert told == ["etc/nightcure/notifications.toml"]
    assert "swordfish" not in shown
    before = machine.tree()
    machine.install()
    assert machine.tree() == before
    machine.install("--uninstall", said="y\n")
    assert unit not in machine.tree()
    assert place.exists(), "a person's own file stays"


def test_the_boot_lines_follow_the_ovens_pins(machine: Machine) -> None:
    machine.install(f"--oven={machine.oven}", "--yes")
    block = machine.config.read_text().removeprefix(CONFIG)
    assert block.splitlines() == [
        OURS, "[all]", "gpio=17,27,22=op,dl", "dtoverlay=", "dtparam=strict_gpiod",
        "dtparam=watchdog=on", "dtoverlay=w1-gpio,gpiopin=4", "# nightcure end",
    ]  # fmt: skip
    machine.write_oven(
        ("nightcure.ledger", LEDGER),
        ("pin = 17            # GPIO17, header pin 11; 9-27 only, since 0-8 are pulled up at boot\n"
         "active_high = true", "pin = 23\nactive_high = false"),
    )  # fmt: skip
    machine.install(f"--oven={machine.oven}", "--yes")
    text = machine.config.read_text()
    assert text.count(OURS) == 1
    assert "gpio=27,22=op,dl\ngpio=23=op,dh\n" in text
    assert text.startswith(CONFIG)


def test_a_bus_that_is_set_up_already_stays_so(machine: Machine) -> None:
    machine.config.write_text(CONFIG + "[all]\ndtoverlay=w1-gpio,gpiopin=26\n")
    machine.install(f"--oven={machine.oven}", "--yes")
    assert machine.config.read_text().count("w1-gpio") == 1


def test_it_is_undone(machine: Machine) -> None:
    before = machine.tree()
    machine.install(f"--oven={machine.oven}", "--yes")
    machine.install("--uninstall", "--yes")
    left = machine.tree()
    assert left.pop("etc/nightcure/oven.toml") == machine.oven.read_bytes()
    assert left == before
    assert machine.calls()[-1].startswith("systemctl disable")
    assert "Nothing to do." in machine.install("--uninstall", "--yes")


def test_what_was_there_before_comes_back(machine: Machine) -> None:
    there = machine.root / "etc/systemd/system/nightcure-web.service"
    there.parent.mkdir(parents=True)
    there.write_text("[Unit]\nDescription=another's\n")
    before = machine.tree()
    machine.install(f"--oven={machine.oven}", "--yes")
    assert "another's" not in there.read_text()
    machine.install("--uninstall", "--yes")
    left = machine.tree()
    left.pop("etc/nightcure/oven.toml")
    assert left == before


def test_what_a_person_changed_since_is_not_taken_away(machine: Machine) -> None:
    machine.install(f"--oven={machine.oven}", "--yes")
    rules = machine.root / "etc/udev/rules.d/60-nightcure.rules"
    rules.write_text("# mine\n")
    said = machine.install("--uninstall", "--yes")
    assert f"{rules} was changed since; it stays." in said
    assert rules.read_text() == "# mine\n"


def test_settings_edited_in_place_are_kept_and_taken_up(machine: Machine) -> None:
    machine.install(f"--oven={machine.oven}", "--yes")
    mine = machine.root / "etc/nightcure/oven.toml"
    mine.write_text(
        mine.read_text().replace("Estuary box", "My box").replace("pin = 22", "pin = 24")
    )
    assert "gpio=17,27,24=op,dl" in machine.install("--yes")
    assert "My box" in mine.read_text()
    assert machine.calls()[-1] == "systemd-tmpfiles --create nightcure.conf"


def test_the_page_is_announced_when_it_listens(machine: Machine) -> None:
    avahi = machine.root / "etc/avahi/services/nightcure.service"
    machine.install(f"--oven={machine.oven}", "--yes")
    assert not avahi.exists()
    wide = ('address = "127.0.0.1"\nport = 8733', 'address = "0.0.0.0"\nport = 8080')
    machine.write_oven(("nightcure.ledger", LEDGER), wide)
    machine.install(f"--oven={machine.oven}", "--yes")
    assert "<port>8080</port>" in avahi.read_text()
    machine.write_oven(("nightcure.ledger", LEDGER))
    machine.install(f"--oven={machine.oven}", "--yes")
    assert not avahi.exists()


def test_a_command_that_fails_ends_it_and_the_next_run_does_it_all(machine: Machine) -> None:
    fake = Path(machine.env["PATH"].split(":")[0]) / "systemd-tmpfiles"
    good = fake.read_text()
    fake.write_text("#!/bin/sh\necho 'no such group' >&2; exit 1\n")
    said = machine.install(f"--oven={machine.oven}", "--yes", status=2)
    assert "install: 'systemd-tmpfiles" in said
    assert "no such group" in said
    assert not any("enable" in call for call in machine.calls())
    fake.write_text(good)
    machine.install(f"--oven={machine.oven}", "--yes")
    assert machine.calls()[-1].startswith("systemctl enable")
    assert "Nothing to do." in machine.install("--yes")


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (("nightcure.ledger", "mine.ledger"), 'set ledger = "/var/lib/nightcure/nightcure.ledger"'),
        (("[heater]", "[heat]"), "cannot be used"),
        (("name = \"Estuary", "name = Estuary"), "cannot be used"),
    ],
)  # fmt: skip
def test_a_wrong_oven_is_refused_before_anything_is_done(
    machine: Machine, change: tuple[str, str], sentence: str
) -> None:
    before = machine.tree()
    machine.write_oven(change)
    assert sentence in machine.install(f"--oven={machine.oven}", "--yes", status=2)
    assert machine.tree() == before


def test_no_oven_at_all_and_a_block_without_end_are_refused(machine: Machine) -> None:
    assert "name your oven.toml with --oven" in machine.install("--yes", status=2)
    machine.config.write_text(f"{CONFIG}{OURS}\ngpio=17=op,dl\n")
    said = machine.install(f"--oven={machine.oven}", "--yes", status=2)
    assert "mend it by hand" in said
    assert "--purge goes with" in machine.install("--purge", status=2)
