"""The application: API, live stream and page, with their headers."""

from __future__ import annotations

import socket
from pathlib import Path
from types import FrameType

import sdnotify
import uvicorn
from fastapi import FastAPI
from fastapi.staticfiles import StaticFiles
from starlette.middleware.gzip import GZipMiddleware
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from nightcure import __version__
from nightcure.errors import BadInput
from nightcure.settings import Settings

from . import live, problems
from .routes import commands, nights, profiles, record, session, status
from .store import Store

STATIC = Path(__file__).parent / "static"
#: The service manager is told this often (s) that the page is alive.
ALIVE_S = 3

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; "
        "connect-src 'self'; manifest-src 'self'; base-uri 'none'; form-action 'none'; "
        "frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "no-referrer",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "camera=(), microphone=(), geolocation=()",
}


#: What a route may say for itself instead: the record has a style within its page.
OWN = frozenset((b"content-security-policy",))

#: A profile of forty segments has some 4 kB.
MOST_BODY_BYTES = 64_000


class SafeHeaders:
    """Adds the security headers to every answer; the API's answers are never cached."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app
        self._headers = [(k.lower().encode(), v.encode()) for k, v in HEADERS.items()]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self._app(scope, receive, send)
            return
        extra = list(self._headers)
        fresh = b"no-store" if scope["path"].startswith("/api") else b"no-cache"
        extra.append((b"cache-control", fresh))

        async def with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                own = {h[0].lower() for h in message["headers"]} & OWN
                added = [h for h in extra if h[0] not in own]
                names = {name for name, _ in added}
                kept = [h for h in message["headers"] if h[0].lower() not in names]
                message["headers"] = [*kept, *added]
            await send(message)

        await self._app(scope, receive, with_headers)


class SmallBodies:
    """Refuses a request whose body is larger than any that is meant, before reading it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = self._refusal(dict(scope["headers"])) if scope["type"] == "http" else None
        await (self._app if refusal is None else refusal)(scope, receive, send)

    @staticmethod
    def _refusal(headers: dict[bytes, bytes]) -> ASGIApp | None:
        if b"transfer-encoding" in headers:
            return problems.problem_response(411, "Say how long the request is; it has no length.")
        length = headers.get(b"content-length", b"0")
        # Python itself refuses to read a number of thousands of digits.
        if not length.isdigit() or len(length) > 9 or int(length) > MOST_BODY_BYTES:
            return problems.problem_response(
                413, f"The request is too long; {MOST_BODY_BYTES // 1000} kB are the most."
            )
        return None


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
    )
    app.openapi_version = "3.2.0"  # the first that can describe a stream's items
    app.state.store = Store(settings)
    problems.install(app, HEADERS)
    for part in (status, live, nights, record, profiles, commands, session):
        app.include_router(part.router)
    if static.is_dir():
        app.mount("/", StaticFiles(directory=static, html=True), name="page")
    app.add_middleware(GZipMiddleware, minimum_size=1000)
    app.add_middleware(SmallBodies)
    app.add_middleware(SafeHeaders)
    return app


class Server(uvicorn.Server):
    """Ends the open streams when told to stop, and tells the service manager how it is.

    It says that it is ready once it listens, and then every `ALIVE_S` from the event loop that
    serves the page: a loop that hangs falls silent and is ended.
    """

    def __init__(self, config: uvicorn.Config, store: Store) -> None:
        config.callback_notify, config.timeout_notify = self._alive, ALIVE_S
        super().__init__(config)
        self._store = store
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
        self._store.closing = True
        super().handle_exit(sig, frame)


def run(settings: Settings) -> None:
    """Serve until told to stop.

    Raises:
        BadInput: the page was not built into this installation.
    """
    if not (STATIC / "index.html").is_file():
        raise BadInput(
            "The page is not built into this installation; install nightcure from a wheel, or "
            "where Node.js is at hand reinstall it from its sources."
        )
    app = create_app(settings)
    config = uvicorn.Config(
        app,
        host=settings.web.address,
        port=settings.web.port,
        access_log=False,
        log_level="warning",
        timeout_graceful_shutdown=2,
        server_header=False,
    )
    Server(config, app.state.store).run()
