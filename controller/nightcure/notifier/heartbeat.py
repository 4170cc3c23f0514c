"""A heartbeat outwards: an address that is asked as long as all is well. Whoever keeps that address
notices when it is not asked any more: a dead board, a network that is away, a dead notifier."""

from __future__ import annotations

import threading
import time
import urllib.error
import urllib.request
from collections.abc import Callable

from ..ledger.outbox import Outbox

#: How long one answer is waited for, s.
ANSWER_S = 10.0
NAME = "heartbeat"


class Heartbeat:
    """Asks `address` every `every_s` while `well` says so, in a thread of its own."""

    def __init__(
        self, address: str, every_s: float, well: Callable[[], bool], outbox: Outbox
    ) -> None:
        self._address, self._every_s, self._well, self._outbox = address, every_s, well, outbox
        self._stopping = threading.Event()
        self._thread = threading.Thread(target=self._work, name=NAME, daemon=True)
        outbox.join(NAME)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def stop(self) -> None:
        """End; one that is under way is left behind."""
        self._stopping.set()

    def _work(self) -> None:
        while not self._stopping.is_set():
            if self._well():
                self._beat()
            self._stopping.wait(self._every_s)

    def _beat(self) -> None:
        try:
            with urllib.request.urlopen(self._address, timeout=ANSWER_S) as answer:
                answer.read(1)
        except urllib.error.HTTPError as error:
            sentence = f"It answered with status {error.code}."
            self._outbox.failed(NAME, sentence, time.time())
        except Exception:  # the library's own words may hold the address
            self._outbox.failed(NAME, "It was not reached.", time.time())
        else:
            self._outbox.works(NAME)
