"""Who may do what: a passphrase, a signed cookie, attempts limited, the Origin checked."""

from __future__ import annotations

import logging
import os
import secrets
import threading
import time
from pathlib import Path
from urllib.parse import urlsplit

from argon2 import PasswordHasher
from argon2.exceptions import Argon2Error, InvalidHashError
from fastapi import Request, Response
from itsdangerous import BadSignature, URLSafeTimedSerializer

from nightcure.errors import NightcureError
from nightcure.record.off_sentences import PAGE
from nightcure.settings import Settings, Web

from .logged_out import LoggedOut
from .login_limits import LoginLimits, neighbourhood
from .problems import Problem

log = logging.getLogger("nightcure.web")

COOKIE = "nightcure_session"
#: A login is good for so long.
SESSION_S = 12 * 3600
#: Beside it, and after it: this device has logged in before. Browsers keep it for 400 days at most.
DEVICE_COOKIE, DEVICE_S = "nightcure_device", 400 * 86400
#: What a client is called that is known by it.
DEVICE = "device "
#: Characters; what is made has 43.
SHORTEST_SECRET = 32


def own_suffix(port: int) -> str:
    """What sets an oven's cookies apart from its neighbour's: a browser keeps one jar for a host,
    whatever the port."""
    return "" if port == Web().port else f"_{port}"


def read_secret(path: Path) -> str:
    """The key that signs cookies, made on first use, readable by this user only.

    Raises:
        NightcureError: it can be neither read nor made.
    """
    try:
        secret = path.read_text(encoding="ascii") if path.exists() else make_secret(path)
    except OSError as error:
        raise _lost(path, error) from None
    except UnicodeDecodeError:
        secret = ""
    if len(secret) < SHORTEST_SECRET:  # anybody could guess it and sign a cookie
        raise NightcureError(f"{path} is not a key of this page; remove it, a new one is made.")
    return secret


def renew_secret(path: Path) -> str:
    """Another key in place of the present one: every cookie signed before is worthless.

    Raises:
        NightcureError: it cannot be made; the present one stays.
    """
    try:
        return make_secret(path, instead=True)
    except OSError as error:
        raise _lost(path, error) from None


def make_secret(path: Path, instead: bool = False) -> str:
    """A key on the disk, whole or not at all; one that is there stays unless `instead`."""
    fresh = path.with_suffix(f"{path.suffix}.{os.getpid()}")
    fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    try:
        with os.fdopen(fd, "w", encoding="ascii") as file:
            file.write(secrets.token_urlsafe(32))
            file.flush()
            os.fsync(fd)
        if instead:
            os.replace(fresh, path)
        else:
            os.link(fresh, path)
    except FileExistsError:
        pass
    finally:
        fresh.unlink(missing_ok=True)
    return path.read_text(encoding="ascii")


def _lost(path: Path, error: OSError) -> NightcureError:
    return NightcureError(
        f"The page's key {path} can be neither read nor made: {error.strerror}; the folder of the "
        f"ledger must be there and the page's user may write to it."
    )


