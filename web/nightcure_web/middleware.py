"""What every request passes before a route sees it, and every answer on its way out."""

from __future__ import annotations

import ipaddress
import re
import socket
from collections.abc import Iterable

from starlette.requests import Request
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from nightcure.ledger.photo import MOST_BYTES

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

#: RFC 3986, section 3.2: a name or an IPv4 address, or an IPv6 address in brackets, and a port.
HOST = re.compile(r"(\[(?P<address>[0-9a-f:.]+(%[^\]]*)?)\]|(?P<name>[^\[\]:/@]+))(:[0-9]{0,5})?")

#: Domains that routers give to a home's machines and nobody can register: home.arpa (RFC 8375),
#: internal (reserved by ICANN), the others by common practice, no source.
HOME = ("home.arpa", "internal", "lan", "home", "localdomain")

#: A profile of forty segments has some 4 kB.
MOST_BODY_BYTES = 64_000
#: A photo is read only after who sends it has been let in.
MOST_PHOTO_BYTES = MOST_BYTES

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


class OwnNames:
    """Answers to the names of this machine only.

    A stranger's page can give a name of its own this machine's address, and would then be taken for
    this page by the browser (DNS rebinding). An address itself, and *.local, it cannot.
    """

    def __init__(self, app: ASGIApp, names: Iterable[str]) -> None:
        self._app = app
        own = socket.gethostname().lower()
        at_home = (f"{own.partition('.')[0]}.{domain}" for domain in HOME)
        self._names = {"localhost", own, *at_home, *map(str.lower, names)}

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        told = [v for k, v in scope["headers"] if k == b"host"] if scope["type"] == "http" else []
        known = all(self._is_own(value.decode("latin-1")) for value in told)
        await (self._app if known else self._refusal(told[0]))(scope, receive, send)

    def _is_own(self, host: str) -> bool:
        found = HOST.fullmatch(host.strip().lower())
        if found is None:
            return False
        address, name = found["address"], (found["name"] or "").removesuffix(".")
        try:
            ipaddress.ip_address((address or name).partition("%")[0])
        except ValueError:
            return not address and (name in self._names or name.endswith((".local", ".localhost")))
        return True

    @staticmethod
    def _refusal(host: bytes) -> ASGIApp:
        name = host.decode("latin-1")
        name = ascii(name if len(name) <= 60 else f"{name[:57]}...")
        return problems.problem_response(
            421,
            f"This page does not go by the name {name}; ask for it by this machine's address, or "
            f"put the name into oven.toml, hosts = [...] under [web], and restart the page.",
        )


class SmallBodies:
    """Refuses a request whose body is larger than any that is meant, before reading it."""

    def __init__(self, app: ASGIApp) -> None:
        self._app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        refusal = self._refusal(scope) if scope["type"] == "http" else None
        await (self._app if refusal is None else refusal)(scope, receive, send)

    @staticmethod
    def _refusal(scope: Scope) -> ASGIApp | None:
        headers: list[tuple[bytes, bytes]] = scope["headers"]
        photo = scope["method"] == "PUT" and scope["path"].endswith("/photo")
        most_bytes = MOST_PHOTO_BYTES if photo else MOST_BODY_BYTES
        if any(name == b"transfer-encoding" for name, _ in headers):
            return problems.problem_response(411, "Say how long the request is; it has no length.")
        lengths = {value for name, value in headers if name == b"content-length"} or {b"0"}
        length = lengths.pop()
        if lengths or not length.isdigit():
            return problems.problem_response(
                400, "Content-Length should be one whole number of bytes, 0 or more."
            )
        # Python itself refuses to read a number of thousands of digits.
        if len(length) > 9 or int(length) > most_bytes:
            return problems.problem_response(
                413, f"The request is too long; {most_bytes // 1000} kB are the most."
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
