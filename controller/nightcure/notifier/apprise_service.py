"""A service by its address, through the library apprise; only what is used of it is loaded."""

from __future__ import annotations

import logging
import re
import tempfile
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import apprise
from apprise.manager_plugins import NotificationManager

from ..errors import BadInput
from ..ledger.outbox import Message
from .service import Refused
from .wording import with_link

TYPES = {
    "trip": apprise.NotifyType.FAILURE,
    "warning": apprise.NotifyType.WARNING,
    "no_answer": apprise.NotifyType.WARNING,
    "odds": apprise.NotifyType.WARNING,
}
_STATUS = re.compile(r"\berror=(\d{3})\b")


class _Status(logging.Handler):
    """The status with which a service refused, by the thread that asked it; nothing else of the
    library's words, which may hold an address."""

    def __init__(self) -> None:
        super().__init__(logging.WARNING)
        self.of: dict[int, str] = {}

    def emit(self, record: logging.LogRecord) -> None:
        found = _STATUS.search(record.getMessage())
        if found:
            self.of[threading.get_ident()] = found[1]


_status = _Status()


def hush() -> None:
    """Keep the library's words, and those of what it uses, out of every log."""
    for name in ("apprise", "urllib3", "requests"):
        log = logging.getLogger(name)
        log.handlers = [_status] if name == "apprise" else []
        log.propagate = False
        log.setLevel(logging.WARNING)


def load_for(addresses: list[str]) -> None:
    """Load the library's modules for these addresses; all of them where one is not found."""
    manager: Any = NotificationManager()  # type: ignore[no-untyped-call]
    folder = Path(manager.module_path)
    wanted: set[str] = set()
    for address in addresses:
        schema = address.partition("://")[0].lower()
        found = {
            path.relative_to(folder).parts[0]
            for path in folder.rglob("*.py")
            if _declares(path, schema)
        }
        if not found:
            manager.load_modules()
            return
        wanted |= found
    # It imports, by their names, the modules that it finds in a folder.
    with tempfile.TemporaryDirectory() as names:
        for name in wanted:
            (Path(names) / name).touch()
        manager.load_modules(path=names)


def _declares(path: Path, schema: str) -> bool:
    text = path.read_text(encoding="utf-8", errors="replace")
    return f'"{schema}"' in text and "protocol" in text


def sender(name: str, address: str, page: str | None) -> Callable[[Message], None]:
    """What hands a message to one service.

    Raises:
        BadInput: the library knows no such service, or the address lacks something.
    """
    hush()
    service = apprise.Apprise.instantiate(address, suppress_exceptions=True)
    if service is None:
        schema = address.partition("://")[0][:20]
        raise BadInput(
            f"The service '{name}' cannot be used: '{schema}://' is not known to apprise, or its "
            f"address lacks a part."
        )

    def send(message: Message) -> None:
        _status.of.pop(threading.get_ident(), None)
        taken = service.notify(
            title=message.title,
            body=with_link(message, page),
            notify_type=TYPES.get(message.kind, apprise.NotifyType.INFO),
        )
        if not taken:
            status = _status.of.pop(threading.get_ident(), None)
            raise Refused(
                "It was not reached, or did not take the message."
                if status is None
                else f"It refused the message with status {status}."
            )

    return send
