"""Every check there is, in the order in which a person puts things right."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from ..board.ds18b20 import bus_root
from ..clock import MachineClock
from ..ledger.writer import LedgerInUse, LedgerLost
from ..oven.installation import consequences
from ..settings import Settings, pin_name
from .board_checks import (
    Board,
    controller_runs,
    ledger_held,
    look_at_clock,
    look_at_disk,
    look_at_latch,
    look_at_ledger,
    look_at_service,
    look_at_watchdog,
)
from .board_kind import look_at_board, look_at_letting_go, look_at_memory
from .bus_checks import look_at_bus
from .finding import Finding, Rating
from .pin_checks import look_at_chip, look_at_holder, look_at_pins

THIS_MACHINE = Board()


def all_checks(path: Path, settings: Settings, board: Board = THIS_MACHINE) -> Iterator[Finding]:
    """One finding after the other; nothing is switched on.

    The pins are claimed, at off, only while the ledger's lock is held: no controller starts then.
    """
    yield _settings(path, settings)
    yield from look_at_the_box(settings)
    runs = controller_runs(settings.ledger)
    yield look_at_board(board.sys)
    yield from look_at_bus(settings, bus_root(), MachineClock(), measure=not runs)
    chip = look_at_chip(board)
    yield chip
    if runs:
        yield look_at_holder(settings)
    elif chip.rating is not Rating.WRONG:
        yield from _pins(settings)
    yield look_at_letting_go(board.sys)
    yield look_at_disk(settings.ledger, board)
    yield look_at_ledger(settings.ledger)
    yield look_at_latch(settings.ledger, runs)
    yield look_at_clock(board)
    yield look_at_watchdog(board)
    yield look_at_service(board)
    yield look_at_memory(board.sys)


def look_at_the_box(settings: Settings) -> Iterator[Finding]:
    """What box, heater and place mean for safety."""
    for rating, sentence in consequences(settings):
        yield Finding("box", rating, sentence)


def _settings(path: Path, settings: Settings) -> Finding:
    mode = path.stat().st_mode
    if settings.web.passphrase_hash is not None and mode & 0o007:
        sentence = f"{path} holds the passphrase's hash and anyone may read it: chmod o= {path}."
        return Finding("settings", Rating.LOOK, sentence)
    count = len(settings.thermometers)
    sentence = (
        f"{settings.name}: {settings.heater.power_w:g} W on {pin_name(settings.heater.pin)}, "
        f"{count} thermometer{'s'[: count != 1]}."
    )
    return Finding("settings", Rating.OK, sentence)


def _pins(settings: Settings) -> list[Finding]:
    with ExitStack() as stack:
        try:
            stack.enter_context(ledger_held(settings.ledger))
        except LedgerInUse:
            sentence = "It has just started and holds the pins; they are left alone."
            return [Finding("controller", Rating.OK, sentence)]
        except LedgerLost:
            pass  # its folder: the disk's line tells
        return look_at_pins(settings)
