"""What is made of a ledger: each kind told once, from nights that the real recorder wrote."""

from __future__ import annotations

import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import pytest

from nightcure.ledger.latch_file import LatchFile
from nightcure.ledger.outbox import Message, Outbox
from nightcure.ledger.writer import EventRow, LedgerWriter
from nightcure.notifier.falling_odds import FallingOdds
from nightcure.notifier.watch import Watch
from nightcure.notifier.wording import Writer
from nightcure.record.rehearsed_night import RehearsedNight
from nightcure.settings import Settings
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.tick import Phase
from tests.loop.demould_night import UNTIL_DEMOULD
from tests.nights import COARSE, word
from tests.recording import RecordedOven

from .services import telling, told


class Looking:
    """A watch and the outbox behind it, over restarts of both."""

    def __init__(self, settings: Settings) -> None:
        self.settings = settings
        self.outbox = Outbox(settings.ledger.with_name("x.outbox"))
        self.mono_s = 100.0
        self.watch = self.restarted()

    def restarted(self) -> Watch:
        self.watch = Watch(self.settings, self.outbox.place("read"), self.mono_s)
        return self.watch

    def look(self, later_s: float = 1.0) -> None:
        self.mono_s += later_s
        seen = self.watch.look(self.mono_s, time.time() + self.mono_s - 100.0)
        self.outbox.put(seen.messages, **({"read": seen.place} if seen.place else {}))

    def told(self) -> list[Message]:
        return self.outbox.last(500)[::-1]

    def kinds(self) -> list[str]:
        return [m.kind for m in self.told()]


def recorded(folder: Path, faults: Sequence[str] = (), until_s: float = 9000.0) -> Looking:
    """A notifier that was there before the night, and has looked after it."""
    settings = telling(folder / "w.ledger")
    with RecordedOven(settings.ledger, settings) as oven:
        oven.tick()
    looking = Looking(settings)
    looking.look()
    assert looking.kinds() == [], "what was before the first look is nobody's news"
    with RecordedOven(settings.ledger, settings, faults=faults) as oven:
        oven.run(until_s)
    looking.look()
    return looking


def test_a_quiet_night_tells_its_end(tmp_path: Path) -> None:
    looking = recorded(tmp_path)
    assert looking.kinds() == ["night"]
    looking.look()
    looking.restarted()
    looking.look()
    assert looking.kinds() == ["night"], "told once"
    (night,) = looking.told()
    assert night.title == "Estuary box: the night is over"
    assert "'Short' is done." in night.text


def test_a_night_with_parts_tells_each_milestone(tmp_path: Path) -> None:
    settings = telling(tmp_path / "w.ledger")
    LedgerWriter(settings.ledger).close()
    looking = Looking(settings)
    looking.look()
    with RehearsedNight(settings.ledger, COARSE, UNTIL_DEMOULD) as written:
        rehearse(COARSE, UNTIL_DEMOULD, BOX, ambient_c, on_tick=written.tick)
    looking.look()
    told = looking.told()
    assert [m.kind for m in told].count("demould") == 2, "the lid and the rim"
    assert looking.kinds()[-1] == "night"
    for m in told:
        assert len(m.text) <= 140, m.text
        assert len(m.title) <= 60, m.title


def test_a_trip_is_told_once_though_ledger_and_latch_both_tell_of_it(tmp_path: Path) -> None:
    looking = recorded(tmp_path, faults=["sensor-missing@10min"], until_s=1800.0)
    assert looking.kinds().count("trip") == 1
    (trip,) = [m for m in looking.told() if m.kind == "trip"]
    assert trip.title == "Estuary box: tripped, heater off"
    looking.restarted()
    looking.look()
    # A controller that starts anew and finds it standing tells nothing new.
    with RecordedOven(looking.settings.ledger, looking.settings) as oven:
        assert oven.tick().phase is Phase.TRIPPED
    looking.look()
    assert looking.kinds().count("trip") == 1


def test_a_second_trip_after_a_reset_is_told(tmp_path: Path) -> None:
    settings = telling(tmp_path / "w.ledger")
    fault = ["sensor-missing@10min+10min"]
    with RecordedOven(settings.ledger, settings, faults=fault) as oven:
        oven.tick()
        looking = Looking(settings)
        looking.look()
        oven.t_s = 0.0
        oven.run(1500.0)
        oven.run(1600.0, {1502.0: word("acknowledge"), 1510.0: word("reset", 10)})
        assert oven.loop.phase is Phase.IDLE
    looking.look()
    assert looking.kinds().count("trip") == 1
    with RecordedOven(settings.ledger, settings, faults=["sensor-missing@10min"]) as oven:
        oven.run(1500.0)
    looking.look()
    assert looking.kinds().count("trip") == 2


