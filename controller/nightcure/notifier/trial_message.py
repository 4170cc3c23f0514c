"""One message to every service that is declared: `nightcure check --message`."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import NamedTuple

from ..ledger.outbox import Message, Outbox
from ..settings import Settings
from ..settings.notifications import Kind
from .secrets_file import Secrets
from .service import Refused
from .wording import Writer, page_of

#: How long a service may take, s.
PATIENCE_S = 20.0


class Tried(NamedTuple):
    """What became of the message at one service."""

    service: str
    taken: bool
    sentence: str


def send_test_message(settings: Settings, secrets: Secrets) -> list[Tried]:
    """Send one to each; none waits longer than `PATIENCE_S` for another.

    Raises:
        BadInput: a service cannot be used as it is declared.
    """
    told = settings.notifications
    writer, now_s = Writer(settings.name, told), time.time()
    text = "If you read this, the oven can reach you."
    message = writer.message(f"test {now_s}", Kind.TEST, text, now_s, now_s)
    senders: dict[str, Callable[[Message], None]] = {}
    if secrets.services:
        from .apprise_service import load_for, sender

        load_for([address.get_secret_value() for address in secrets.services.values()])
        for name, address in secrets.services.items():
            senders[name] = sender(name, address.get_secret_value(), page_of(settings))
    with TemporaryDirectory() as folder:
        outbox = Outbox(Path(folder) / "outbox")
        if told.mqtt is not None:
            from .mqtt import NAME, Publisher

            word = secrets.mqtt_password
            password = None if word is None else word.get_secret_value()
            publisher = Publisher(settings, told.mqtt, password, outbox, check=True)
            senders[NAME] = lambda message: _through(publisher, message)
        found = [_Try(name, send, message) for name, send in senders.items()]
        end_s = time.monotonic() + PATIENCE_S
        for one in found:
            one.thread.join(max(end_s - time.monotonic(), 0.0))
        return [one.result() for one in found]


def _through(publisher: object, message: Message) -> None:
    from .mqtt import Publisher

    assert isinstance(publisher, Publisher)
    publisher.start()
    try:
        end_s = time.monotonic() + PATIENCE_S / 2
        while not publisher.client.is_connected() and time.monotonic() < end_s:
            time.sleep(0.05)
        publisher.send(message)
    finally:
        publisher.stop()


class _Try:
    """One service, in a thread of its own."""

    def __init__(self, name: str, send: Callable[[Message], None], message: Message) -> None:
        self.name, self._send, self._message = name, send, message
        self._why: str | None = f"It did not answer within {PATIENCE_S:g} s."
        self.thread = threading.Thread(target=self._work, daemon=True)
        self.thread.start()

    def _work(self) -> None:
        try:
            self._send(self._message)
        except Refused as error:
            self._why = str(error)
        except Exception as error:  # a library's own words may hold an address
            self._why = f"It failed ({type(error).__name__})."
        else:
            self._why = None

    def result(self) -> Tried:
        """What became of it."""
        taken = self._why is None
        return Tried(self.name, taken, self._why or "The message was taken. Did it arrive?")
