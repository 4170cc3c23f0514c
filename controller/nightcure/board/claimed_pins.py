"""The pins that a controller has claimed, written down for `nightcure off`.

`off` runs when oven.toml may have been changed or spoiled since, so it needs them from elsewhere.
They are kept twice: in the service's runtime folder, which is gone after a stop or a reboot, and
beside the ledger. Standard library only.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from pathlib import Path
from typing import NamedTuple

#: The service manager names its folders in these; otherwise they are where the unit has them.
RUNTIME_VARIABLE, STATE_VARIABLE = "RUNTIME_DIRECTORY", "STATE_DIRECTORY"
RUNTIME, STATE = "/run/nightcure", "/var/lib/nightcure"
SUFFIX = ".pins"


class ClaimedPin(NamedTuple):
    """An output as it was claimed, or as far as it is known."""

    what: str
    pin: int
    active_high: bool | None


def service_folder(variable: str) -> Path | None:
    """The first folder that the service manager names in `variable`; None without one."""
    named = os.environ.get(variable, "").partition(":")[0]
    return Path(named) if named else None


def write_claimed(ledger: Path, outputs: Mapping[str, tuple[int, bool]]) -> None:
    """Write down what is claimed: name -> (pin, active high). What fails is logged.

    Nothing depends on the files as long as oven.toml can be read, so no night is refused for them.
    """
    rows = {what: {"pin": pin, "active_high": high} for what, (pin, high) in outputs.items()}
    data = json.dumps(rows, indent=1).encode() + b"\n"
    for folder in (service_folder(RUNTIME_VARIABLE), ledger.parent):
        if folder is None:
            continue
        path = folder / (ledger.name + SUFFIX)
        try:
            if not (path.exists() and path.read_bytes() == data):
                _replace(path, data)
        except OSError as error:
            import logging  # a third of what `off` would have to load

            log = logging.getLogger("nightcure")
            log.warning("%s could not be written (%s).", path, error.strerror)


def _replace(path: Path, data: bytes) -> None:
    """In one step: a power cut leaves the old file or the new one."""
    fresh = path.with_name(path.name + ".new")
    with open(fresh, "wb") as file:
        file.write(data)
        file.flush()
        os.fsync(file.fileno())
    fresh.replace(path)


def read_claimed(path: Path) -> list[ClaimedPin]:
    """What `write_claimed` wrote.

    Raises:
        OSError: it cannot be read.
        ValueError: it is not such a file.
    """
    rows = json.loads(path.read_bytes())
    if not isinstance(rows, dict):
        raise ValueError("not a table of pins")
    found = []
    for what, row in rows.items():
        try:
            found.append(ClaimedPin(what, int(row["pin"]), bool(row["active_high"])))
        except (KeyError, TypeError):
            raise ValueError(f"{what} is not a pin") from None
    return found
