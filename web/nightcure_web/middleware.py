"""What every request passes before a route sees it, and every answer on its way out."""

from __future__ import annotations

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from . import problems
from .access import LOG_IN, Access

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

#: What is answered without a login even where reading asks for one: it tells nothing of the oven.
OPEN = ("/session", "/health", "/login", "/logout", "/logout-everywhere")


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
        refusal = self._refusal(scope["headers"]) if scope["type"] == "http" else None
        await (self._app if refusal is None else refusal)(scope, receive, send)

    @staticmethod
    def _refusal(headers: list[tuple[bytes, bytes]]) -> ASGIApp | None:
        if any(name == b"transfer-encoding" for name, _ in headers):
            return problems.problem_response(411, "Say how long the request is; it has no length.")
        lengths = {value for name, value in headers if name == b"content-length"} or {b"0"}
        length = lengths.pop()
        if lengths or not length.isdigit():
            return problems.problem_response(
                400, "Content-Length should be one whole number of bytes, 0 or more."
            )
        # Python itself refuses to read a number of thousands of digits.
        if len(length) > 9 or int(length) > MOST_BODY_BYTES:
            return problems.problem_response(
                413, f"The request is too long; {MOST_BODY_BYTES // 1000} kB are the most."
            )
        return None


class Reading:
    """Where the oven is shown to people with the passphrase only: turns the others away."""

    def __init__(self, app: ASGIApp, access: Access) -> None:
        self._app = app
        self._access = access

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        shut = (
            scope["type"] == "http"
            and scope["path"].startswith("/api")
            and scope["path"].removeprefix("/api") not in OPEN
            and not self._access.may_read(Request(scope))
        )
        await (problems.problem_response(401, LOG_IN) if shut else self._app)(scope, receive, send)
