"""The live stream: what is true now, sent whenever the controller has written it anew."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator

from fastapi import APIRouter, Request
from fastapi.sse import EventSourceResponse, ServerSentEvent

from nightcure.errors import NightcureError

from .problems import Problem
from .store import StoreOf

router = APIRouter(prefix="/api", tags=["now"])

#: How often the ledger is looked at, s; slower than the demo's ticks, faster than an oven's.
LOOK_S = 0.2
#: A stream says at least this often that it is alive, s.
ALIVE_S = 5.0


@router.get("/stream", response_class=EventSourceResponse)
async def stream(request: Request, store: StoreOf) -> AsyncIterator[ServerSentEvent]:
    """Server-sent events named `live`, one whenever there is news, each a whole status.

    A comment keeps the stream alive when there is none: then what was sent last is growing old,
    and `host_s` says how old.
    """
    sent = -1.0
    alive_s = time.monotonic()
    while not store.closing and not await request.is_disconnected():
        try:
            state = await asyncio.to_thread(lambda: store.reader.live())
        except (NightcureError, Problem):
            state = None
        if state is not None and state["host_s"] != sent:
            sent = state["host_s"]
            alive_s = time.monotonic()
            state["now_s"] = time.time()
            yield ServerSentEvent(data=state, event="live", id=f"{sent:.6f}")
        elif time.monotonic() - alive_s > ALIVE_S:
            alive_s = time.monotonic()
            yield ServerSentEvent(comment="nothing new")
        await asyncio.sleep(LOOK_S)
