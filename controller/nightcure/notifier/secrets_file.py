"""Addresses and passwords of the services: a credential of the service manager, or a file that
nobody else may read. What is in it is never part of a sentence, a log or a record.
"""

from __future__ import annotations

import os
import stat
import tomllib
from pathlib import Path
from typing import Annotated

from pydantic import Field, SecretStr, ValidationError

from ..errors import BadInput
from ..settings import Notifications, Section

#: systemd.exec, LoadCredential=: the folder of a unit's credentials.
CREDENTIALS_VARIABLE, CREDENTIAL = "CREDENTIALS_DIRECTORY", "notifications"
ServiceName = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9 _-]{0,39}$")]


class Secrets(Section):
    """What the file holds."""

    services: dict[ServiceName, SecretStr] = Field(default_factory=dict)
    """By a name of your own: an address as apprise takes it."""
    heartbeat: SecretStr | None = None
    """An http(s) address that is asked as long as everything is well."""
    mqtt_password: SecretStr | None = None


def load_secrets(notifications: Notifications) -> Secrets:
    """What the notifier may know; empty where nothing names a file.

    Raises:
        BadInput: it cannot be read, others may read it, or it is not as it should be.
    """
    folder = os.environ.get(CREDENTIALS_VARIABLE)
    path = Path(folder) / CREDENTIAL if folder else None
    if path is None or not path.exists():
        path = notifications.secrets
        if path is None:
            return Secrets()
        _refuse_open(path)
    try:
        data = tomllib.loads(path.read_text(encoding="utf-8-sig"))
    except FileNotFoundError:
        raise BadInput(f"{path}: there is no such file.") from None
    except OSError as error:
        raise BadInput(f"{path} cannot be read: {error.strerror}.") from None
    except (UnicodeDecodeError, tomllib.TOMLDecodeError, RecursionError):
        # The parser's own words may quote what is in it.
        raise BadInput(
            f"{path} is not TOML; it should be as [services] with lines such as "
            f'phone = "ntfys://ntfy.example/topic".'
        ) from None
    try:
        secrets = Secrets.model_validate(data)
    except ValidationError as error:
        raise BadInput(*(_sentence(path, fault["loc"]) for fault in error.errors())) from None
    for name, address in secrets.services.items():
        if "://" not in address.get_secret_value():
            raise BadInput(f"{path}: services.{name} is no address; it should have :// in it.")
    beat = secrets.heartbeat
    if beat is not None and not beat.get_secret_value().startswith(("http://", "https://")):
        raise BadInput(f"{path}: heartbeat should begin with http:// or https://.")
    return secrets


def _refuse_open(path: Path) -> None:
    try:
        mode = path.stat().st_mode
    except OSError:
        return  # told where it is read
    if stat.S_IMODE(mode) & 0o077:
        raise BadInput(f"{path} holds secrets and others may read it: chmod 600 {path}.")


def _sentence(path: Path, loc: tuple[int | str, ...]) -> str:
    """Of a fault: where it is; never what stands there."""
    known = ", ".join(Secrets.model_fields)
    where = ".".join(str(part) for part in loc if part != "[key]")
    return f"{path}: {where} cannot be used; known here are {known}, each value text in quotes."