class Access:
    """Logins and the guards of routes."""

    def __init__(self, settings: Settings) -> None:
        self._hash = settings.web.passphrase_hash
        own = own_suffix(settings.web.port)
        self.cookie, self._device_cookie = f"{COOKIE}{own}", f"{DEVICE_COOKIE}{own}"
        self._hasher = PasswordHasher()
        self._secret_path = Path(f"{settings.ledger}.secret")
        self._sign_with(read_secret(self._secret_path))
        self._ended = LoggedOut(Path(f"{settings.ledger}.logged-out"))
        self._guesses = LoginLimits()
        self._door = threading.Lock()
        self.reading_needs_login = settings.web.reading == "login"
        """Whether the page is shown to nobody without the passphrase."""

    def _sign_with(self, secret: str) -> None:
        # A changed passphrase ends every session; the devices are still the owner's.
        self._signer = URLSafeTimedSerializer(secret, salt=self._hash or "none")
        self._devices = URLSafeTimedSerializer(secret, salt="device")

    @property
    def has_passphrase(self) -> bool:
        """Whether commands are possible at all."""
        return self._hash is not None

    def log_in(self, passphrase: str, request: Request, response: Response) -> None:
        """Set the cookie, or raise a Problem."""
        self.check_origin(request)
        if self._hash is None:
            raise Problem(403, NO_PASSPHRASE)
        device = self._device_of(request)
        with self._door:  # one at a time, or guesses sent together would all be looked at
            self._try(self._hash, passphrase, client_of(request), device)
        device = device or secrets.token_urlsafe(16)
        session = self._signer.dumps([secrets.token_urlsafe(16), device])
        for name, value, good_s in (
            (self.cookie, session, SESSION_S),
            (self._device_cookie, self._devices.dumps(device), DEVICE_S),
        ):
            response.set_cookie(
                name,
                value,
                max_age=good_s,
                httponly=True,
                samesite="strict",
                secure=request.url.scheme == "https",
            )

    def _try(self, wanted: str, passphrase: str, client: str, device: str | None) -> None:
        now_s = time.monotonic()
        wait_s = self._guesses.wait_s(client, now_s, device)
        if wait_s > 0.0:
            whole_s = int(wait_s) + 1
            raise Problem(
                429,
                f"Too many wrong passphrases; try again in {whole_s} s.",
                {"Retry-After": str(whole_s)},
            )
        try:
            self._hasher.verify(wanted, passphrase)
        except (Argon2Error, InvalidHashError):
            self._guesses.wrong(client, now_s, device)
            log.warning("A wrong passphrase from %s.", client)
            raise Problem(401, "That is not the passphrase.") from None
        self._guesses.right(client, device)

    def log_everybody_out(self) -> None:
        """End every session there is, also those of before a restart."""
        with self._door:
            self._sign_with(renew_secret(self._secret_path))

    def log_out(self, request: Request) -> None:
        """End the session the request is of. Raises NightcureError: not written down."""
        session = self._session_of(request)
        if session is not None:
            with self._door:
                self._ended.add(session[0])

    def logged_in(self, request: Request) -> bool:
        """Whether the request carries a good cookie."""
        return self._session_of(request) is not None

    def whose(self, request: Request) -> str:
        """Which client it is of: a device that is logged in, else the network's part of it."""
        session = self._session_of(request)
        return neighbourhood(client_of(request)) if session is None else DEVICE + session[1]

    def _session_of(self, request: Request) -> tuple[str, str] | None:
        """The session's and the device's number, where the cookie is good."""
        cookie = request.cookies.get(self.cookie)
        if cookie is None or self._hash is None:
            return None
        try:
            session, device = self._signer.loads(cookie, max_age=SESSION_S)
        except (BadSignature, ValueError, TypeError):
            return None
        return None if session in self._ended else (str(session), str(device))

    def _device_of(self, request: Request) -> str | None:
        """The number of a device that has logged in before."""
        try:
            return str(self._devices.loads(request.cookies.get(self._device_cookie, ""), DEVICE_S))
        except BadSignature:
            return None

    def may_read(self, request: Request) -> bool:
        """Whether the request may be answered with what the oven does."""
        return not self.reading_needs_login or self.logged_in(request)

    def require_command(self, request: Request) -> str:
        """Let a command through, or raise a Problem; who asks."""
        self.check_origin(request)
        if self._hash is None:
            raise Problem(403, NO_PASSPHRASE)
        if not self.logged_in(request):
            raise Problem(401, LOG_IN)
        return f"{PAGE}{client_of(request)}"

    @staticmethod
    def check_origin(request: Request) -> None:
        """A request that changes something must come from this very page."""
        origin = request.headers.get("origin")
        if origin is None:
            if request.headers.get("sec-fetch-site", "none") in ("same-origin", "none"):
                return
        elif _host_of(origin) == request.headers.get("host"):
            return
        raise Problem(403, "This command came from another page and was not carried out.")


def client_of(request: Request) -> str:
    """The address a request came from."""
    return request.client.host if request.client else "unknown"


def _host_of(origin: str) -> str:
    """Host and port of an Origin; empty, which no page has, if it is not one."""
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return ""


LOG_IN = "Log in with the passphrase first."
NO_PASSPHRASE = (
    "No passphrase is set, so this page takes no commands: run 'nightcure setup passphrase', put "
    "the line it prints into oven.toml under [web], and restart the page."
)
