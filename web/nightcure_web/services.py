"""What every route needs: settings, the ledger's reading side, the inbox, and who is who."""

from __future__ import annotations

import asyncio
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

from fastapi import Depends, Request, Security
from fastapi.security import APIKeyCookie

from nightcure.cautions import ACCEPTED_AS
from nightcure.errors import BadInput
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.settings import Settings

from .access import COOKIE, Access
from .problems import Problem

#: How long a command waits for the controller's answer, s, and how often it looks.
ANSWER_S, LOOK_S = 6.0, 0.05


class Services:
    """One per application."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.access = Access(settings)
        self.closing = False
        """The server is about to stop: streams end."""
        self.listening: Counter[str] = Counter()
        """Open streams by client."""
        self._reader: LedgerReader | None = None
        self._inbox: Inbox | None = None
        self._notes: NotesWriter | None = None
        self._lock = threading.Lock()

    @property
    def reader(self) -> LedgerReader:
        """The ledger; a 503 problem while the controller has not made it, or it is none."""
        if self._reader is None:
            if not self.settings.ledger.exists():
                raise Problem(503, "The controller has not made its ledger yet; is it running?")
            try:
                self._reader = LedgerReader(self.settings.ledger)
            except BadInput as error:  # not the asker's: the server's own file is wrong
                raise Problem(503, str(error)) from None
        return self._reader

    @contextmanager
    def notes(self) -> Iterator[NotesWriter]:
        """What people write by hand, for one at a time."""
        with self._lock:
            if self._notes is None:
                _ = self.reader
                self._notes = NotesWriter(self.settings.ledger)
            yield self._notes

    @property
    def cautions_accepted(self) -> bool:
        """Whether somebody has accepted the cautions for this oven."""
        return self.reader.accepted(ACCEPTED_AS) is not None

    def put(self, word: str, args: dict[str, Any], who: str) -> int:
        """Post a command."""
        with self._lock:
            if self._inbox is None:
                _ = self.reader
                self._inbox = Inbox(self.settings.ledger)
            return self._inbox.put(word, args, who, time.time())

    def _outcome(self, command_id: int) -> tuple[str, str] | None:
        with self._lock:
            assert self._inbox is not None
            return self._inbox.outcome(command_id)

    async def command(self, word: str, args: dict[str, Any], who: str) -> tuple[str, str]:
        """Post a command and wait for the controller's answer: outcome and sentence."""
        command_id = await asyncio.to_thread(self.put, word, args, who)
        end_s = time.monotonic() + ANSWER_S
        while time.monotonic() < end_s:
            answer = await asyncio.to_thread(self._outcome, command_id)
            if answer is not None:
                return answer
            await asyncio.sleep(LOOK_S)
        raise Problem(
            504,
            f"The controller has not answered '{word}'. If the oven must be off now, pull the "
            f"heater's plug, then look whether the controller runs.",
        )


async def the_services(request: Request) -> Services:
    """The application's services."""
    services: Services = request.app.state.services
    return services


ServicesOf = Annotated[Services, Depends(the_services)]


async def who_asks(
    request: Request,
    services: ServicesOf,
    _: Annotated[
        str | None,
        Security(APIKeyCookie(name=COOKIE, scheme_name="session", auto_error=False)),
    ],
) -> str:
    """Who asks for a change; a Problem before anything else of the request is looked at."""
    return services.access.require_command(request)


Who = Annotated[str, Depends(who_asks)]
