"""Keeps the trip latch on the disk at what the loop's newest decision says.

It is armed or tripped as soon as that is decided, whatever becomes of the ledger; it is cleared
only once the ledger holds how the night ended, or the reset.
"""

from __future__ import annotations

import logging
import threading
from uuid import uuid4

from ..ledger.latch_file import LONGEST, MISSING, UNREADABLE, Latch, LatchFile, LatchLost
from ..tick import Decision, Mark

log = logging.getLogger("nightcure")


class LatchKeeper:
    """The loop's thread asks and looks whether it is armed, without waiting for the disk; the
    recorder's thread keeps, clears and closes."""

    def __init__(self, file: LatchFile) -> None:
        self._file = file
        self._lock = threading.Lock()
        self._wanted = file.says._replace(torn=False)
        self._newest = Mark.CLEAR
        self._stands: Latch | None = None
        """What was written and read back since this controller started."""
        self._lost = False

    @property
    def armed(self) -> bool:
        """Whether the file was read back and says that the present night is under way."""
        with self._lock:
            return self._wanted.state == Mark.ARMED and self._stands == self._wanted

    def ask(self, d: Decision, wall_s: float) -> str:
        """Note what a decision wants the latch to say; the token of what it says then.

        Every night, and every trip, has a token of its own: a snapshot that bears it was taken
        afterwards.
        """
        with self._lock:
            now, self._newest = self._wanted, d.mark
            began = any(e.kind == "night" and e.name == "started" for e in d.events)
            if d.mark is Mark.ARMED and (began or now.state != Mark.ARMED):
                self._wanted = Latch(Mark.ARMED.value, uuid4().hex, wall_s)
            elif d.mark is Mark.TRIPPED and (now.state, now.trip) != (Mark.TRIPPED, d.trip):
                said = (e.message for e in d.events if e.kind == "trip" and e.name == d.trip)
                self._wanted = Latch(
                    Mark.TRIPPED.value, uuid4().hex, wall_s, str(d.trip), next(said, "")[:LONGEST]
                )
            return self._wanted.token

    def keep(self) -> None:
        """Write what is wanted where it does not stand yet. What fails is tried again next time."""
        with self._lock:
            wanted, stands = self._wanted, self._stands
        if wanted.state in (MISSING, UNREADABLE):
            return
        # One that is found armed is written once more: that shows that it can be.
        if wanted.state != Mark.ARMED and stands is None and self._file.says == wanted:
            stands = wanted
        if stands == wanted and self._file.stands():
            return
        try:
            self._file.write(wanted)
        except LatchLost as error:
            if not self._lost:
                log.error("%s", error)
            self._lost = True
            stands = None
        else:
            self._lost = False
            stands = wanted
        with self._lock:
            self._stands = stands

    def clear(self, wall_s: float) -> None:
        """Clear it, unless a newer decision wants it otherwise."""
        with self._lock:
            if self._newest is not Mark.CLEAR or self._wanted.state == Mark.CLEAR:
                return
            self._wanted = Latch(Mark.CLEAR.value, uuid4().hex, wall_s)
        self.keep()

    def close(self) -> None:
        """Let go of the file."""
        self._file.close()
