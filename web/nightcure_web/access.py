"""Who may do what: a passphrase, a signed cookie, attempts limited, the Origin checked."""

from __future__ import annotations

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
from nightcure.settings import Settings

from .problems import Problem

COOKIE = "nightcure_session"
#: A login is good for so long.
SESSION_S = 12 * 3600
#: So many wrong passphrases within the window close the door until it has passed.
MOST_ATTEMPTS, WINDOW_S = 5, 60.0
#: Characters; what is made has 43.
SHORTEST_SECRET = 32


def read_secret(path: Path) -> str:
    """The key that signs cookies, made on first use, readable by this user only.

    Raises:
        NightcureError: it can be neither read nor made.
    """
    try:
        secret = path.read_text(encoding="ascii") if path.exists() else _make_secret(path)
    except OSError as error:
        raise NightcureError(
            f"The page's key {path} can be neither read nor made: {error.strerror}; the folder "
            f"of the ledger must be there and the page's user may write to it."
        ) from None
    except UnicodeDecodeError:
        secret = ""
    if len(secret) < SHORTEST_SECRET:  # anybody could guess it and sign a cookie
        raise NightcureError(f"{path} is not a key of this page; remove it, a new one is made.")
    return secret


def _make_secret(path: Path) -> str:
    fresh = path.with_suffix(f"{path.suffix}.{os.getpid()}")
    fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(fd, "w", encoding="ascii") as file:
        file.write(secrets.token_urlsafe(32))
        file.flush()
        os.fsync(fd)
    try:
        os.link(fresh, path)
    except FileExistsError:
        pass
    finally:
        fresh.unlink()
    return path.read_text(encoding="ascii")


class Access:
    """Logins and the guards of routes."""

    def __init__(self, settings: Settings) -> None:
        self._hash = settings.web.passphrase_hash
        self._hasher = PasswordHasher()
        secret = read_secret(Path(f"{settings.ledger}.secret"))
        # A changed passphrase ends every session.
        self._signer = URLSafeTimedSerializer(secret, salt=self._hash or "none")
        self._wrong_s: list[float] = []
        self._door = threading.Lock()

    @property
    def has_passphrase(self) -> bool:
        """Whether commands are possible at all."""
        return self._hash is not None

    def log_in(self, passphrase: str, request: Request, response: Response) -> None:
        """Set the cookie, or raise a Problem."""
        self.check_origin(request)
        if self._hash is None:
            raise Problem(403, NO_PASSPHRASE)
        with self._door:  # one at a time, or guesses sent together would all be looked at
            self._try(self._hash, passphrase)
        response.set_cookie(
            COOKIE,
            self._signer.dumps("person"),
            max_age=SESSION_S,
            httponly=True,
            samesite="strict",
            secure=request.url.scheme == "https",
        )

    def _try(self, wanted: str, passphrase: str) -> None:
        now_s = time.monotonic()
        self._wrong_s = [at_s for at_s in self._wrong_s if now_s - at_s < WINDOW_S]
        if len(self._wrong_s) >= MOST_ATTEMPTS:
            wait_s = int(WINDOW_S - (now_s - self._wrong_s[0])) + 1
            raise Problem(
                429,
                f"Too many wrong passphrases; try again in {wait_s} s.",
                {"Retry-After": str(wait_s)},
            )
        try:
            self._hasher.verify(wanted, passphrase)
        except (Argon2Error, InvalidHashError):
            self._wrong_s.append(now_s)
            raise Problem(401, "That is not the passphrase.") from None
        self._wrong_s = []

    def logged_in(self, request: Request) -> bool:
        """Whether the request carries a good cookie."""
        cookie = request.cookies.get(COOKIE)
        if cookie is None or self._hash is None:
            return False
        try:
            self._signer.loads(cookie, max_age=SESSION_S)
        except BadSignature:
            return False
        return True

    def require_command(self, request: Request) -> str:
        """Let a command through, or raise a Problem; who asks."""
        self.check_origin(request)
        if self._hash is None:
            raise Problem(403, NO_PASSPHRASE)
        if not self.logged_in(request):
            raise Problem(401, "Log in with the passphrase first.")
        return f"page, {request.client.host if request.client else 'unknown'}"

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


def _host_of(origin: str) -> str:
    """Host and port of an Origin; empty, which no page has, if it is not one."""
    try:
        return urlsplit(origin).netloc
    except ValueError:
        return ""


NO_PASSPHRASE = (
    "No passphrase is set, so this page takes no commands: run 'nightcure passphrase', put the "
    "line it prints into oven.toml under [web], and restart the page."
)
