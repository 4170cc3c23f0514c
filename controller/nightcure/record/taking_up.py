"""What a controller that starts makes of what it finds: the latch on the disk and the ledger.

A night is taken up again only where the latch says that it was under way and the ledger's snapshot
is of that very night, whole, by this version and these settings. Where the latch says that a night
was under way or that the oven had tripped, and the snapshot cannot show how that ended, the
controller starts tripped; where the latch is clear, it starts at rest. Either way it starts.
"""

from __future__ import annotations

import json
import logging
from typing import Any, NamedTuple

from .. import __version__
from ..errors import NightcureError
from ..ledger.checksum import intact, with_checksum
from ..ledger.latch_file import MISSING, UNREADABLE, Latch
from ..ledger.rows import NightRow, SnapshotRow
from ..ledger.writer import LedgerWriter
from ..loop.loop import Loop
from ..settings import UNRECORDED, Settings
from ..tick import Fault, Held, Mark, Reading, TickInputs
from .codec import dumps

log = logging.getLogger("nightcure")

#: Tables of the settings that only tell: no night goes otherwise for them.
TELLS = (*UNRECORDED, "annunciator")


class TakenUp(NamedTuple):
    """How a controller starts.

    Attributes:
        loop: a fresh one, or one restored from the snapshot.
        resumed_from: the snapshot it was restored from.
        going_on: the number of the night that goes on, and its last tick.
        held: a trip that is still latched; the loop is told with its first tick.
        sentence: why a night that was broken off does not go on, where no trip is latched.
    """

    loop: Loop
    resumed_from: dict[str, Any] | None = None
    going_on: tuple[int, int] | None = None
    held: Held | None = None
    sentence: str | None = None


class _Found(NamedTuple):
    """A snapshot that can be used: its loop's state, the token it bears, and its night."""

    state: dict[str, Any]
    token: str
    row: SnapshotRow


def settings_mark(settings: Settings) -> str:
    """What must be unchanged for a broken-off night to be taken up: all that heat depends on."""
    return dumps(settings.model_dump(mode="json", exclude={*TELLS, "ledger", "units", "name"}))


def stamped(settings: Settings, state: dict[str, Any], token: str, inputs: TickInputs) -> str:
    """A loop's snapshot as the ledger keeps it: whose it is, and a checksum."""
    told = {
        "version": __version__,
        "settings": settings_mark(settings),
        "token": token,
        "loop": state,
    }
    return with_checksum(inputs.mono_s, inputs.wall_s, dumps(told))


def take_up(settings: Settings, writer: LedgerWriter, latch: Latch) -> TakenUp:
    """Look for a night that was broken off, or a trip that nobody has reset.

    Raises:
        LedgerLost: the ledger cannot be read.
    """
    row, night = writer.last_snapshot(), writer.open_night()
    found = _usable(settings, row)
    if latch.state == MISSING:
        latch = _as_the_ledger_has_it(writer, row, night)
    taken = _judge(settings, latch, found, night)
    if taken.going_on is None and night is not None:
        taken = _over(writer, taken, found, night)
    elif taken.going_on is not None:
        night_id, seq = taken.going_on
        taken = taken._replace(going_on=(night_id, max(seq, writer.last_seq(night_id))))
        _close_others(writer, night_id, "lost", "It was broken off.")
    return taken


def _judge(
    settings: Settings, latch: Latch, found: _Found | str, night: NightRow | None
) -> TakenUp:
    standing = latch.state != Mark.CLEAR
    if isinstance(found, str):
        return _held(settings, latch, found) if standing else TakenUp(Loop(settings))
    state = found.state
    if state["alarms"]["trip"] is not None:
        return TakenUp(_resumed(settings, state), state)
    bears_it = bool(latch.token) and found.token == latch.token
    if state["run"] is None:
        # At rest since that token: the night ended, or the trip was reset, and the ledger knows.
        if standing and not bears_it:
            return _held(settings, latch, "the ledger does not say how it ended")
        return TakenUp(_resumed(settings, state), state)
    if not standing:
        return TakenUp(Loop(settings))
    if not bears_it:
        return _held(settings, latch, "the ledger's snapshot is not of it")
    if latch.state != Mark.ARMED or latch.torn:
        return _held(settings, latch, "something stopped it that the ledger does not know")
    if night is None or found.row.night_id != night.id:
        return _held(settings, latch, "its snapshot is of another night")
    going_on = (night.id, found.row.seq)
    return TakenUp(_resumed(settings, state), state, going_on)


