"""What a controller that starts makes of the latch and the ledger: it starts, and what had tripped
or cannot be judged stays tripped."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from nightcure import __version__
from nightcure.ledger.backup import backup
from nightcure.ledger.latch_file import NAME, SLOT, Latch, read_latch
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.transfer import export_night, import_night
from nightcure.ledger.writer import LedgerLost, LedgerWriter
from nightcure.record import taking_up
from nightcure.tick import Decision, Phase

from ..nights import SETTINGS, SHORT, changed, start, word
from ..recording import RecordedOven
from ..workshop import wait_for

#: The air's thermometer is lost five minutes into the night, and the oven trips.
LOST = ["sensor-missing@5min"]


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    return tmp_path / "n.ledger"


@pytest.fixture(autouse=True)
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("nightcure.record.recorder.RETRY_S", 0.01)


def tripped_night(ledger: Path) -> None:
    with RecordedOven(ledger, faults=LOST) as oven:
        assert oven.run(600.0).trip == "control-sensor-lost"


def broken_off(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        assert oven.run(300.0).phase is Phase.RAMP
    assert read_latch(ledger.parent).state == "armed"


@contextmanager
def again(ledger: Path, **settings: dict[str, Any]) -> Iterator[tuple[RecordedOven, Decision]]:
    """The controller starts again a minute later in a sound oven; its first decision."""
    with RecordedOven(ledger, changed(SETTINGS, **settings)) as oven:
        oven.t_s = 660.0
        yield oven, oven.tick()


def no_heat(oven: RecordedOven, seconds: float = 120.0) -> None:
    until_s = oven.t_s + seconds
    while oven.t_s < until_s:
        decision = oven.tick()
        assert not decision.heater_on
        assert not decision.contactor_on


def can_be_reset(oven: RecordedOven) -> None:
    """And a night can be started after it."""
    refused = oven.tick(start(SHORT)._replace(id=71)).outcomes[0]
    assert refused.outcome == "refused"
    assert "has tripped" in refused.message
    assert oven.tick(word("reset", 72)).outcomes[0].outcome == "done"
    assert oven.tick(start(SHORT)._replace(id=73)).phase is Phase.RAMP


# ---- what no restart, changed setting or upgrade lifts -------------------------------------------


def test_a_trip_outlasts_a_changed_setting(ledger: Path) -> None:
    """Fails before this: the snapshot was of other settings, and the oven stood at rest."""
    tripped_night(ledger)
    with again(ledger, limits={"air_c": 55.0}) as (oven, d):
        assert (d.phase, d.trip) == (Phase.TRIPPED, "control-sensor-lost")
        (said,) = [
            e.message for e in d.events if e.kind == "trip" and "before this start" in e.message
        ]
        assert said.startswith("No believable air temperature")
        assert said.endswith("That was before this start, and not reset.")
        no_heat(oven)
        can_be_reset(oven)


def test_a_trip_outlasts_an_upgrade(ledger: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Fails before this."""
    tripped_night(ledger)
    monkeypatch.setattr(taking_up, "__version__", "99.0")
    with again(ledger) as (oven, d):
        assert (d.phase, d.trip) == (Phase.TRIPPED, "control-sensor-lost")
        can_be_reset(oven)


