"""Runs a module behind all else: `python -m nightcure_web.low_priority SECONDS MODULE`.

It stands back for the controller and for the page's own server, is the first to be ended when
memory is short, and ends itself after so many seconds, whatever becomes of whoever started it.
"""

from __future__ import annotations

import os
import runpy
import signal
import sys
from contextlib import suppress
from pathlib import Path

#: Added to the niceness; a unit that forbids it is nice by itself.
STANDS_BACK = 15
#: Threads of the numerics would run on every core.
ONE_THREAD = ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS")


def stand_back(longest_s: int) -> None:
    """Make this process the last to be served, and end it by SIGALRM after `longest_s`."""
    signal.alarm(longest_s)
    with suppress(OSError):
        os.nice(STANDS_BACK)
    with suppress(OSError):
        Path("/proc/self/oom_score_adj").write_text("1000", encoding="ascii")
    os.environ.update(dict.fromkeys(ONE_THREAD, "1"))


if __name__ == "__main__":
    seconds, module = sys.argv[1:3]
    stand_back(int(seconds))
    sys.argv[:] = sys.argv[2:]
    runpy.run_module(module, run_name="__main__", alter_sys=True)
