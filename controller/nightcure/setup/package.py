"""What the Debian package leaves to setup: boot settings, the page's name, start of the service."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

from ..errors import BadInput

#: Where the service looks for its settings.
SERVICE_OVEN = Path("/etc/nightcure/oven.toml")


def installer() -> Path | None:
    """The installer that the package brings beside the program; None where it is not of one."""
    path = Path(sys.prefix) / "systemd" / "install"
    return path if path.exists() else None


def put_in_place(yes: bool) -> bool:
    """Let the installer show what follows from the settings, ask, and do it; whether it was done.

    Raises:
        BadInput: it is not this user's to do.
    """
    path = installer()
    assert path is not None, "of a package"
    if os.geteuid() != 0:
        raise BadInput("The service is root's to start: sudo nightcure setup.")
    words = [sys.executable, str(path), *(["--yes"] if yes else [])]
    return subprocess.run(words, check=False).returncode == 0
