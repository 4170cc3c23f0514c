"""The file of secrets: nobody else may read it, and no sentence repeats what is in it."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from nightcure.cli.main import app
from nightcure.errors import BadInput
from nightcure.notifier.apprise_service import sender
from nightcure.notifier.notifier import nobody
from nightcure.notifier.secrets_file import Secrets, load_secrets
from tests.test_settings import GOOD as GOOD_OVEN

from .services import SECRET, telling, told, write_secrets

GOOD = f"""
heartbeat = "https://beat.example/{SECRET}"
mqtt_password = "{SECRET}"
[services]
phone = "ntfys://{SECRET}"
"""


def test_what_is_right_is_read(tmp_path: Path) -> None:
    path = write_secrets(tmp_path / "s.toml", GOOD)
    secrets = load_secrets(told(secrets=str(path)))
    assert secrets.services["phone"].get_secret_value() == f"ntfys://{SECRET}"
    assert SECRET not in repr(secrets)
    assert load_secrets(told()) == Secrets()


@pytest.mark.parametrize("mode", [0o640, 0o604, 0o644])
def test_a_file_that_others_may_read_is_refused(tmp_path: Path, mode: int) -> None:
    path = write_secrets(tmp_path / "s.toml", GOOD)
    path.chmod(mode)
    with pytest.raises(BadInput, match=r"others may read it: chmod 600"):
        load_secrets(told(secrets=str(path)))


@pytest.mark.parametrize(
    "text",
    [
        f"services = '{SECRET}'",
        f"[services]\nphone = {SECRET}",
        f"[services]\nphone = ['{SECRET}']",
        f"[services]\nphone = '{SECRET}'",
        f"[services]\n'{SECRET}\\n' = 'ntfy://x",
        f"heartbeat = '{SECRET}'",
        f"mqtt_pasword = '{SECRET}'",
        f"mqtt_password = {{ x = '{SECRET}' }}",
        f"\x00{SECRET}",
    ],
)
def test_a_wrong_file_gets_a_sentence_that_repeats_nothing(tmp_path: Path, text: str) -> None:
    path = write_secrets(tmp_path / "s.toml", text)
    with pytest.raises(BadInput) as raised:
        load_secrets(told(secrets=str(path)))
    said = str(raised.value)
    assert str(path) in said
    assert "should be" in said or "known here are" in said or "should" in said
    assert SECRET not in said


def test_a_missing_file(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="there is no such file"):
        load_secrets(told(secrets=str(tmp_path / "none")))


def test_the_service_managers_credential_goes_ahead(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "notifications").write_text('[services]\nmail = "mailto://x:y@z"\n')
    monkeypatch.setenv("CREDENTIALS_DIRECTORY", str(tmp_path))
    assert list(load_secrets(told(secrets="/nowhere")).services) == ["mail"]


def test_a_service_that_nobody_knows(tmp_path: Path) -> None:
    with pytest.raises(BadInput, match="'phone' cannot be used") as raised:
        sender("phone", f"nosuch://{SECRET}", None)
    assert SECRET not in str(raised.value)
    with pytest.raises(BadInput, match="Nobody is to be told"):
        nobody(telling(tmp_path / "x.ledger"), Secrets())


@pytest.mark.parametrize(
    ("table", "sentence"),
    [
        ("", "Nobody is to be told: name a file"),
        ('secrets = "none.toml"', "there is no such file"),
        ("[notifications.mqtt]\nhost = 'b'\ntls = true\nca = 'none.pem'", "cannot be used"),
    ],
)
def test_the_command_says_what_is_wrong(tmp_path: Path, table: str, sentence: str) -> None:
    oven = tmp_path / "oven.toml"
    oven.write_text(f"{GOOD_OVEN}\n[notifications]\n{table}\n")
    done = CliRunner().invoke(app, ["notifier", str(oven)])
    assert done.exit_code == 2
    assert sentence in " ".join(done.output.split())
    assert "Traceback" not in done.output
