"""The connections to the page's server: how many, which makes room, how long a request may take.

Whoever connects gets in; where there is no room, another connection is closed for it. New ones,
requests that are still coming, those being answered, and what somebody who is logged in changes
have a share each, and it is the oldest of whichever client has the most that goes. So whoever holds
connections open, half a request sent or an answer unread, takes them from himself; a stop is heard.
"""

from __future__ import annotations

import asyncio
import logging
import resource
import socket
import time
from collections import Counter
from contextlib import suppress
from enum import IntEnum
from typing import Any

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send
from uvicorn.protocols.http.h11_impl import H11Protocol

from .access import Access
from .login_limits import neighbourhood

#: Connections at once; fewer where the process may not open so many files, some being for others.
MOST, SPARE_FILES = 320, 128
#: From the connection, or the answer before, until a request's head is whole; then until its body
#: is; and until something of an answer is read: s.
HEAD_S, BODY_S, READ_S = 10.0, 15.0, 30.0
#: Connections accepted before those that are there are served again, and those that may wait for
#: it in the kernel.
AT_ONCE, QUEUED = 32, 1024
READS = ("GET", "HEAD")
#: Either announces a body.
LENGTHS = (b"content-length", b"transfer-encoding")


class Stage(IntEnum):
    """How far a connection is."""

    IDLE = 0
    """It has had an answer, and may ask for more."""
    NEW = 1
    """Nothing of it was read yet: a whole request may be waiting."""
    COMING = 2
    """A part of its request was read."""
    ANSWERED = 3
    URGENT = 4
    """It changes something and is of somebody who is logged in: a stop is among these."""


SHARES = {
    Stage.IDLE: 0.05,
    Stage.NEW: 0.35,
    Stage.COMING: 0.15,
    Stage.ANSWERED: 0.3,
    Stage.URGENT: 0.15,
}


class Room:
    """The connections of one server."""

    def __init__(self, most: int | None = None) -> None:
        files, _ = resource.getrlimit(resource.RLIMIT_NOFILE)
        self.most = most or max(16, min(MOST, files - SPARE_FILES))
        self._place: dict[Connection, Stage] = {}
        self._at: dict[Stage, dict[str, dict[Connection, None]]] = {s: {} for s in Stage}
        """By stage and by whose they are, in the order in which they came to it."""

    def __len__(self) -> int:
        return len(self._place)

    def place(self, connection: Connection, stage: Stage) -> None:
        """A connection has come to a stage; another is closed where there are too many."""
        self.left(connection)
        if len(self._place) >= self.most:
            self._least().close()
        self._place[connection] = stage
        self._at[stage].setdefault(connection.whose, {})[connection] = None

    def stage(self, connection: Connection) -> Stage | None:
        """Where a connection is; None if it is closed."""
        return self._place.get(connection)

    def left(self, connection: Connection) -> None:
        """It is closed."""
        stage = self._place.pop(connection, None)
        if stage is not None:
            those = self._at[stage][connection.whose]
            del those[connection]
            if not those:
                del self._at[stage][connection.whose]

    def _least(self) -> Connection:
        """Of the stage that is most above its share, the oldest of whoever has the most."""
        count = Counter(self._place.values())
        stage = max(count, key=lambda s: count[s] / SHARES[s])
        most: dict[Connection, None] = max(self._at[stage].values(), key=len)
        return next(iter(most))


def make_room(listener: socket.socket) -> None:
    """Let more wait than are accepted at a time, and nobody be accepted who says nothing."""
    listener.listen(QUEUED)
    with suppress(OSError, AttributeError):  # Linux has it
        listener.setsockopt(socket.IPPROTO_TCP, socket.TCP_DEFER_ACCEPT, int(HEAD_S))


