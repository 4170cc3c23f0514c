"""The application: API, live stream and page, with their headers."""

from __future__ import annotations

import socket
from collections.abc import Callable
from pathlib import Path
from types import FrameType

import sdnotify
import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware

from nightcure import __version__
from nightcure.errors import BadInput
from nightcure.settings import Settings

from . import live, problems
from .jobs import Jobs
from .middleware import HEADERS, Reading, SafeHeaders, SmallBodies
from .plan_job import PlanJob
from .routes import (
    cards,
    cautions,
    commands,
    nights,
    oven_settings,
    plan,
    profiles,
    record,
    session,
    start_checks,
    status,
    survey,
)
from .services import Services
from .survey_job import SurveyJob

STATIC = Path(__file__).parent / "static"
#: The service manager is told this often (s) that the page is alive.
ALIVE_S = 3


def create_app(settings: Settings, static: Path = STATIC) -> FastAPI:
    """The application for one oven; `static` is the built page."""
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
    app.openapi = lambda: problems.described(app)  # type: ignore[method-assign]
    app.state.services = Services(settings)
    jobs = Jobs()
    app.state.surveying = SurveyJob(app.state.services, jobs)
    app.state.planning = PlanJob(settings, jobs)
    problems.install(app, HEADERS)
    for part in (
        *(status, live, start_checks, nights, profiles, cards, commands, cautions, oven_settings),
        *(session, survey, record, plan),
    ):
        app.include_router(part.router)
    if static.is_dir():
        app.mount("/", StaticFiles(directory=static, html=True), name="page")
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(Reading, access=app.state.services.access)
    app.add_middleware(SmallBodies)
    app.add_middleware(SafeHeaders)
    return app


class Server(uvicorn.Server):
    """Ends the open streams when told to stop, and tells the service manager how it is.

    It says that it is ready once it listens, and then every `ALIVE_S` from the event loop that
    serves the page: a loop that hangs falls silent and is ended.
    """

    def __init__(self, config: uvicorn.Config, services: Services) -> None:
        config.callback_notify, config.timeout_notify = self._alive, ALIVE_S
        super().__init__(config)
        self._services = services
        self._notifier = sdnotify.SystemdNotifier()

    async def startup(self, sockets: list[socket.socket] | None = None) -> None:
        """Begin to listen."""
        await super().startup(sockets)
        if self.started:
            self._notifier.notify("READY=1\nSTATUS=The page is served.")

    async def _alive(self) -> None:
        self._notifier.notify("WATCHDOG=1")

    def handle_exit(self, sig: int, frame: FrameType | None) -> None:
        """A signal to stop."""
        self._notifier.notify("STOPPING=1")
        self._services.closing = True
        super().handle_exit(sig, frame)


def run(settings: Settings, ready: Callable[[], None] = lambda: None) -> None:
    """Serve until told to stop; `ready` is called once nothing is in the way of it.

    Raises:
        BadInput: the page was not built into this installation.
    """
    if not (STATIC / "index.html").is_file():
        raise BadInput(
            "The page is not built into this installation; install nightcure from a wheel, or "
            "where Node.js is at hand reinstall it from its sources."
        )
    app = create_app(settings)
    ready()
    config = uvicorn.Config(
        app,
        host=settings.web.address,
        port=settings.web.port,
        access_log=False,
        log_level="warning",
        timeout_graceful_shutdown=2,
        server_header=False,
    )
    Server(config, app.state.services).run()
