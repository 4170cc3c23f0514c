"""One service that is told, in a thread of its own: whatever hangs or fails there keeps nobody else
waiting. What it does not take is tried again, in order, until it does.
"""

from __future__ import annotations

import logging
import sqlite3
import threading
import time
from collections.abc import Callable

from ..ledger.outbox import Message, Outbox

log = logging.getLogger("nightcure.notifier")

#: After a failure it is tried again so soon, s, and twice as late after each.
FIRST_RETRY_S, LAST_RETRY_S = 1.0, 20.0
#: What is not news is looked for so often, s: a message for the morning becomes due by itself.
LOOK_S = 5.0
#: A service that has not answered for so long is said to hang, s.
HANGS_S = 60.0


class Refused(Exception):
    """The service has not taken it; says why, without a secret."""


class Service:
    """Hands the outbox's messages to `send`, one after the other.

    Args:
        name: as the page shows it.
        send: returns when the message is taken, raises `Refused` when it is not.
        people: quiet hours count; a machine is told everything at once.
    """

    def __init__(
        self, name: str, send: Callable[[Message], None], outbox: Outbox, people: bool = True
    ) -> None:
        self.name = name
        self._send, self._outbox, self._people = send, outbox, people
        self._news = threading.Event()
        self._stopping = False
        self._busy_s: float | None = None
        self._thread = threading.Thread(target=self._work, name=f"service {name}", daemon=True)
        outbox.join(name)

    def start(self) -> None:
        """Begin."""
        self._thread.start()

    def wake(self) -> None:
        """There may be news."""
        self._news.set()

    def stop(self, timeout_s: float) -> None:
        """End after what is under way, or leave it behind where that takes longer."""
        self._stopping = True
        self._news.set()
        if self._thread.is_alive():
            self._thread.join(timeout_s)

    def look(self, mono_s: float, now_s: float) -> None:
        """Say so where it hangs."""
        busy_s = self._busy_s
        if busy_s is not None and mono_s - busy_s > HANGS_S:
            self._outbox.failed(self.name, "It does not answer; it is waited for.", now_s)

    # ---- the thread -------------------------------------------------------------------------

    def _work(self) -> None:
        retry_s = FIRST_RETRY_S
        while not self._stopping:
            try:
                message = self._outbox.next(self.name, time.time() if self._people else None)
                if message is None:
                    self._news.wait(LOOK_S)
                    self._news.clear()
                    continue
                sentence = self._hand_over(message)
                if not sentence:
                    self._outbox.sent(self.name, message.id, time.time())
                    retry_s = FIRST_RETRY_S
                    continue
                self._outbox.failed(self.name, sentence, time.time())
            except sqlite3.Error as error:  # the outbox's disk: the message is still in it
                log.warning("The outbox cannot be used: %s.", error)
            self._pause(retry_s)
            retry_s = min(2.0 * retry_s, LAST_RETRY_S)

    def _hand_over(self, message: Message) -> str:
        """Why the service did not take it; empty where it did."""
        self._busy_s = time.monotonic()
        try:
            self._send(message)
        except Refused as error:
            return str(error)
        except Exception as error:  # a library's own kind; its words may hold an address
            return f"It failed ({type(error).__name__})."
        finally:
            self._busy_s = None
        return ""

    def _pause(self, for_s: float) -> None:
        end_s = time.monotonic() + for_s
        while not self._stopping and (left_s := end_s - time.monotonic()) > 0.0:
            time.sleep(min(left_s, 0.2))
