"""The live stream: what is true now and what has happened, sent whenever there is news."""

from __future__ import annotations

import asyncio
import json
import time
from collections.abc import AsyncIterator, Iterable
from contextlib import asynccontextmanager, suppress
from typing import Annotated, Any, NamedTuple

from fastapi import APIRouter, Depends, Header, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent

from nightcure.errors import NightcureError

from .access import DEVICE
from .problems import Problem, responses
from .services import Services, ServicesOf

router = APIRouter(prefix="/api", tags=["now"])

#: How often the ledger is looked at, s; slower than the demo's ticks, faster than an oven's.
LOOK_S = 0.2
#: A stream says at least this often that it is alive, s.
ALIVE_S = 5.0
#: A reader who comes back gets at most so many events it missed; `/api/events` has them all.
MOST_MISSED = 200
#: Streams open at once: of all, of those that have not logged in, and of one client.
MOST_STREAMS, MOST_OF_STRANGERS, MOST_OF_ONE = 64, 48, 12
#: After a break a browser comes back this soon, ms.
RETRY_MS = 2000


class Look(NamedTuple):
    """What was found in the ledger at one moment."""

    newest_id: int
    """The last event's."""
    happened: tuple[tuple[int, str], ...]
    """The last events, each with its number, as JSON."""
    live: str
    """The live state as JSON; empty where nothing ever was."""
    live_s: float
    """When the controller wrote it."""


class News:
    """What is new in the ledger: looked up once for all who listen, while anybody does."""

    def __init__(self, services: Services) -> None:
        self._services = services
        self._looking: asyncio.Task[None] | None = None
        self._changed = asyncio.Event()
        self._one_look = asyncio.Lock()
        self._listeners = 0
        self.last: Look | None = None
        """None until the ledger can be read."""

    @asynccontextmanager
    async def heard(self) -> AsyncIterator[None]:
        """While somebody listens; what is known at first is no older than that."""
        if not self._listeners:
            self.last = None
        self._listeners += 1
        try:
            await self._look()
            if self._looking is None or self._looking.done():
                self._looking = asyncio.create_task(self._look_on())
            yield
        finally:
            self._listeners -= 1

    async def wait(self, seen: Look | None, within_s: float) -> None:
        """Until there is something newer than what was seen, for so long at most."""
        if self.last is seen:
            with suppress(TimeoutError):
                await asyncio.wait_for(self._changed.wait(), within_s)

    async def _look_on(self) -> None:
        while self._listeners and not self._services.closing:
            await asyncio.sleep(LOOK_S)
            await self._look()
        self._changed.set()

    async def _look(self) -> None:
        async with self._one_look:
            found = await asyncio.to_thread(self._found, self.last)
            if found is not self.last:
                self.last = found
                self._changed.set()
                self._changed = asyncio.Event()

    def _found(self, before: Look | None) -> Look | None:
        try:
            reader = self._services.reader
            newest = reader.newest_event() if before is None else before.newest_id
            events = reader.events(after_id=newest, limit=MOST_MISSED)
            state = reader.live()
        except (NightcureError, Problem):
            return before
        if before is not None and not events and state and state["host_s"] == before.live_s:
            return before
        happened = (*(before.happened if before else ()), *map(_told, events))[-MOST_MISSED:]
        newest = happened[-1][0] if events else newest
        if state is None:
            return Look(newest, happened, "", -1.0)
        text = _json({**state, "now_s": time.time()})
        return Look(newest, happened, text, float(state["host_s"]))


class LiveStream:
    """What one reader has been told: live states up to one, events up to one."""

    def __init__(self, services: Services, last_event_id: str | None) -> None:
        self._services = services
        self._asked = last_event_id
        self._told_id: int | None = None
        self._told_s = -1.0

    async def news(self, last: Look | None) -> list[ServerSentEvent]:
        """What is new since the last time; nothing until the ledger can be read."""
        if last is None:
            return []
        missed: Iterable[tuple[int, str]] = last.happened
        if self._told_id is None:
            self._told_id = self._begin(last.newest_id)
            if self._told_id < last.newest_id:
                try:
                    missed = await asyncio.to_thread(self._missed, self._told_id)
                except (NightcureError, Problem):
                    self._told_id = None
                    return []
        found = []
        for number, text in missed:
            if number > self._told_id:
                self._told_id = number
                found.append(self._event("happened", text))
        if last.live and last.live_s != self._told_s:
            self._told_s = last.live_s
            found.append(self._event("live", last.live))
        return found

    def _missed(self, after_id: int) -> list[tuple[int, str]]:
        return [
            _told(e) for e in self._services.reader.events(after_id=after_id, limit=MOST_MISSED)
        ]

    def _begin(self, newest: int) -> int:
        """The event after which a reader is told: its own last one, else the newest."""
        asked = self._asked
        if asked is None or not asked.isascii() or not asked.isdigit() or len(asked) > 18:
            return newest
        return max(min(int(asked), newest), newest - MOST_MISSED)

    def _event(self, name: str, text: str) -> ServerSentEvent:
        """One message. Its id is always the last event's: from there a reader goes on."""
        return ServerSentEvent(raw_data=text, event=name, id=str(self._told_id), retry=RETRY_MS)


def _json(data: dict[str, Any]) -> str:
    return json.dumps(data, separators=(",", ":"))


def _told(event: dict[str, Any]) -> tuple[int, str]:
    return int(event["id"]), _json(event)


async def _the_news(request: Request) -> News:
    found: News = request.app.state.news
    return found


async def a_place(services: ServicesOf, request: Request) -> AsyncIterator[None]:
    """Room for one more stream, kept as long as it lasts."""
    listening, whose = services.listening, services.access.whose(request)
    strangers = sum(n for w, n in listening.items() if not w.startswith(DEVICE))
    full = listening.total() >= MOST_STREAMS or (
        strangers >= MOST_OF_STRANGERS and not whose.startswith(DEVICE)
    )
    if full or listening[whose] >= MOST_OF_ONE:
        raise Problem(503, "Too many pages listen already; close some, or ask /api/status.")
    listening[whose] += 1
    try:
        yield
    finally:
        listening[whose] -= 1
        if not listening[whose]:
            del listening[whose]


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
    news: Annotated[News, Depends(_the_news)],
    _: Annotated[None, Depends(a_place)],
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
    async with news.heard():
        while not services.closing and not await request.is_disconnected():
            if not services.access.may_read(request):
                return  # logged out meanwhile
            last = news.last
            for event in await teller.news(last):
                alive_s = time.monotonic()
                yield event
            if time.monotonic() - alive_s > ALIVE_S:
                alive_s = time.monotonic()
                yield ServerSentEvent(comment="nothing new")
            await news.wait(last, 1.0)
