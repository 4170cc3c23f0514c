"""A process beside a pulse: if the one that heats dies or stands still, it switches off.

The Raspberry Pi's kernel leaves a dead process's pins driven, and a pulse has no service manager
behind it that would kill a process that stands still and then run `nightcure off`.
"""

from __future__ import annotations

import os
import select
import signal
import subprocess
import sys
import threading
import time
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Self

from ..errors import NightcureError

#: How often the process that heats says that it lives, and the silence after which it is killed.
BEAT_S, SILENT_S = 1.0, 8.0
#: A dead process's pins may be let go of a little later.
TRY_FOR_S = 10.0


class PulseSupervisor:
    """While it lasts, this process's death or standstill switches the outputs of `oven` off.

    Raises:
        NightcureError: it could not be started; nothing may be heated then.
    """

    def __init__(self, oven: Path) -> None:
        self._done = threading.Event()
        self._beating = threading.Thread(target=self._beat, name="keeper", daemon=True)
        self._process = subprocess.Popen(
            [sys.executable, "-m", __name__, str(oven), str(os.getpid())],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # Ctrl-C and a closed terminal are not for it
        )
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._pipe = self._process.stdin
        if self._process.stdout.readline() != b"ready\n":
            self._end()
            raise NightcureError("The process that would switch off after a crash does not start.")

    def __enter__(self) -> Self:
        self._beating.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        self._done.set()
        self._beating.join(2 * BEAT_S)
        self._end()

    def _beat(self) -> None:
        with suppress(OSError, ValueError):
            while not self._done.wait(BEAT_S):
                self._pipe.write(b".")
                self._pipe.flush()

    def _end(self) -> None:
        try:
            self._process.communicate(b"done", timeout=5.0)
        except (OSError, ValueError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait()


def keep(oven: Path, heating_pid: int) -> None:
    """Wait for `done`; after a silence, or at the end of the input, switch everything off."""
    from ..board.off import main as off

    print("ready", flush=True)
    while select.select([sys.stdin], [], [], SILENT_S)[0]:
        said = os.read(sys.stdin.fileno(), 4096)
        if said.endswith(b"done"):
            return
        if not said:
            break
    else:
        if os.getppid() == heating_pid:  # it holds the pins: only its end lets go of them
            os.kill(heating_pid, signal.SIGKILL)
    end_s = time.monotonic() + TRY_FOR_S
    while off([str(oven)]) != 0 and time.monotonic() < end_s:
        time.sleep(0.2)


if __name__ == "__main__":
    keep(Path(sys.argv[1]), int(sys.argv[2]))
