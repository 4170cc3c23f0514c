"""The other commands: help worth reading, mistakes told, everything off."""

from __future__ import annotations

import re
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from typer.main import get_command
from typer.testing import CliRunner

from nightcure import __version__
from nightcure.cli.main import app, run
from nightcure.cli.web import say_where
from nightcure.settings import Settings, Web
from nightcure.simulate.scenario import OVEN_FILE
from tests.workshop import Workshop

COMMANDS = {
    "demo": ("--speed", "--port", "--night", "--fault"),
    "rehearse": ("--night", "--fault", "--seed", "--json"),
    "setup": ("--out", "--bus", "--yes", "--sensor", "--passphrase-file"),
    "check": ("--switches", "--yes-heat", "--json"),
    "controller": ("oven.toml",),
    "web": ("--port",),
    "off": ("off",),
}


def test_the_help_names_every_command() -> None:
    result = CliRunner().invoke(app, ["--help"])
    assert result.exit_code == 0
    there = get_command(app).commands.values()  # type: ignore[attr-defined]
    assert len([c for c in there if not c.hidden]) <= 14, "no more than a person looks through"
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


@pytest.mark.parametrize("name", ["controller", "web", "check"])
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


def test_a_page_for_everybody_needs_a_passphrase(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    served: list[Settings] = []
    monkeypatch.setattr("nightcure_web.app.run", served.append)  # no port is opened if it fails
    wide = tmp_path / "oven.toml"
    wide.write_text(OVEN_FILE.read_text().replace('"127.0.0.1"', '"0.0.0.0"'))
    result = CliRunner().invoke(app, ["web", str(wide)])
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert served == []
    for words in ("0.0.0.0", "anyone on the network", "nightcure setup passphrase"):
        assert words in line
    assert line.endswith(".")


def test_a_port_that_is_taken(tmp_path: Path) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text())
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        for command in (["web", str(oven), "--port", port], ["demo", "--port", port]):
            result = CliRunner().invoke(app, command)
            assert result.exit_code == 2
            said = f"nightcure: Port {port} is in use; choose another one with --port.\n"
            assert result.stderr == said


@pytest.mark.parametrize("command", ["web", "demo"])
@pytest.mark.parametrize("port", ["0", "-1", "65536", "http"])
def test_a_port_that_is_none(command: str, port: str) -> None:
    result = CliRunner().invoke(app, [command, "--port", port])
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "--port" in result.stderr


def test_a_ledger_in_a_folder_that_is_not_there(tmp_path: Path) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text().replace('"nightcure.ledger"', '"none/x.ledger"'))
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = str(probe.getsockname()[1])
    result = CliRunner().invoke(app, ["web", str(oven), "--port", port])
    assert result.exit_code == 2
    assert result.stdout == ""
    (line,) = result.stderr.splitlines()
    assert "x.ledger.secret" in line
    assert "the folder of the ledger must be there" in line


def test_the_passphrases_line_fits_the_oven_file(tmp_path: Path) -> None:
    result = CliRunner().invoke(app, ["setup", "passphrase", "--phrase", "kelp and heron"])
    assert result.exit_code == 0
    line = result.stdout.strip()
    found = re.fullmatch(r"passphrase_hash = '(\$argon2id\$.+)'", line)
    assert found is not None, line
    assert PasswordHasher().verify(found[1], "kelp and heron")
    oven = tmp_path / "oven.toml"
    oven.write_text(OVEN_FILE.read_text() + line + "\n")
    from nightcure.settings import load_settings

    assert load_settings(oven).web.passphrase_hash == found[1]
    short = CliRunner().invoke(app, ["setup", "passphrase", "--phrase", "kelp"])
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
        assert "Off: heater (GPIO17); contactor (GPIO27); fan (GPIO22)." in workshop.log()


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        ("nights check x y", "unexpected extra argument"),
        ("plan --lowst 2", "No such option: --lowst"),
        ("nosuch", "No such command 'nosuch'. See 'nightcure --help'."),
        ("nights compare", "Missing argument"),
        ("check --pulse", "No such option: --pulse"),
        ("demo --port x", "valid integer"),
    ],
)
def test_a_mistyped_command_gets_a_sentence(
    typed: str, said: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["nightcure", *typed.split()])
    with pytest.raises(SystemExit) as left:
        run()
    assert left.value.code == 2
    told = capsys.readouterr()
    assert told.out == ""
    (line,) = told.err.splitlines()
    assert line.startswith("nightcure: ")
    assert said in line
    assert line.endswith("--help'.")


def test_no_command_shows_what_there_is(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(sys, "argv", ["nightcure"])
    with pytest.raises(SystemExit) as left:
        run()
    assert left.value.code == 2
    told = capsys.readouterr()
    assert "rehearse" in told.out
    assert told.err == ""


@pytest.mark.parametrize("typed", ["plan --by 8:00 --lowest 2", "rehearse", "survey x.csv"])
def test_what_is_not_installed_is_named_with_its_extra(typed: str) -> None:
    """As on a board installed without the extra: the import of numpy fails."""
    without = (
        "import sys; sys.modules['numpy'] = None; "
        f"sys.argv = ['nightcure', *{typed.split()!r}]; "
        "from nightcure.cli.main import run; run()"
    )
    done = subprocess.run(
        [sys.executable, "-c", without], capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.returncode, done.stdout) == (2, "")
    said = "nightcure: This needs numpy; install nightcure with its extra 'planning'.\n"
    assert done.stderr == said


@pytest.mark.parametrize(
    ("listens", "terminal", "shown"),
    [("0.0.0.0", True, True), ("0.0.0.0", False, False), ("127.0.0.1", True, False)],
)
def test_a_page_that_phones_can_reach_shows_its_code(
    listens: str, terminal: bool, shown: bool, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    """On a terminal; a log, or an address of this machine alone, has no use for one."""
    monkeypatch.setattr("nightcure.cli.web.own_address", lambda: "192.0.2.7")
    monkeypatch.setattr("sys.stdout.isatty", lambda: terminal)
    say_where(Web(address=listens, port=8470, passphrase_hash="$argon2id$a"), "Shed box")
    out, err = capsys.readouterr()
    assert ("▄" in out) is shown
    assert f"http://{'192.0.2.7' if listens == '0.0.0.0' else listens}:8470/" in err