def _held(settings: Settings, latch: Latch, why: str) -> TakenUp:
    """Tripped: as it was, or because nobody can tell how the night stood."""
    if latch.state == Mark.TRIPPED:
        said = latch.message or "The oven had tripped."
        held = Held(latch.trip, f"{said} That was before this start, and not reset.")
    else:
        why = "the trip latch is missing or cannot be read" if latch.state == UNREADABLE else why
        held = Held(None, why)
    return TakenUp(Loop(settings), held=held)


def _as_the_ledger_has_it(
    writer: LedgerWriter, row: SnapshotRow | None, night: NightRow | None
) -> Latch:
    """The latch where there is no file of it: a new oven, an earlier version, a restored backup.

    A night under way, or a snapshot that is not plainly one of an oven at rest, is never gone on
    with: nobody knows what came after it.
    """
    carried = writer.carried_latch()
    if carried is not None:
        return carried if carried.state != Mark.ARMED else Latch(UNREADABLE)
    try:
        loop = {} if row is None else json.loads(row.state)["loop"]
        at_rest = row is None or (loop["run"] is None and loop["alarms"]["trip"] is None)
    except (ValueError, KeyError, TypeError):
        at_rest = False
    return Latch(Mark.CLEAR if at_rest and night is None else UNREADABLE)


def _usable(settings: Settings, row: SnapshotRow | None) -> _Found | str:
    """The snapshot where it can be used, else the clause that says why not."""
    if row is None:
        return "there is no snapshot of it"
    try:
        if not intact(row.mono_s, row.wall_s, row.state):
            return "its snapshot is damaged"
        told = json.loads(row.state)
        version = told["version"]
        if version != __version__:
            return f"it was run by version {version}, this is {__version__}"
        if told["settings"] != settings_mark(settings):
            return "the settings were changed meanwhile"
        _try_out(settings, json.loads(row.state)["loop"])
        return _Found(told["loop"], str(told.get("token", "")), row)
    except Exception as error:  # whatever it is, it must not keep the controller from starting
        log.warning("The snapshot cannot be used: %s: %s", type(error).__name__, error)
        return "its snapshot cannot be used by this version"


def _try_out(settings: Settings, state: dict[str, Any]) -> None:
    """Let a loop of its own go on from a snapshot, blind and seeing; raises whatever is wrong."""
    loop = _resumed(settings, state)
    count = len(settings.thermometers)
    for i, reading in enumerate((Reading(None, 0.0, Fault.MISSING), Reading(20.0, 1.0))):
        loop.tick(TickInputs(float(i), float(state["wall_s"]) + i, (reading,) * count))
    dumps(loop.snapshot())


def _resumed(settings: Settings, state: dict[str, Any]) -> Loop:
    loop = Loop(settings)
    loop.resume(state)
    return loop


def _over(writer: LedgerWriter, taken: TakenUp, found: _Found | str, night: NightRow) -> TakenUp:
    """The night that was broken off does not go on: it is closed, and a sentence says so."""
    if taken.held is not None and taken.held.trip is not None:
        _close_others(writer, None, "tripped", taken.held.message)
        return taken
    if taken.held is not None:
        why = taken.held.message
    else:
        why = found if isinstance(found, str) else "the trip latch says that none was under way"
    sentence = f"The night of '{night.oven}' was broken off and not resumed: {why}."
    _close_others(writer, None, "lost", sentence)
    return taken._replace(sentence=sentence if taken.held is None else None)


def _close_others(writer: LedgerWriter, but: int | None, outcome: str, reason: str) -> None:
    try:
        with writer.transaction(durable=True):
            writer.end_broken_off(but, outcome, reason)
    except NightcureError as error:
        log.error("%s", error)
