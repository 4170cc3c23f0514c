"""Hard work, such as a survey or a plan: in a process of its own, one at a time, never in the way.

Neither this server nor the controller ever waits for it; see `low_priority` for how it stands back.
"""

from __future__ import annotations

import asyncio
import signal
import sys
from asyncio.subprocess import DEVNULL, PIPE
from contextlib import suppress
from typing import NamedTuple

from .problems import Problem


class Done(NamedTuple):
    """What a process left behind."""

    status: int
    out: bytes
    err: bytes


class Jobs:
    """One application's, for whoever has any."""

    def __init__(self) -> None:
        self._one = asyncio.Lock()

    @property
    def busy(self) -> bool:
        """Whether something is being reckoned; more would wait for it."""
        return self._one.locked()

    async def run(self, what: str, longest_s: int, *command: str, sent: bytes = b"") -> Done:
        """Run a module with its arguments, `sent` on its standard input.

        Raises:
            Problem: `what`, such as "The survey", took more than `longest_s`.
        """
        aside = (sys.executable, "-m", "nightcure_web.low_priority", str(longest_s), *command)
        async with self._one:
            process = await asyncio.create_subprocess_exec(
                *aside, stdin=PIPE if sent else DEVNULL, stdout=PIPE, stderr=PIPE
            )
            try:
                out, err = await process.communicate(sent or None)
            finally:
                if process.returncode is None:  # this server is ending
                    with suppress(ProcessLookupError, PermissionError, TimeoutError):
                        process.kill()
                        await asyncio.wait_for(process.wait(), 1.0)
        if process.returncode == -signal.SIGALRM:
            raise Problem(503, f"{what} took more than {longest_s} s and was given up.")
        return Done(process.returncode or 0, out, err)
