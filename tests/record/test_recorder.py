"""The recorder, and what its record is worth: a fresh loop decides the same, to the bit."""

from __future__ import annotations

import json
import shutil
import sqlite3
import threading
import time
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from nightcure.ledger.latch_file import LatchFile, state_folder
from nightcure.ledger.reader import LedgerReader
from nightcure.ledger.writer import LedgerLost, LedgerWriter
from nightcure.record.recorder import Recorder
from nightcure.tick import Phase

from ..nights import COARSE, SETTINGS, SHORT, changed, start, word
from ..recording import RecordedOven, replay
from ..workshop import wait_for

NIGHT_S = 9000.0
#: The house rule, not the recorder's own constant.
MOST_LOST_S = 10.0


@pytest.fixture
def ledger(tmp_path: Path) -> Path:
    return tmp_path / "n.ledger"


# ---- to the bit --------------------------------------------------------------------------------


def test_a_whole_night_decides_the_same_again(ledger: Path) -> None:
    with RecordedOven(ledger, COARSE) as oven:
        assert oven.run(NIGHT_S).phase is Phase.DONE
    count, differences = replay(ledger)
    assert differences == []
    assert 0.5 * NIGHT_S / 4 < count <= NIGHT_S / 4
    night = LedgerReader(ledger).night(1)
    assert night is not None
    assert night.outcome == "done"


@pytest.mark.parametrize(
    ("fault", "trip", "for_s"),
    [
        ("sensor-crc@10min", "control-sensor-lost", 2400.0),
        ("sensor-frozen@10min", "control-sensor-lost", 3000.0),
        ("door-open@15min+4min", None, 2400.0),
        ("relay-welded@15min", "heater-stuck-on", 3000.0),
    ],
)
def test_a_night_with_a_fault_decides_the_same_again(
    ledger: Path, fault: str, trip: str | None, for_s: float
) -> None:
    with RecordedOven(ledger, faults=[fault], seed=5) as oven:
        assert oven.run(for_s).trip == trip
    count, differences = replay(ledger)
    assert differences == []
    assert count == for_s / 2


def test_a_night_with_commands_decides_the_same_again(ledger: Path) -> None:
    with RecordedOven(ledger, faults=["sensor-crc@20min+3min"]) as oven:
        oven.run(2200.0, {600.0: word("acknowledge", 2), 1700.0: word("acknowledge", 3)})
        assert oven.loop.phase is Phase.TRIPPED
        assert oven.tick(word("reset", 4)).phase is Phase.IDLE
        assert oven.run(oven.t_s + 2, {}).phase is Phase.IDLE
    count, differences = replay(ledger)
    assert differences == []
    assert count > 1000


def test_a_steered_night_decides_the_same_again(ledger: Path) -> None:
    asked = {
        300.0: word("setpoint", 2, celsius=22.0),
        1200.0: word("extend", 3, minutes=5),
        1300.0: word("extend", 4, minutes="long"),
        2600.0: word("setpoint", 5, celsius=24.5),
        2800.0: word("extend", 6, minutes=-20.5),
        3600.0: word("skip", 7),
        3700.0: word("skip", 8),
    }
    with RecordedOven(ledger) as oven:
        assert oven.run(NIGHT_S / 2, asked).phase is Phase.DONE
    count, differences = replay(ledger)
    assert differences == []
    assert count == 3702 / 2, "to the skip of the last segment"
    told = LedgerReader(ledger).events(1)
    states = [e["state"] for e in told if e["kind"] == "command"]
    assert sorted(states) == ["done"] * 5 + ["refused"] * 2, "no soak at 1200 s, no number at 1300"
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET inputs = replace(inputs, '22.0', '22.5') WHERE seq = 150")
    assert replay(ledger)[1][0][0] == 150, "another setpoint is another night"


def test_a_steered_night_broken_off_goes_on_as_steered(ledger: Path) -> None:
    oven = RecordedOven(ledger)
    oven.run(600.0, {300.0: word("setpoint", 2, celsius=22.0)})
    oven.close()
    oven.t_s += 60.0
    oven.open()
    assert oven.loop.run is not None
    assert oven.loop.run.profile.highest_c == 22.0, "the ramp and the soak that holds it"
    assert oven.loop.run.segment.to_c == 22.0
    oven.run(oven.t_s + 400.0)
    oven.close()
    assert replay(ledger)[1] == []


