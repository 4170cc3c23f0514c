"""A command at a terminal of 80 columns: wait for words, type an answer, see what was shown."""

from __future__ import annotations

import fcntl
import os
import pty
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

#: What a terminal's keys and its closing send.
KEYS = (signal.SIGINT, signal.SIGQUIT, signal.SIGTSTP, signal.SIGHUP)


class Terminal:
    """A nightcure command with a pseudo-terminal of its own."""

    def __init__(self, *arguments: str, folder: Path, environment: dict[str, str]) -> None:
        self.text = ""
        self._read_to = 0
        self.status: int | None = None
        self.pid, self._fd = pty.fork()
        if self.pid == 0:  # pragma: no cover (another process)
            os.chdir(folder)
            for number in KEYS:  # whoever runs the tests in the background may ignore them
                signal.signal(number, signal.SIG_DFL)
            env = {**os.environ, **environment, "TERM": "xterm", "COLUMNS": "80"}
            os.execve(sys.executable, [sys.executable, "-m", "nightcure", *arguments], env)
        fcntl.ioctl(self._fd, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))

    def expect(self, words: str, within_s: float = 30.0) -> None:
        """Wait until `words` are shown after what was expected last."""
        end_s = time.monotonic() + within_s
        while words not in self.text[self._read_to :]:
            if not self._read(end_s - time.monotonic()):
                raise AssertionError(f"'{words}' was not shown; shown was:\n{self.text}")
        self._read_to = self.text.index(words, self._read_to) + len(words)

    def type(self, text: str) -> None:
        """As if typed; a newline is Enter, \\x03 is Ctrl-C, \\x04 is Ctrl-D."""
        time.sleep(0.05)  # a hidden line's terminal is set before its prompt is read here
        os.write(self._fd, text.encode())

    def answer(self, words: str, text: str) -> None:
        """Wait for a question and answer it."""
        self.expect(words)
        self.type(text + "\n")

    def end(self, within_s: float = 30.0) -> int:
        """Wait for its end; its exit status."""
        if self.status is None:
            end_s = time.monotonic() + within_s
            while self._read(end_s - time.monotonic()):
                pass
            if time.monotonic() >= end_s:
                self.kill(signal.SIGKILL)
            _, status = os.waitpid(self.pid, 0)
            self.status = os.waitstatus_to_exitcode(status)
            os.close(self._fd)
        return self.status

    def kill(self, number: int) -> None:
        """Send a signal."""
        os.kill(self.pid, number)

    def _read(self, within_s: float) -> bool:
        if within_s <= 0 or not select.select([self._fd], [], [], within_s)[0]:
            return False
        try:
            data = os.read(self._fd, 65536)
        except OSError:  # its other end was closed
            return False
        self.text += data.decode(errors="replace")
        return bool(data)