class Connection(H11Protocol):
    """One connection: uvicorn's own, which is in a `Room` and in time."""

    def __init__(self, room: Room, *, app_state: dict[str, Any], **kwargs: Any) -> None:
        super().__init__(app_state={**app_state, "connection": self}, **kwargs)
        self._room = room
        self._timer: asyncio.TimerHandle | None = None
        self._unread: asyncio.TimerHandle | None = None
        self.whose = ""
        """Of which client, or network of clients, it is."""
        self.work: asyncio.Task[Any] | None = None
        """What makes the answer; it ends with the connection unless it is urgent."""
        self.request: Scope | None = None
        """The one that is answered now. The one before may still be put away meanwhile."""

    def connection_made(self, transport: asyncio.Transport) -> None:  # type: ignore[override]
        """It begins."""
        super().connection_made(transport)
        self.whose = neighbourhood(self.client[0]) if self.client else ""
        lost_ms = int(READ_S * 1000)  # a phone that left the network says no good-bye
        with suppress(OSError, AttributeError):
            its = transport.get_extra_info("socket")
            its.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, lost_ms)
        self.at(Stage.NEW, HEAD_S)

    def data_received(self, data: bytes) -> None:
        """Something has come."""
        super().data_received(data)
        if self._room.stage(self) in (Stage.IDLE, Stage.NEW):
            self.loop.call_soon(self._is_coming)  # after the first step of a request that is whole

    def _is_coming(self) -> None:
        if self._room.stage(self) in (Stage.IDLE, Stage.NEW):
            self._room.place(self, Stage.COMING)

    def connection_lost(self, exc: Exception | None) -> None:
        """It has ended."""
        self._room.left(self)
        if self.work is not None:
            self.work.cancel()
        for timer in (self._timer, self._unread):
            if timer is not None:
                timer.cancel()
        super().connection_lost(exc)

    def at(self, stage: Stage, within_s: float | None = None) -> None:
        """It has come to a stage, and must come to the next within a time."""
        if self._timer is not None:
            self._timer.cancel()
        self._timer = None
        if self.transport.is_closing():
            return
        self._room.place(self, stage)
        if within_s is not None:
            self._timer = self.loop.call_later(within_s, self.close)

    def close(self) -> None:
        """End it at once."""
        self._room.left(self)
        self.transport.abort()

    def pause_writing(self) -> None:
        """The client does not read what it asked for."""
        self._unread = self.loop.call_later(READ_S, self.close)
        super().pause_writing()

    def resume_writing(self) -> None:
        """It reads again."""
        if self._unread is not None:
            self._unread.cancel()
        super().resume_writing()


class Stages:
    """Tells a request's connection how far the request is."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        connection: Connection | None = scope.get("state", {}).get("connection")
        if scope["type"] != "http" or connection is None:
            await self._app(scope, receive, send)
            return
        urgent = scope["method"] not in READS and self._access.logged_in(Request(scope))
        whole = Stage.URGENT if urgent else Stage.ANSWERED
        more = any(name in LENGTHS and value != b"0" for name, value in scope["headers"])
        connection.at(whole if urgent or not more else Stage.COMING, BODY_S if more else None)

        async def heard() -> Message:
            nonlocal more
            message = await receive()
            if more and message["type"] == "http.request" and not message.get("more_body"):
                more = False
                connection.at(whole)
            return message

        connection.request, connection.work = scope, None if urgent else asyncio.current_task()
        try:
            await self._app(scope, heard, send)
        except asyncio.CancelledError:
            if not connection.transport.is_closing():
                raise
        finally:
            if connection.request is scope:
                connection.request = connection.work = None
                connection.at(Stage.IDLE, HEAD_S)


class Seldom(logging.Filter):
    """Lets a logger say the same so many times a minute, and then how often it has said nothing.

    What strangers send can be logged, and a disk that is full of it ends a night.
    """

    def __init__(self, times: int = 5, within_s: float = 60.0) -> None:
        super().__init__()
        self._times, self._within_s = times, within_s
        self._said: dict[str, tuple[float, int]] = {}

    def filter(self, record: logging.LogRecord) -> bool:
        """Whether it is said."""
        now_s, said = time.monotonic(), record.getMessage()[:80]
        since_s, times = self._said.get(said, (now_s, 0))
        if now_s - since_s >= self._within_s:
            left_out = times - self._times
            since_s, times = now_s, 0
            if left_out > 0:
                record.msg = f"{record.msg} (and {left_out} more of the kind before)"
        self._said[said] = (since_s, times + 1)
        while len(self._said) > 100:
            del self._said[next(iter(self._said))]
        return times < self._times
