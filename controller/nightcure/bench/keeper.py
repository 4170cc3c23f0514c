"""A process that outlives a pulse: if the one that heats dies, it drives the outputs off.

The Raspberry Pi's kernel leaves a dead process's pins driven, and a pulse has no service manager
behind it that would run `nightcure off`.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path
from types import TracebackType
from typing import Self

from ..errors import NightcureError

#: The dead process's pins may be let go of a little later.
TRY_FOR_S = 10.0


class Keeper:
    """While it lasts, this process's death switches the outputs of `oven` off.

    Raises:
        NightcureError: it could not be started; nothing may be heated then.
    """

    def __init__(self, oven: Path) -> None:
        self._process = subprocess.Popen(
            [sys.executable, "-m", __name__, str(oven)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # Ctrl-C and a closed terminal are not for it
        )
        assert self._process.stdout is not None
        if self._process.stdout.readline() != b"ready\n":
            self.__exit__(None, None, None)
            raise NightcureError("The process that would switch off after a crash does not start.")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        try:
            self._process.communicate(b"done\n", timeout=5.0)
        except (OSError, ValueError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait()


def keep(oven: Path) -> None:
    """Wait for `done`; at the end of the input without it, drive everything off."""
    from ..heat.relay import PinBusy, drive_off
    from ..settings import load_settings

    settings = load_settings(oven)
    print("ready", flush=True)
    if sys.stdin.readline() == "done\n":
        return
    end_s = time.monotonic() + TRY_FOR_S
    while True:
        try:
            drive_off(settings)
            return
        except PinBusy:
            if time.monotonic() > end_s:
                raise
            time.sleep(0.2)


if __name__ == "__main__":
    keep(Path(sys.argv[1]))
