"""The application: API, live stream and page, with their headers."""

from __future__ import annotations

import logging
import socket
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path
from types import FrameType

import anyio.to_thread
import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware
from starlette.routing import Route
from uvicorn.middleware.proxy_headers import ProxyHeadersMiddleware

from nightcure import __version__
from nightcure.clock import tell_service_manager
from nightcure.errors import BadInput
from nightcure.settings import Settings

from . import live, problems
from .connections import AT_ONCE, Connection, Room, Seldom, Stages, make_room
from .host_pages import announced_here
from .jobs import Jobs
from .middleware import HEADERS, OwnNames, Reading, SafeHeaders, SmallBodies
from .other_ovens import OtherOvens
from .plan_job import PlanJob
from .profile_input import profile_schemas
from .routes import (
    batches,
    cards,
    cautions,
    commands,
    cups,
    learned,
    metrics,
    morning,
    nights,
    oven_settings,
    ovens,
    plan,
    profiles,
    record,
    ruler,
    session,
    start_checks,
    status,
    survey,
    telling,
)
from .services import Services
from .survey_job import SurveyJob

STATIC = Path(__file__).parent / "static"
#: The service manager is told this often (s) that the page is alive.
ALIVE_S = 3
SELDOM = Seldom()
#: Requests that are worked on in a thread at the same moment.
THREADS = 3
#: One that computes gives way after so long, s (Python's own 5 ms add up to seconds for a stop).
GIVES_WAY_S = 0.0005


def create_app(settings: Settings, static: Path = STATIC, oven: Path | None = None) -> FastAPI:
    """The application for one oven; `static` is the built page, `oven` the settings' own file."""
    app = FastAPI(
        title="nightcure",
        version=__version__,
        description="Watch and steer a cure oven. Temperatures are °C, times UTC seconds. "
        "This is no safety device.",
        openapi_url="/api/openapi.json",
        docs_url=None,
        redoc_url=None,
        generate_unique_id_function=lambda route: route.name,
    )
    app.openapi_version = "3.2.0"  # the first that can describe a stream's items
    services = app.state.services = Services(settings, oven)
    app.openapi = lambda: problems.described(  # type: ignore[method-assign]
        app, profile_schemas(), services.access.cookie
    )
    jobs = app.state.jobs = Jobs()
    app.state.news = live.News(app.state.services)
    app.state.surveying = SurveyJob(app.state.services, jobs)
    app.state.others = OtherOvens(settings.web)
    app.state.planning = PlanJob(settings, jobs)
    problems.install(app, HEADERS)
    for part in (
        *(status, live, start_checks, nights, profiles, cards, commands, cautions, oven_settings),
        *(
            session,
            survey,
            ruler,
            record,
            morning,
            plan,
            telling,
            metrics,
            ovens,
            batches,
            cups,
            learned,
        ),
    ):
        app.include_router(part.router)
    app.mount("/api", problems.NoSuchRoute(app))
    app.router.routes.append(Route("/metrics", problems.NoSuchRoute(app)))
    if static.is_dir():
        app.mount("/", StaticFiles(directory=static, html=True), name="page")
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Reading, access=app.state.services.access)
    app.add_middleware(SmallBodies)
    app.add_middleware(OwnNames, names=(settings.web.address, *settings.web.hosts))
    app.add_middleware(SafeHeaders)
    if settings.web.proxies:
        app.add_middleware(ProxyHeadersMiddleware, trusted_hosts=list(settings.web.proxies))
    app.add_middleware(Stages, access=app.state.services.access)
    return app


class Server(uvicorn.Server):
    """Ends the open streams when told to stop, and tells the service manager how it is.

    It says that it is ready once it listens, and then every `ALIVE_S` from the event loop that
    serves the page: a loop that hangs falls silent and is ended.
    """

    def __init__(self, app: FastAPI, address: str, port: int) -> None:
        self.room = Room()
        config = uvicorn.Config(
            app,
            host=address,
            port=port,
            http=partial(Connection, self.room),  # type: ignore[arg-type]
            ws="none",
            loop="asyncio",
            lifespan="off",
            backlog=AT_ONCE,
            proxy_headers=False,
            access_log=False,
            log_level="warning",
            timeout_graceful_shutdown=2,
            server_header=False,
            callback_notify=self._alive,
            timeout_notify=ALIVE_S,
        )
        super().__init__(config)
        for name in ("uvicorn.error", "asyncio", "nightcure.web"):
            logging.getLogger(name).addFilter(SELDOM)
        self._services: Services = app.state.services

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        # Few threads: each may keep the one that serves the page waiting, and with it a stop.
        sys.setswitchinterval(GIVES_WAY_S)
        anyio.to_thread.current_default_thread_limiter().total_tokens = THREADS
        await super().startup(sockets)
        if not self.started:
            return
        for listener in (s for server in self.servers for s in server.sockets):
            with listener.dup() as same:
                make_room(same)
        tell_service_manager("READY=1\nSTATUS=The page is served.")

    async def _alive(self) -> None:
        tell_service_manager("WATCHDOG=1")

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """A signal to stop."""
        tell_service_manager("STOPPING=1")
        self._services.closing = True
        super().handle_exit(sig, frame)


def run(
    settings: Settings, ready: Callable[[], None] = lambda: None, oven: Path | None = None
) -> None:
    """Serve until told to stop; `ready` is called once nothing is in the way of it.

    Args:
        oven: the settings' own file, so that a survey can be written into it.

    Raises:
        BadInput: the page was not built into this installation.
    """
    if not (STATIC / "index.html").is_file():
        raise BadInput(
            "The page is not built into this installation; install nightcure from a wheel, or "
            "where Node.js is at hand reinstall it from its sources."
        )
    app = create_app(settings, oven=oven)
    ready()
    with announced_here(settings.web):
        Server(app, settings.web.address, settings.web.port).run()