def test_nights_before_and_after_a_check_decide_the_same_again(ledger: Path) -> None:
    """Each night's record holds the offsets it ran with."""
    air = SETTINGS.thermometers[0].id
    check = word("offset", 4, sensor_id=air, method="typed", offset_c=-0.7)
    with RecordedOven(ledger) as oven:
        oven.run(300.0)
        oven.tick(word("stop", 3), check)
        oven.run(oven.t_s + 60.0)
        oven.tick(start(SHORT, 5))
        oven.run(oven.t_s + 300.0)
        oven.tick(word("stop", 6))
    with RecordedOven(ledger) as again:  # the controller starts anew
        assert again.lost is None
        assert again.loop.settings.thermometers[0].offset_c == -0.7
        again.oven, again.t_s = oven.oven, oven.t_s
        again.tick(start(SHORT, 7))
        again.run(again.t_s + 300.0)
        again.close()
        again.t_s += 30.0
        again.open()
        assert again.lost is None, "a broken-off night goes on with the offset it had"
        again.run(again.t_s + 100.0)
    offsets = []
    for number in (1, 2, 3):
        count, differences = replay(ledger, number)
        assert differences == []
        assert count > 140
        night = LedgerReader(ledger).night(number)
        assert night is not None
        offsets.append(json.loads(night.settings)["thermometers"][0]["offset_c"])
    assert offsets == [0.0, -0.7, -0.7]
    (kept,) = LedgerReader(ledger).checks().values()
    assert (kept["sensor_id"], kept["offset_c"], kept["who"]) == (air, -0.7, "test")
    with sqlite3.connect(ledger) as db:
        db.execute(
            "UPDATE nights SET settings = replace(settings, '\"offset_c\":-0.7',"
            " '\"offset_c\":0.0') WHERE id = 2"
        )
    assert replay(ledger, 2)[1] != []


def test_a_night_with_the_plainer_regulator_decides_the_same_again(ledger: Path) -> None:
    settings = changed(SETTINGS, regulator={"kind": "bang-bang"})
    with RecordedOven(ledger, settings) as oven:
        oven.run(1500.0)
    assert replay(ledger)[1] == []


@pytest.mark.parametrize("regulator", [None, "bang-bang"])
def test_a_night_broken_off_and_resumed_decides_the_same_again(
    ledger: Path, regulator: str | None
) -> None:
    """By the oven's own regulator, and by the one that the profile asks for in its place."""
    profile = SHORT.model_copy(update={"regulator": regulator})
    oven = RecordedOven(ledger)
    oven.run(900.0, profile=profile)
    for _ in range(2):
        oven.close()
        oven.t_s += 60.0  # the power is away
        oven.open()
        assert oven.lost is None
        oven.run(oven.t_s + 400.0)
    oven.close()
    assert oven.loop.phase in (Phase.RAMP, Phase.SOAK)
    count, differences = replay(ledger)
    assert differences == []
    assert count == (900 + 2 * 400) / 2
    assert len(LedgerReader(ledger).nights()) == 1
    rows = [json.loads(t.inputs) for t in LedgerReader(ledger).ticks(1)]
    assert sum("resumed_from" in row for row in rows) == 2


def test_a_night_cut_off_and_resumed_decides_the_same_again(ledger: Path, tmp_path: Path) -> None:
    """The power goes: nothing is closed, the files stay as they are at that moment."""
    with RecordedOven(ledger) as oven:
        oven.run(1500.0)
        written(oven)
        cut = tmp_path / "cut.ledger"
        for end in ("", "-wal"):
            shutil.copy(f"{ledger}{end}", f"{cut}{end}")
    with RecordedOven(cut) as after:
        assert after.lost is None
        after.oven, after.t_s = oven.oven, oven.t_s + 60.0
        after.run(after.t_s + 900.0)
        assert after.loop.phase in (Phase.RAMP, Phase.SOAK)
    count, differences = replay(cut)
    assert differences == []
    assert count == (1500 + 900) / 2
    seqs = [t.seq for t in LedgerReader(cut).ticks(1)]
    assert seqs == list(range(count))
    resumed = [t.seq for t in LedgerReader(cut).ticks(1) if "resumed_from" in t.inputs]
    assert resumed == [750], "the first tick after the cut"
    told = [e["message"] for e in LedgerReader(cut).events()]
    assert any(m.startswith("Resumed after") for m in told), told


