"""What the installer is made of: steps, files written whole, the sources' mark."""

from __future__ import annotations

import hashlib
import os
import tomllib
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

HERE = Path(__file__).resolve().parent
SOURCES = HERE.parent
STATE = "var/lib/nightcure"
#: The Debian package brings program, units and rules; what follows from oven.toml is left to do.
PACKAGED = (SOURCES / "pyvenv.cfg").exists()


class Refused(Exception):
    """What is wrong, where, what would be right."""


class Step(NamedTuple):
    """One thing to do: what a person is told, and the doing."""

    sentence: str
    do: Callable[[], object]


def digest(data: bytes) -> str:
    """SHA-256, hexadecimal."""
    return hashlib.sha256(data).hexdigest()


def sources_digest() -> str:
    """Of everything that goes into the program."""
    whole = hashlib.sha256((SOURCES / "pyproject.toml").read_bytes())
    for folder in ("controller", "web"):
        for path in sorted((SOURCES / folder).rglob("*")):
            parts = path.relative_to(SOURCES).parts
            if path.is_file() and not {"__pycache__", "node_modules", "static"}.intersection(parts):
                whole.update("/".join(parts).encode() + b"\0" + path.read_bytes())
    return whole.hexdigest()


def write(path: Path, data: bytes, mode: int = 0o644) -> None:
    """In one step, so that a power cut leaves the old file or the new one."""
    path.parent.mkdir(parents=True, exist_ok=True)
    fresh = path.with_name(f".{path.name}.new")
    fresh.unlink(missing_ok=True)
    with open(fresh, "xb", opener=lambda name, flags: os.open(name, flags, mode)) as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)


def read_oven(path: Path) -> dict[str, Any]:
    """The tables of oven.toml, as far as the installer needs them."""
    try:
        oven = tomllib.loads(path.read_text("utf-8"))
        ledger = Path(oven.get("ledger", "nightcure.ledger"))
        int(oven["heater"]["pin"])
    except FileNotFoundError:
        raise Refused(f"{path}: there is no such file; name your oven.toml with --oven.") from None
    except (OSError, ValueError, KeyError, TypeError) as error:
        raise Refused(f"{path} cannot be used: {error!r}.") from None
    if not ledger.is_absolute():
        raise Refused(
            f"{path}: ledger is '{ledger}', beside the settings, where the service may not write; "
            f'set ledger = "/{STATE}/nightcure.ledger".'
        )
    return oven
