"""The live stream: what is true now and what has happened, sent whenever there is news."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Header, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent

from nightcure.errors import NightcureError
from nightcure.ledger.reader import LedgerReader

from .access import client_of
from .problems import Problem, responses
from .services import Services, ServicesOf

router = APIRouter(prefix="/api", tags=["now"])

#: How often the ledger is looked at, s; slower than the demo's ticks, faster than an oven's.
LOOK_S = 0.2
#: A stream says at least this often that it is alive, s.
ALIVE_S = 5.0
#: A reader who comes back gets at most so many events it missed; `/api/events` has them all.
MOST_MISSED = 200
#: Streams open at once: of all, and of one client, which must not take the others' places.
MOST_STREAMS, MOST_OF_ONE = 64, 12
#: After a break a browser comes back this soon, ms.
RETRY_MS = 2000


class LiveStream:
    """What one reader has been told: live states up to one, events up to one."""

    def __init__(self, services: Services, last_event_id: str | None) -> None:
        self._services = services
        self._asked = last_event_id
        self._told_id: int | None = None
        self._told_s = -1.0

    def news(self) -> list[ServerSentEvent]:
        """What is new in the ledger since the last time; nothing while it cannot be read."""
        try:
            reader = self._services.reader
            if self._told_id is None:
                self._told_id = self._begin(reader)
            found = [self._event("happened", e) for e in self._happened(reader)]
            state = reader.live()
        except (NightcureError, Problem):
            return []
        if state is not None and state["host_s"] != self._told_s:
            self._told_s = state["host_s"]
            found.append(self._event("live", {**state, "now_s": time.time()}))
        return found

    def _begin(self, reader: LedgerReader) -> int:
        """The event after which a reader is told: its own last one, else the newest."""
        newest, asked = reader.newest_event(), self._asked
        if asked is None or not asked.isascii() or not asked.isdigit() or len(asked) > 18:
            return newest
        return max(min(int(asked), newest), newest - MOST_MISSED)

    def _happened(self, reader: LedgerReader) -> list[dict[str, Any]]:
        return reader.events(after_id=self._told_id or 0, limit=MOST_MISSED)

    def _event(self, name: str, data: dict[str, Any]) -> ServerSentEvent:
        """One message. Its id is always the last event's: from there a reader goes on."""
        if name == "happened":
            self._told_id = int(data["id"])
        return ServerSentEvent(data=data, event=name, id=str(self._told_id), retry=RETRY_MS)


async def listener(services: ServicesOf, request: Request) -> str:
    """The client that wants to listen, if there is room for it."""
    client = client_of(request)
    if services.listening[client] >= MOST_OF_ONE or services.listening.total() >= MOST_STREAMS:
        raise Problem(503, "Too many pages listen already; close some, or ask /api/status.")
    return client


EXAMPLE = (
    'event: happened\nid: 431\nretry: 2000\ndata: {"id":431,"kind":"night","name":"started", ...}'
    '\n\nevent: live\nid: 431\nretry: 2000\ndata: {"phase":"ramp","control_c":9.1, ...}\n\n'
)


@router.get(
    "/stream",
    response_class=EventSourceResponse,
    responses={
        200: {
            "description": "Events, without end.",
            "content": {"text/event-stream": {"example": EXAMPLE}},
        },
        **responses(401, 422, 503),
    },
)
async def stream(
    services: ServicesOf,
    request: Request,
    client: Annotated[str, Depends(listener)],
    last_event_id: Annotated[
        str | None,
        Header(description="The last id that was heard; the browser sends it by itself."),
    ] = None,
) -> AsyncIterator[ServerSentEvent]:
    """Server-sent events: `live`, each a whole status, and `happened`, each an event.

    The first `live` comes at once. Whoever comes back with `Last-Event-ID` gets the `happened` it
    missed, the last 200 at most. A comment keeps the stream alive when there is no news: then what
    was sent last is growing old, and `host_s` says how old.
    """
    teller = LiveStream(services, last_event_id)
    alive_s = time.monotonic()
    services.listening[client] += 1
    try:
        while not services.closing and not await request.is_disconnected():
            if not services.access.may_read(request):
                return  # logged out meanwhile
            for event in await asyncio.to_thread(teller.news):
                alive_s = time.monotonic()
                yield event
            if time.monotonic() - alive_s > ALIVE_S:
                alive_s = time.monotonic()
                yield ServerSentEvent(comment="nothing new")
            await asyncio.sleep(LOOK_S)
    finally:
        services.listening[client] -= 1
        if not services.listening[client]:
            del services.listening[client]
