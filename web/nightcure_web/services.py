"""What every route needs: settings, the ledger's reading side, the inbox, and who is who."""

from __future__ import annotations

import asyncio
import threading
import time
from collections import Counter
from collections.abc import AsyncIterator, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import asynccontextmanager, contextmanager, suppress
from pathlib import Path
from typing import Annotated, Any

from fastapi import Depends, Request, Response, Security
from fastapi.security import APIKeyCookie

from nightcure.cure.card import Card, parse_card
from nightcure.errors import BadInput
from nightcure.ledger.inbox import Inbox
from nightcure.ledger.notes import NotesWriter
from nightcure.ledger.reader import LedgerReader
from nightcure.settings import Settings
from nightcure.settings.cautions import ACCEPTED_AS

from .access import COOKIE, Access
from .problems import Problem

#: How long a command waits for the controller's answer, s, and how often it looks.
ANSWER_S, LOOK_S = 6.0, 0.05
#: After what took long, for as long as it took times those that wait, but no longer than this, s.
LONGEST_REST_S = 2.0


class Turns:
    """For answers that take long to reckon: one at a time, whoever asks; the others wait.

    After each there is a rest, the longer the more wait: Python runs one thread at a time, and a
    stop wants its part of that.
    """

    def __init__(self, most_waiting: int = 24, most_of_one: int = 8) -> None:
        self._one = asyncio.Lock()
        self._most, self._most_of_one = most_waiting, most_of_one
        self._asking: Counter[str] = Counter()
        self._rest_until_s = 0.0

    @asynccontextmanager
    async def turn(self, client: str) -> AsyncIterator[None]:
        """Wait for it. Raises Problem: too many wait already."""
        if self._asking.total() >= self._most or self._asking[client] >= self._most_of_one:
            raise Problem(
                503, "Much is being asked of this page just now; ask again.", {"Retry-After": "5"}
            )
        self._asking[client] += 1
        try:
            async with self._one:
                await asyncio.sleep(max(0.0, self._rest_until_s - time.monotonic()))
                began_s = time.monotonic()
                try:
                    yield
                finally:
                    now_s = time.monotonic()
                    rest_s = (now_s - began_s) * (self._asking.total() - 1)
                    self._rest_until_s = now_s + min(rest_s, LONGEST_REST_S)
        finally:
            self._asking[client] -= 1
            if not self._asking[client]:
                del self._asking[client]


class Services:
    """One per application."""

    def __init__(self, settings: Settings, oven: Path | None = None) -> None:
        self.settings = settings
        self.oven = oven
        """The file they came from; None in a demo."""
        self.access = Access(settings)
        self.closing = False
        """The server is about to stop: streams end."""
        self.listening: Counter[str] = Counter()
        """Open streams by client."""
        self.turns, self.exports = Turns(), Turns()
        self._reader: LedgerReader | None = None
        self._inbox: Inbox | None = None
        self._notes: NotesWriter | None = None
        self._lock = threading.Lock()
        # Threads of their own: nobody's reading is ahead of a stop, or of the login before it.
        self._commands = ThreadPoolExecutor(1, "commands")
        self._logins = ThreadPoolExecutor(1, "logins")

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

    def own_cards(self) -> dict[str, Card]:
        """Resin cards that people made on this page, by name; none on a new oven.

        One that an earlier version kept and this one cannot read is left out.
        """
        found = {}
        for kept in self.reader.cards() if self.settings.ledger.exists() else ():
            with suppress(BadInput):
                card = parse_card(kept, "a kept card")
                found[card.name] = card
        return found

    @property
    def cautions_accepted(self) -> bool:
        """Whether somebody has accepted the cautions for this oven."""
        return self.reader.accepted(ACCEPTED_AS) is not None

    async def log_in(self, passphrase: str, request: Request, response: Response) -> None:
        """Set the cookie, or raise a Problem."""
        loop = asyncio.get_running_loop()
        await loop.run_in_executor(self._logins, self.access.log_in, passphrase, request, response)

    def _put(self, word: str, args: dict[str, Any], who: str) -> int:
        if self._inbox is None:
            _ = self.reader
            self._inbox = Inbox(self.settings.ledger)
        return self._inbox.put(word, args, who, time.time())

    def _outcome(self, command_id: int) -> tuple[str, str] | None:
        assert self._inbox is not None
        return self._inbox.outcome(command_id)

    async def command(self, word: str, args: dict[str, Any], who: str) -> tuple[str, str]:
        """Post a command and wait for the controller's answer: outcome and sentence."""
        loop = asyncio.get_running_loop()
        command_id = await loop.run_in_executor(self._commands, self._put, word, args, who)
        end_s = time.monotonic() + ANSWER_S
        while time.monotonic() < end_s:
            answer = await loop.run_in_executor(self._commands, self._outcome, command_id)
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


async def _turn(request: Request, services: ServicesOf) -> AsyncIterator[None]:
    async with services.turns.turn(services.access.whose(request)):
        yield


async def _export(request: Request, services: ServicesOf) -> AsyncIterator[None]:
    async with services.exports.turn(services.access.whose(request)):
        yield


#: Of a route whose answer takes long to reckon; and of one that reckons while it is sent.
InTurn, AsExport = Depends(_turn, scope="function"), Depends(_export, scope="request")
