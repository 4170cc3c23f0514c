"""Real processes whose ledger or trip latch is taken away or cannot be written."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from nightcure.ledger.latch_file import NAME, read_latch
from tests.workshop import Workshop, wait_for

#: "Some seconds": a tick, and what the writing takes.
NOTICED_S = 8.0


@pytest.fixture
def workshop(tmp_path: Path) -> Iterator[Workshop]:
    with Workshop(tmp_path) as shop:
        yield shop


def removed(ledger: Path) -> None:
    ledger.unlink()


def removed_with_all_beside_it(ledger: Path) -> None:
    for end in ("", "-wal", "-shm", ".lock"):
        Path(f"{ledger}{end}").unlink()


def replaced(ledger: Path) -> None:
    copy = ledger.with_name("copy")
    copy.write_bytes(ledger.read_bytes())
    os.replace(copy, ledger)


def cut_short(ledger: Path) -> None:
    os.truncate(ledger, 0)


def without_its_wal(ledger: Path) -> None:
    Path(f"{ledger}-wal").unlink()


@pytest.mark.parametrize(
    "take_away", [removed, removed_with_all_beside_it, replaced, cut_short, without_its_wal]
)
def test_a_ledger_taken_away_ends_the_heat_and_is_said(
    workshop: Workshop, take_away: Callable[[Path], None]
) -> None:
    """Fails before this: the night went on, heating, and nothing noticed."""
    process = workshop.controller()
    workshop.start_heating()
    take_away(workshop.ledger)
    wait_for(
        lambda: not workshop.heater_on() and not workshop.contactor_on(), NOTICED_S, "the pins off"
    )
    assert process.wait(15) == 2
    said = workshop.log()
    assert "while the controller ran. The heater is off. Start the controller again" in said
    latch = read_latch(workshop.folder)
    assert (latch.state, latch.trip) == ("tripped", "ledger-lost")

    if take_away is without_its_wal:
        return  # SQLite cannot open that ledger again in a process that had it open, as this one
    workshop.controller()
    wait_for(lambda: (workshop.live() or {}).get("phase") == "tripped", 20, "it is tripped")
    live = workshop.live()
    assert live is not None
    assert live["trip"]["name"] == "ledger-lost"
    assert "before this start, and not reset" in live["trip"]["message"]
    assert not workshop.heater_on()
    assert workshop.command("reset")[0] == "done"
    workshop.start_heating()


def test_at_rest_it_ends_and_starts_anew(workshop: Workshop) -> None:
    process = workshop.controller()
    workshop.ledger.unlink()
    assert process.wait(15) == 2
    workshop.controller()
    live = workshop.live()
    assert live is not None
    assert (live["phase"], live["trip"]) == ("idle", None)


def test_without_a_latch_on_the_disk_there_is_no_heat(workshop: Workshop) -> None:
    """Fails before this: there was none, and the night heated."""
    workshop.controller()
    file = workshop.folder / NAME
    wait_for(file.exists, 10, "the latch is made")
    file.unlink()
    file.mkdir()  # nothing can be written there, not even by root
    (file / "in the way").touch()
    with pytest.raises(AssertionError, match="not within"):
        workshop.start_heating(within_s=8.0)
    live = workshop.live()
    assert live is not None
    assert live["phase"] == "soak"
    assert live["why_off"]["code"] == "not-armed"
    assert not workshop.contactor_on()
    (file / "in the way").unlink()
    file.rmdir()
    wait_for(workshop.heater_on, 15, "it heats once the latch is armed")
    assert read_latch(workshop.folder).state == "armed"
    file.unlink()
    wait_for(lambda: read_latch(workshop.folder).state == "armed", 10, "it is made anew")
