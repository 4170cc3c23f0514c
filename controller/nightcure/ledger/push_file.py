"""The browsers that asked to be told (web push), and the key that signs what they are sent: two
small files beside the ledger, for this user only. The page's server adds, the notifier reads.
"""

from __future__ import annotations

import fcntl
import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

#: More browsers than that are not one oven's.
MOST = 20


def push_path(ledger: Path) -> Path:
    """Where the browsers are."""
    return ledger.with_name(ledger.name + ".push")


def key_path(ledger: Path) -> Path:
    """Where the signing key is (PEM, P-256)."""
    return ledger.with_name(ledger.name + ".vapid")


def read_browsers(path: Path) -> list[dict[str, Any]]:
    """The subscriptions, as browsers give them (W3C Push API); empty where there are none."""
    try:
        found = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        return []
    return found if isinstance(found, list) else []


def change_browsers(
    path: Path, add: dict[str, Any] | None = None, remove: str | None = None
) -> int:
    """Put one in, or take the one with an endpoint out; how many there are then.

    Raises:
        OSError: it cannot be written.
        ValueError: there are too many.
    """
    with _held(path):
        browsers = read_browsers(path)
        gone = remove if add is None else add["endpoint"]
        kept = [b for b in browsers if b.get("endpoint") != gone]
        if add is not None:
            if len(kept) >= MOST:
                raise ValueError(f"{MOST} browsers are told already; take one out first.")
            kept.append(add)
        if kept != browsers:
            fresh = path.with_name(path.name + ".new")
            fd = os.open(fresh, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
            with os.fdopen(fd, "w", encoding="utf-8") as file:
                json.dump(kept, file)
                file.flush()
                os.fsync(fd)
            fresh.replace(path)
        return len(kept)


@contextmanager
def _held(path: Path) -> Iterator[None]:
    """One writer at a time."""
    fd = os.open(path.with_name(path.name + ".lock"), os.O_RDWR | os.O_CREAT, 0o600)
    try:
        fcntl.flock(fd, fcntl.LOCK_EX)
        yield
    finally:
        os.close(fd)
