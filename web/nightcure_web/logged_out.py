"""Sessions that were ended by their owner: a copy of the cookie is worth nothing from then on."""

from __future__ import annotations

import json
import os
from pathlib import Path

from nightcure.errors import NightcureError

#: So many of the last are known; to end one takes a login.
MOST = 1000


class LoggedOut:
    """Ended sessions, in a file so that a restart does not bring them back."""

    def __init__(self, path: Path) -> None:
        self._path = path
        try:
            kept = json.loads(path.read_text(encoding="ascii"))
        except (OSError, ValueError):
            kept = []
        self._ended: dict[str, None] = (
            dict.fromkeys(session for session in kept if isinstance(session, str))
            if isinstance(kept, list)
            else {}
        )

    def __contains__(self, session: object) -> bool:
        return session in self._ended

    def add(self, session: str) -> None:
        """End a session.

        Raises:
            NightcureError: it is ended until this server ends, but could not be written down.
        """
        self._ended[session] = None
        while len(self._ended) > MOST:
            del self._ended[next(iter(self._ended))]
        fresh = self._path.with_suffix(f"{self._path.suffix}.{os.getpid()}")
        try:
            with open(fresh, "w", encoding="ascii") as file:
                json.dump(list(self._ended), file)
                file.flush()
                os.fsync(file.fileno())
            os.replace(fresh, self._path)
        except OSError as error:
            fresh.unlink(missing_ok=True)
            raise NightcureError(
                f"This browser is logged out, but it could not be written down ({error.strerror}); "
                f"when there is room on the disk, log out everywhere."
            ) from None