def test_a_lost_ledger_is_told_by_the_latch(tmp_path: Path) -> None:
    """There is no ledger to read: the file beside it tells of the trip."""
    looking = recorded(tmp_path, until_s=300.0)
    latch = LatchFile(tmp_path)
    from nightcure.ledger.latch_file import Latch

    latch.write(Latch("tripped", "t1", time.time(), "ledger-lost", "The ledger is gone."))
    latch.close()
    for end in ("", "-wal", "-shm"):
        Path(f"{looking.settings.ledger}{end}").unlink(missing_ok=True)
    looking.look()
    assert "The ledger is gone." in looking.told()[-1].text
    assert looking.kinds()[-1] == "trip"
    looking.look()
    assert looking.kinds().count("trip") == 1


def test_another_ledger_in_its_place_is_not_told_from_its_beginning(tmp_path: Path) -> None:
    (tmp_path / "a").mkdir()
    looking = recorded(tmp_path / "a", until_s=300.0)
    other = telling(tmp_path / "b" / "w.ledger")
    other.ledger.parent.mkdir()
    with RecordedOven(other.ledger, other, faults=["sensor-missing@10min"]) as oven:
        oven.run(3600.0)
    for end in ("-wal", "-shm"):
        Path(f"{looking.settings.ledger}{end}").unlink(missing_ok=True)
    other.ledger.replace(looking.settings.ledger)
    before = looking.kinds()
    looking.look()
    assert looking.kinds() == before, "an hour old: no news"


def test_silence_is_told_once_and_so_is_the_return(tmp_path: Path) -> None:
    settings = telling(tmp_path / "w.ledger")
    with RecordedOven(settings.ledger, settings) as oven:
        oven.tick()
        looking = Looking(settings)
        for _ in range(19):
            looking.look()
        assert looking.kinds() == []
        for _ in range(100):
            looking.look()
        assert looking.kinds() == ["no_answer"]
        looking.restarted()
        looking.look(30.0)
        assert looking.kinds() == ["no_answer"], "the same silence"
        oven.tick()
        time.sleep(0.1)
        looking.look()
        assert looking.kinds() == ["no_answer", "no_answer"]
        assert looking.told()[-1].title.endswith("answers again")


def test_a_wall_clock_that_jumps_is_no_silence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    settings = telling(tmp_path / "w.ledger")
    with RecordedOven(settings.ledger, settings) as oven:
        oven.tick()
        looking = Looking(settings)
        looking.look()
        real = time.time
        monkeypatch.setattr(time, "time", lambda: real() + 7200.0)
        for _ in range(10):
            oven.tick()
            looking.look()
    assert looking.kinds() == []


def test_an_alarm_that_comes_and_goes_is_told_seldom(tmp_path: Path) -> None:
    settings = telling(tmp_path / "w.ledger")
    writer = LedgerWriter(settings.ledger)
    looking = Looking(settings)
    looking.look()
    with writer.transaction(durable=True):
        for t_s in range(0, 1800, 2):
            for state in ("unacknowledged", "returned-unacknowledged"):
                row = (None, None, float(t_s), 1e9 + t_s, "alarm", "part-warm", state, "Warm.")
                writer.event(EventRow(*row))
        # A person sees it, and it comes once more.
        for t_s, state in ((1800, "unacknowledged"), (1801, "acknowledged"), (1802, "normal")):
            row = (None, None, 0.0, 1e9 + t_s, "alarm", "part-warm", state, "Warm.")
            writer.event(EventRow(*row))
        row = (None, None, 0.0, 1e9 + 1803, "alarm", "part-warm", "unacknowledged", "Warm.")
        writer.event(EventRow(*row))
    writer.close()
    looking.look()
    assert looking.kinds() == ["warning"] * 4, "half an hour of it, then it is new"


# ---- odds ----------------------------------------------------------------------------------------


def live(wall_s: float, at_s: float | None, high_s: float | None) -> dict[str, Any]:
    hard = {"name": "demould", "at_s": at_s, "low_s": None, "high_s": high_s}
    part = {"name": "Lid", "milestones": [hard]}
    return {"night_id": 1, "wall_s": wall_s, "left_s": 30000.0 - wall_s, "most_s": None,
            "cure": [part]}  # fmt: skip


def test_falling_odds_are_told_when_they_last() -> None:
    odds = FallingOdds(Writer("Estuary box", told()))
    assert odds.look(live(0.0, 20000.0, 25000.0), 0.0) == []
    assert odds.look(live(60.0, 20000.0, 31000.0), 0.0) == []
    assert odds.look(live(300.0, 20000.0, 25000.0), 0.0) == [], "a draught"
    assert odds.look(live(400.0, 20000.0, 31000.0), 0.0) == []
    (first,) = odds.look(live(1100.0, 20000.0, 31000.0), 0.0)
    assert "Lid was to be hard when the night ends" in first.text
    assert odds.look(live(2000.0, 20000.0, 31000.0), 0.0) == [], "once"
    assert odds.look(live(2100.0, None, None), 0.0) == []
    (second,) = odds.look(live(2800.0, None, None), 0.0)
    assert second.text.endswith("now not in sight.")
    assert second.key != first.key


def test_odds_that_were_never_good_do_not_fall() -> None:
    odds = FallingOdds(Writer("Estuary box", told()))
    for t_s in range(0, 5000, 60):
        assert odds.look(live(float(t_s), 40000.0, 50000.0), 0.0) == []
