"""The pages that one person's ovens serve from this machine: each leaves its address in a folder.

A page holds a lock on its file for as long as it runs, so what a killed one has left counts for
nothing. The folder is the service's runtime folder, which units of one name share; else the user's.
"""

from __future__ import annotations

import fcntl
import ipaddress
import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from nightcure.settings import Web

#: The service manager names the folder in the first; a login session has the second.
NAMED, SESSION = "RUNTIME_DIRECTORY", "XDG_RUNTIME_DIR"
NAME = "nightcure-pages"
#: No machine serves more.
MOST = 64


def folder() -> Path:
    """Where this user's pages leave their addresses; it may be missing."""
    named = os.environ.get(NAMED, "").partition(":")[0]
    if named:
        return Path(named)
    session = os.environ.get(SESSION, "")
    return Path(session) / NAME if session else Path(tempfile.gettempdir(), f"{NAME}-{os.getuid()}")


@contextmanager
def announced_here(web: Web) -> Iterator[None]:
    """Let the other pages of this machine know that this one is served; no harm if that fails."""
    path = folder() / f"{web.port}"
    handle = None
    with suppress(OSError):
        handle = _claimed(path, reached_at(web.address))
    try:
        yield
    finally:
        if handle is not None:
            path.unlink(missing_ok=True)
            os.close(handle)


def others_here(own_port: int) -> dict[int, str]:
    """Port and address of the other pages that run on this machine."""
    found: dict[int, str] = {}
    with suppress(OSError):
        if folder().stat().st_uid != os.getuid():
            return {}
        for path in sorted(folder().iterdir())[:MOST]:
            if path.name.isdecimal() and int(path.name) not in (0, own_port):
                address = _held(path)
                if address:
                    found[int(path.name)] = address
    return found


def _claimed(path: Path, text: str) -> int | None:
    """The file with this text, locked; None where the folder is another user's."""
    path.parent.mkdir(mode=0o700, exist_ok=True)
    if path.parent.stat().st_uid != os.getuid():
        return None
    handle = os.open(path, os.O_RDWR | os.O_CREAT | os.O_NOFOLLOW | os.O_CLOEXEC, 0o600)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        os.ftruncate(handle, 0)
        os.write(handle, text.encode())
    except OSError:
        os.close(handle)
        raise
    return handle


def reached_at(address: str) -> str:
    """Where a page that listens there is reached from this machine."""
    if address in ("0.0.0.0", "localhost"):
        return "127.0.0.1"
    return "::1" if address == "::" else address


def _held(path: Path) -> str:
    """A file's address while its page runs; empty where none does, or it is no address."""
    with suppress(OSError, ValueError):
        fd = os.open(path, os.O_RDONLY | os.O_NOFOLLOW | os.O_NONBLOCK | os.O_CLOEXEC)
        try:
            with suppress(BlockingIOError):
                fcntl.flock(fd, fcntl.LOCK_SH | fcntl.LOCK_NB)
                return ""
            return str(ipaddress.ip_address(os.read(fd, 64).decode("ascii")))
        finally:
            os.close(fd)
    return ""
