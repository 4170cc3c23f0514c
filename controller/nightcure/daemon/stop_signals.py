"""Signals that would end or stop this process, handed to a thread of their own.

What has to be done on a signal is done by that thread, never in a handler on top of whatever the
main thread was doing: it may take locks and log, it is not interrupted by the next signal, and it
runs though the main thread hangs in a library's or the kernel's code.
"""

from __future__ import annotations

import operator
import signal
import socket
import threading
from collections.abc import Callable
from types import TracebackType
from typing import Any, Self

#: A fault in the program itself, or what cannot be caught: these end it as they are.
FAULTS = {
    signal.SIGKILL, signal.SIGSTOP, signal.SIGABRT, signal.SIGSEGV, signal.SIGBUS,
    signal.SIGFPE, signal.SIGILL, signal.SIGTRAP, signal.SIGSYS,
}  # fmt: skip
#: These neither end nor stop a process, or Python has put them aside (PIPE, XFSZ).
HARMLESS = {
    signal.SIGCHLD, signal.SIGCONT, signal.SIGURG, signal.SIGWINCH, signal.SIGPIPE, signal.SIGXFSZ,
}  # fmt: skip
#: All others: Ctrl-C and Ctrl-Z, a closed terminal, kill, a supply that fails, a limit on time.
TAKEN = frozenset(signal.valid_signals() - FAULTS - HARMLESS)


class StopSignals:
    """While it lasts, each such signal calls `told` with its number, on a thread.

    To be started on the main thread. A storm of signals may be told as fewer.
    """

    def __init__(self, told: Callable[[int], object]) -> None:
        self._told = told
        self._thread = threading.Thread(target=self._work, name="signals", daemon=True)

    def start(self) -> None:
        """Take them from now on."""
        self._ours, theirs = socket.socketpair()
        theirs.setblocking(False)
        self._theirs = theirs
        self._old_fd = signal.set_wakeup_fd(theirs.fileno(), warn_on_full_buffer=False)
        self._thread.start()
        # The number is on its way to the thread before Python runs a handler, so a handler need do
        # nothing. A function of C has no frame in which the next signal could call it again.
        self._old: dict[int, Any] = {n: signal.signal(n, operator.is_) for n in TAKEN}

    def __enter__(self) -> Self:
        self.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, _: TracebackType | None
    ) -> None:
        for number, old in self._old.items():
            signal.signal(number, old)
        signal.set_wakeup_fd(self._old_fd)
        self._theirs.close()
        self._thread.join(1.0)

    def _work(self) -> None:
        while numbers := self._ours.recv(64):
            for number in numbers:
                if number in TAKEN:
                    self._told(number)
        self._ours.close()