def test_a_night_ended_by_the_stop_button_decides_the_same_again(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        oven.run(600.0)
        oven.stop_pressed = True
        assert not oven.tick().heater_on
        oven.stop_pressed = False
        oven.run(700.0)
    assert replay(ledger)[1] == []
    with sqlite3.connect(ledger) as db:
        (pressed,) = db.execute("SELECT seq FROM ticks WHERE inputs LIKE '%\"s\":1%'").fetchone()
        db.execute("UPDATE ticks SET inputs = replace(inputs, '\"s\":1', '\"s\":0')")
    assert replay(ledger)[1][0][0] == pressed, "without the press it would have gone on"


def test_one_flipped_bit_in_a_reading_is_found(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        oven.run(1500.0)
    with sqlite3.connect(ledger) as db:
        (text,) = db.execute("SELECT inputs FROM ticks WHERE seq = 700").fetchone()
        data = json.loads(text)
        data["r"][0][0] += 0.0625  # the sensor's last bit
        db.execute("UPDATE ticks SET inputs = ? WHERE seq = 700", (json.dumps(data),))
    _, differences = replay(ledger)
    assert differences
    assert differences[0][0] == 700


def test_one_changed_decision_is_found(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        oven.run(1500.0)
    with sqlite3.connect(ledger) as db:
        db.execute("UPDATE ticks SET heater = 1 - heater WHERE seq = 333")
    assert replay(ledger)[1] == [(333, "heater")]


# ---- the thread --------------------------------------------------------------------------------


class Watched(LedgerWriter):
    """Notes which transactions were durable; fails when told to."""

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self.durable: list[bool] = []
        self.lost = 0
        self.poison: set[int] = set()

    def transaction(self, durable: bool) -> Any:
        if self.lost:
            self.lost -= 1
            raise LedgerLost("The ledger cannot be written: disk full.")
        self.durable.append(durable)
        return super().transaction(durable)

    def tick(self, row: Any) -> None:
        if row.seq in self.poison:
            self.poison.discard(row.seq)
            raise sqlite3.IntegrityError("datatype mismatch")
        super().tick(row)


def watched(oven: RecordedOven) -> Watched:
    """The oven's recorder, on a writer that is watched."""
    oven.close()
    writer = Watched(oven.ledger)
    oven.recorder = Recorder(oven.settings, writer, LatchFile(state_folder(oven.ledger)))
    oven.recorder.start()
    return writer


def written(oven: RecordedOven) -> None:
    """Wait until every tick handed over is in the ledger."""
    wait_for(lambda: oven.recorder.silent_s(oven.t_s) == 0.0, 30, "the ledger caught up")


def test_quiet_ticks_are_made_durable_in_time(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """House rule: a power cut costs at most the last 10 s of samples."""
    now = {"s": 1000.0}
    clock = SimpleNamespace(monotonic=lambda: now["s"], sleep=time.sleep)
    monkeypatch.setattr("nightcure.record.recorder.time", clock)
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        for _ in range(60):
            oven.tick()
            written(oven)
            now["s"] += oven.settings.timing.tick_s
    durable_at = [i for i, d in enumerate(writer.durable[:60]) if d]
    gaps_s = [(b - a) * oven.settings.timing.tick_s for a, b in pairwise(durable_at)]
    assert len(gaps_s) > 8
    assert max(gaps_s) <= MOST_LOST_S
    assert min(gaps_s) >= MOST_LOST_S - 2 * oven.settings.timing.tick_s, "and not more often"


def test_a_tick_that_says_something_is_durable_at_once(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        for i in range(6):
            oven.tick(*([word("acknowledge", 7)] if i == 4 else []))
        oven.recorder.stop()
    assert writer.durable[4]


def test_what_could_not_be_written_is_written_later(
    ledger: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("nightcure.record.recorder.RETRY_S", 0.01)
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        oven.run(20.0)
        writer.lost = 5
        oven.run(60.0)
        written(oven)
        assert writer.lost == 0
    seqs = [t.seq for t in LedgerReader(ledger).ticks(1)]
    assert seqs == list(range(len(seqs)))
    assert len(seqs) == 30
    assert replay(ledger)[1] == []


def test_the_silence_grows_while_nothing_can_be_written(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        oven.run(20.0)
        written(oven)
        writer.lost = 10**6
        stalled_s = oven.t_s
        for _ in range(30):
            oven.tick()
        assert oven.recorder.silent_s(oven.t_s) == pytest.approx(oven.t_s - stalled_s)
        writer.lost = 0


def test_a_row_that_can_never_be_written_costs_its_tick_and_is_told(ledger: Path) -> None:
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        writer.poison = {5}
        oven.run(40.0)
    seqs = [t.seq for t in LedgerReader(ledger).ticks(1)]
    assert len(seqs) == 19, "one of twenty is lost"
    told = [e for e in LedgerReader(ledger).events() if e["name"] == "not-recorded"]
    assert len(told) == 1
    assert "datatype mismatch" in told[0]["message"]


def test_a_night_whose_beginning_cannot_be_written_counts_as_unrecorded(ledger: Path) -> None:
    """Its later ticks have no night to belong to; the loop is told, and trips."""
    with RecordedOven(ledger) as oven:
        writer = watched(oven)
        writer.poison = {0}
        oven.run(40.0)
        wait_for(lambda: not oven.recorder._waiting, 30, "all is handled")
        assert oven.recorder.silent_s(oven.t_s) == pytest.approx(oven.t_s)
    assert LedgerReader(ledger).nights() == []


def test_what_waits_at_closing_is_written_and_on_the_disk(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Quiet ticks, of which nothing else would have been synced."""
    oven = RecordedOven(tmp_path / "n.ledger")
    oven.run(20.0)
    oven.recorder.wait_below(0, 30.0)
    go_on, synced = threading.Event(), []
    keep, transaction = oven.recorder._latch.keep, LedgerWriter.transaction

    def held() -> None:
        go_on.wait(30.0)
        keep()

    def noted(self: LedgerWriter, durable: bool) -> Any:
        synced.append(durable)
        return transaction(self, durable)

    monkeypatch.setattr(oven.recorder._latch, "keep", held)
    monkeypatch.setattr(LedgerWriter, "transaction", noted)
    for _ in range(3):
        oven.tick()
    closing = threading.Thread(target=oven.close)
    closing.start()
    wait_for(lambda: oven.recorder._closing, 30, "it is told to close")
    go_on.set()
    closing.join(30.0)
    assert synced == [True, True, True]
    assert len(list(LedgerReader(oven.ledger).ticks(1))) == 20 / 2 + 3
