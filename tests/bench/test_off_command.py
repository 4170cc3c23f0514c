"""What `nightcure off` takes from nothing to the pins off, against Python's own start.

`pytest tests/bench/test_off_command.py --benchmark-only`; with root, also with nothing in the
machine's cache, which slows down whatever else runs.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from nightcure.simulate.scenario import OVEN_FILE

DROP = Path("/proc/sys/vm/drop_caches")


def forget() -> None:
    """Nothing of the disk is left in memory."""
    os.sync()
    DROP.write_text("3\n")


@pytest.mark.parametrize("cold", [False, True] if os.geteuid() == 0 else [False])
@pytest.mark.parametrize("what", ["off", "python"])
def test_off(benchmark: Any, pins: Path, what: str, cold: bool) -> None:
    words = ["-m", "nightcure", "off", str(OVEN_FILE)] if what == "off" else ["-c", "pass"]

    def run() -> None:
        subprocess.run([sys.executable, *words], check=True, stderr=subprocess.DEVNULL)

    benchmark.pedantic(run, setup=forget if cold else None, rounds=7)