def test_a_trip_that_the_ledger_could_not_take_outlasts_the_restart(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A full disk: what the ledger holds is a night in good order, as it was before the trip.

    Fails before this: the night was taken up again.
    """
    with RecordedOven(ledger, faults=["sensor-missing@8min"]) as oven:
        oven.run(400.0)
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "all is written")

        def full(self: LedgerWriter, durable: bool) -> Any:
            raise LedgerLost("The ledger cannot be written: database or disk is full.")

        monkeypatch.setattr(LedgerWriter, "transaction", full)
        oven.recorder.wait_below = lambda *_: None  # type: ignore[method-assign]
        assert oven.run(600.0).trip == "control-sensor-lost"
    assert LedgerReader(ledger).nights()[0]["outcome"] is None
    with again(ledger) as (oven, d):  # and it is still full
        assert d.trip == "control-sensor-lost"
        no_heat(oven, 60.0)
    monkeypatch.undo()
    with again(ledger) as (oven, d):
        assert d.trip == "control-sensor-lost"
        assert LedgerReader(ledger).nights()[0]["outcome"] == "tripped"
        can_be_reset(oven)


@pytest.mark.parametrize("lost", ["removed", "of another oven", "of an earlier night"])
def test_a_trip_outlasts_the_ledger(ledger: Path, tmp_path: Path, lost: str) -> None:
    """Fails before this."""
    if lost == "of an earlier night":
        with RecordedOven(ledger) as oven:
            oven.run(100.0)
            oven.tick(word("stop"))
    copy = tmp_path / "copy"
    if ledger.exists():
        copy.write_bytes(ledger.read_bytes())
    if lost == "of another oven":
        (tmp_path / "other").mkdir()
        with RecordedOven(tmp_path / "other" / "n.ledger") as oven:
            oven.tick()
        copy = tmp_path / "other" / "n.ledger"
    with RecordedOven(ledger, faults=LOST) as oven:
        oven.t_s = 200.0
        oven.tick(start(SHORT))
        assert oven.run(700.0).trip is not None
    ledger.unlink()
    if lost != "removed":
        copy.rename(ledger)
    with again(ledger) as (oven, d):
        assert d.trip == "control-sensor-lost"
        can_be_reset(oven)


# ---- a night that was broken off -----------------------------------------------------------------


def test_a_night_in_good_order_is_taken_up_again(ledger: Path) -> None:
    broken_off(ledger)
    with RecordedOven(ledger) as oven:
        oven.t_s = 320.0
        assert oven.tick().phase is Phase.RAMP
        assert oven.run(400.0).trip is None
    assert read_latch(ledger.parent).state == "armed"
    assert len(LedgerReader(ledger).nights()) == 1


def damage(change: Callable[[dict[str, Any]], Any]) -> Callable[[Path], None]:
    """A snapshot changed by `change`, or replaced by the text it gives; its checksum left out."""

    def do(ledger: Path) -> None:
        with sqlite3.connect(ledger) as db:
            (text,) = db.execute("SELECT state FROM snapshot").fetchone()
            told = json.loads(text)
            told.pop("k", None)
            given = change(told)
            db.execute(
                "UPDATE snapshot SET state = ?",
                (given if isinstance(given, str) else json.dumps(told),),
            )

    return do


def flipped(ledger: Path) -> None:
    with sqlite3.connect(ledger) as db:
        (text,) = db.execute("SELECT state FROM snapshot").fetchone()
        at = text.index('"setpoint_c":') + len('"setpoint_c":')
        other = "9" if text[at] != "9" else "8"
        db.execute("UPDATE snapshot SET state = ?", (text[:at] + other + text[at + 1 :],))


def without(ledger: Path) -> None:
    with sqlite3.connect(ledger) as db:
        db.execute("DELETE FROM snapshot")


DAMAGES: dict[str, Callable[[Path], None]] = {
    "a digit": flipped,
    "none": without,
    "no JSON": damage(lambda told: '{"version": "0.1'),
    "a list": damage(lambda told: "[]"),
    "no loop": damage(lambda told: told.pop("loop") and None),
    "no run": damage(lambda told: told["loop"].pop("run") and None),
    "a profile that today's limits refuse": damage(
        lambda told: told["loop"]["run"]["profile"]["segments"][0].update(to_c=400.0)
    ),
    "too few thermometers": damage(lambda told: told["loop"]["screening"].clear()),
    "text for a number": damage(lambda told: told["loop"].update(night_s="long")),
    "no number": damage(lambda told: told["loop"].update(wall_s=float("nan"))),
    "an alarm nobody knows": damage(lambda told: told["loop"]["alarms"].update(alarms=[[1, 2]])),
}  # fmt: skip


@pytest.mark.parametrize("name", DAMAGES)
def test_a_snapshot_that_cannot_be_used_starts_tripped_where_a_night_was_under_way(
    ledger: Path, name: str
) -> None:
    """Fails before this: a traceback, and no start."""
    broken_off(ledger)
    DAMAGES[name](ledger)
    with again(ledger) as (oven, d):
        assert (d.phase, d.trip) == (Phase.TRIPPED, "resume-refused")
        (said,) = [e.message for e in d.events if e.kind == "trip"]
        assert said.startswith("The night was not resumed: ")
        no_heat(oven)
        night = LedgerReader(ledger).nights()[0]
        assert night["outcome"] == "lost"
        why = said.removeprefix("The night was not resumed: ").split(". See ")[0]
        assert night["reason"].endswith(f"was broken off and not resumed: {why}.")
        can_be_reset(oven)
    ended = LedgerReader(ledger).night(1)
    assert ended is not None
    assert ended.ended_s is not None
    assert ended.ended_s >= ended.started_s + 290.0


@pytest.mark.parametrize("name", [name for name in DAMAGES if "profile" not in name])
def test_it_starts_at_rest_where_none_was(ledger: Path, name: str) -> None:
    """Fails before this: a traceback, and no start."""
    with RecordedOven(ledger) as oven:
        oven.run(100.0)
        oven.tick(word("stop"))
    if name == "a digit":
        damage(lambda told: '{"version":"0.1.0","k":1}')(ledger)
    else:
        DAMAGES[name](ledger)
    with again(ledger) as (oven, d):
        assert (d.phase, d.trip) == (Phase.IDLE, None)
        assert oven.tick(start(SHORT)._replace(id=73)).phase is Phase.RAMP


@pytest.mark.parametrize(
    ("settings", "version", "why"),
    [
        ({"limits": {"air_c": 55.0}}, None, "the settings were changed meanwhile"),
        ({}, "99.0", f"it was run by version {__version__}, this is 99.0"),
    ],
)
def test_a_night_of_other_settings_or_another_version_is_not_taken_up(
    ledger: Path,
    settings: dict[str, Any],
    version: str | None,
    why: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    broken_off(ledger)
    if version is not None:
        monkeypatch.setattr(taking_up, "__version__", version)
    with again(ledger, **settings) as (oven, d):
        assert d.trip == "resume-refused"
        assert why in d.events[0].message
        can_be_reset(oven)


def test_a_snapshot_of_another_night_heats_nothing(ledger: Path) -> None:
    broken_off(ledger)
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE snapshot SET night_id = NULL")
    with again(ledger) as (oven, d):
        assert d.trip == "resume-refused"
        assert "of another night" in d.events[0].message
        no_heat(oven)


def test_a_ledger_put_back_from_a_running_night_starts_nothing(
    ledger: Path, tmp_path: Path
) -> None:
    """Nobody asked for heat; the night of the copy has ended since."""
    with RecordedOven(ledger) as oven:
        oven.run(300.0)
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "all is written")
        backup(ledger, tmp_path / "copy")
        oven.tick(word("stop"))
    (tmp_path / "copy").rename(ledger)
    for end in ("-wal", "-shm"):
        Path(f"{ledger}{end}").unlink(missing_ok=True)
    with RecordedOven(ledger) as oven:
        oven.t_s = 320.0
        assert oven.tick().phase is Phase.IDLE
        assert oven.lost is not None
        assert "the trip latch says that none was under way" in oven.lost


def test_an_armed_latch_of_which_the_newest_write_was_torn_is_not_gone_on_with(
    ledger: Path,
) -> None:
    """What was being written was a trip, perhaps."""
    broken_off(ledger)
    file = ledger.parent / NAME
    data = bytearray(file.read_bytes())
    newest = data.rindex(b'"armed"') // SLOT
    data[(1 - newest) * SLOT] ^= 0xFF
    file.write_bytes(bytes(data))
    assert read_latch(ledger.parent).torn
    with again(ledger) as (oven, d):
        assert d.trip == "resume-refused"
        can_be_reset(oven)


def test_all_broken_off_nights_are_closed_by_the_next_start(ledger: Path) -> None:
    """Fails before this: such a night stayed open for ever, and nothing could be thinned."""
    broken_off(ledger)
    with sqlite3.connect(ledger) as db:
        names = "label, oven, profile, settings, version, opening, started_s"
        db.execute(f"INSERT INTO nights ({names}) SELECT {names} FROM nights")
    with again(ledger):
        pass
    assert [n["outcome"] for n in LedgerReader(ledger).nights()] == ["lost", "lost"]


# ---- the latch itself ----------------------------------------------------------------------------


@pytest.mark.parametrize("state", ["removed", "damaged"])
@pytest.mark.parametrize("was", ["tripped", "broken off", "at rest"])
def test_without_a_latch_the_ledger_tells(ledger: Path, state: str, was: str) -> None:
    if was == "tripped":
        tripped_night(ledger)
    elif was == "broken off":
        broken_off(ledger)
    else:
        with RecordedOven(ledger) as oven:
            oven.run(100.0)
            oven.tick(word("stop"))
    file = ledger.parent / NAME
    file.unlink() if state == "removed" else file.write_bytes(b"\xff" * 2 * SLOT)
    with again(ledger) as (oven, d):
        if (was, state) == ("at rest", "removed"):
            assert d.trip is None
        else:
            trip = "control-sensor-lost" if was == "tripped" else "resume-refused"
            assert (d.phase, d.trip) == (Phase.TRIPPED, trip)
            no_heat(oven)
            can_be_reset(oven)


def test_a_ledger_of_a_version_without_a_latch(ledger: Path) -> None:
    """Its night is not gone on with, its trip stays; at rest it stays at rest (above)."""
    broken_off(ledger)
    (ledger.parent / NAME).unlink()
    with sqlite3.connect(ledger) as db:
        (text,) = db.execute("SELECT state FROM snapshot").fetchone()
        told = json.loads(text)
        del told["k"], told["token"]
        db.execute("UPDATE snapshot SET state = ?", (json.dumps(told),))
    with again(ledger) as (oven, d):
        assert d.trip == "resume-refused"
        can_be_reset(oven)


def test_when_it_is_armed_and_when_it_is_cleared(ledger: Path) -> None:
    folder = ledger.parent

    def says(state: str) -> Latch:
        wait_for(lambda: read_latch(folder).state == state, 30, f"the latch is {state}")
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "all is written")
        return read_latch(folder)

    with RecordedOven(ledger, faults=["sensor-missing@10min+200s"]) as oven:
        oven.tick()
        says("clear")
        assert not oven.recorder.armed
        oven.tick(start(SHORT))
        first = says("armed")
        assert oven.recorder.armed
        oven.tick(word("stop", 2))
        says("clear")
        assert not oven.recorder.armed
        oven.tick(start(SHORT)._replace(id=3))
        second = says("armed")
        assert second.token != first.token
        while (d := oven.tick()).trip is None:
            assert oven.t_s < 750.0
        trip = says("tripped")
        assert trip.trip == d.trip
        assert trip.message == next(e.message for e in d.events if e.kind == "trip")
        while oven.t_s < 900.0:
            oven.tick()
        oven.tick(word("acknowledge", 4))
        assert says("tripped") == trip, "seen is not reset"
        oven.tick(word("reset", 5))
        says("clear")


def test_it_is_cleared_only_after_the_ledger_knows(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with RecordedOven(ledger) as oven:
        oven.run(100.0)
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "all is written")
        real = LedgerWriter.transaction

        def full(self: LedgerWriter, durable: bool) -> Any:
            raise LedgerLost("The ledger cannot be written: database or disk is full.")

        monkeypatch.setattr(LedgerWriter, "transaction", full)
        oven.recorder.wait_below = lambda *_: None  # type: ignore[method-assign]
        oven.tick(word("stop"))
        oven.tick()
        with pytest.raises(AssertionError, match="not within"):
            wait_for(lambda: read_latch(ledger.parent).state != "armed", 0.5, "it is cleared")
        monkeypatch.setattr(LedgerWriter, "transaction", real)
        wait_for(lambda: read_latch(ledger.parent).state == "clear", 30, "it is cleared")


# ---- copies --------------------------------------------------------------------------------------


def test_a_backup_carries_a_trip_that_the_ledger_does_not_know(
    ledger: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    with RecordedOven(ledger, faults=["sensor-missing@8min"]) as oven:
        oven.run(400.0)
        wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "all is written")

        def full(self: LedgerWriter, durable: bool) -> Any:
            raise LedgerLost("The ledger cannot be written: database or disk is full.")

        with monkeypatch.context() as now:
            now.setattr(LedgerWriter, "transaction", full)
            oven.recorder.wait_below = lambda *_: None  # type: ignore[method-assign]
            assert oven.run(600.0).trip == "control-sensor-lost"
            oven.close()
    (tmp_path / "card").mkdir()
    copy = tmp_path / "card" / "n.ledger"
    backup(ledger, copy)
    with again(copy) as (oven, d):
        assert d.trip == "control-sensor-lost"
        can_be_reset(oven)
        oven.tick(word("stop", 80))
    with again(copy) as (_, d):
        assert d.trip is None, "what it carried is used once"


def test_a_backup_of_a_running_night_starts_nothing_elsewhere(ledger: Path, tmp_path: Path) -> None:
    broken_off(ledger)
    (tmp_path / "card").mkdir()
    copy = tmp_path / "card" / "n.ledger"
    backup(ledger, copy)
    with RecordedOven(copy) as oven:
        oven.t_s = 320.0
        d = oven.tick()
        assert d.trip == "resume-refused"
        no_heat(oven)


def test_a_night_carried_in_moves_no_latch(ledger: Path, tmp_path: Path) -> None:
    (tmp_path / "other").mkdir()
    other = tmp_path / "other" / "n.ledger"
    with RecordedOven(other) as oven:
        oven.run(100.0)
        oven.tick(word("stop"))
    file = tmp_path / "night.zip"
    export_night(LedgerReader(other), 1, file)
    tripped_night(ledger)
    before = read_latch(ledger.parent)
    assert import_night(ledger, file) == 2
    assert read_latch(ledger.parent) == before
    with again(ledger) as (_, d):
        assert d.trip == "control-sensor-lost"
