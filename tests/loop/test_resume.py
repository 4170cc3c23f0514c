"""After a crash or a power cut: the night goes on, or trips and says why; a trip stays a trip."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.loop.loop import Loop
from nightcure.replay.verify import verify
from nightcure.tick import Command, Decision, OffCode, Phase, TickInputs, WhyOff
from tests.nights import (
    SETTINGS,
    SHORT,
    readings,
    run,
    start,
    still,
    through_text,
    tripped,
    word,
)
from tests.recording import RecordedOven


def test_a_trip_survives_a_power_cut() -> None:
    loop, t_s = tripped()
    second = Loop(SETTINGS)
    second.resume(json.loads(json.dumps(loop.snapshot())))
    d = second.tick(still(t_s + 60))
    assert d.trip == "control-sensor-lost"
    assert d.phase is Phase.TRIPPED
    assert not d.heater_on


def resumed(away_s: float, air_c: float) -> Decision:
    loop = Loop(SETTINGS)
    run(loop, [still(2.0 * i, *([start()] if i == 0 else [])) for i in range(30)])
    second = Loop(SETTINGS)
    second.resume(json.loads(json.dumps(loop.snapshot())))
    # A rebooted board counts its monotonic time from nothing.
    inputs = TickInputs(5.0, 1058.0 + away_s, readings(5.0, air_c, 9.0, 9.0, 9.0))
    return second.tick(inputs)


@pytest.mark.parametrize(
    ("away_s", "air_c", "why"),
    [
        (1900.0, 9.0, "it stood still for 31 min 40 s, allowed are 30 min"),
        (60.0, -32.0, "the air fell by 41.0 K, allowed are 40.0 K"),
        (-600.0, 9.0, "nobody can tell for how long it stood still"),
    ],
)
def test_a_resume_is_refused_with_its_reason(away_s: float, air_c: float, why: str) -> None:
    d = resumed(away_s, air_c)
    assert d.trip == "resume-refused"
    assert d.phase is Phase.TRIPPED
    assert not d.heater_on
    assert any(why in e.message for e in d.events), d.events


def test_a_resume_within_its_limits_goes_on() -> None:
    d = resumed(120.0, 8.0)
    assert d.trip is None
    assert d.phase is Phase.RAMP
    assert any(e.message.startswith("Resumed after 2 min") for e in d.events)


def cut_off(ticks: int = 30) -> dict[str, Any]:
    """What the ledger holds of a night when the power fails."""
    loop = Loop(SETTINGS)
    run(loop, [still(2.0 * i, *([start()] if i == 0 else [])) for i in range(ticks)])
    return through_text(loop)


def back(t_s: float, away_s: float, *commands: Command, air_c: float | None = 9.0) -> TickInputs:
    """A tick of a board that came up `away_s` after the cut, its monotonic time begun anew."""
    return TickInputs(t_s, 1058.0 + away_s, readings(t_s, air_c, 9.0, 9.0, 9.0), commands)


def test_a_refused_resume_can_be_reset_and_the_oven_started_again() -> None:
    loop = Loop(SETTINGS)
    loop.resume(cut_off())
    assert loop.tick(back(5.0, 3600.0)).trip == "resume-refused"
    assert loop.tick(back(7.0, 3602.0)).phase is Phase.TRIPPED
    d = loop.tick(back(9.0, 3604.0, word("reset")))
    assert d.outcomes[0].outcome == "done", d.outcomes
    assert (d.trip, d.phase) == (None, Phase.IDLE)
    assert loop.tick(back(11.0, 3606.0, start())).phase is Phase.RAMP


def test_a_refused_resume_outlasts_the_next_power_cut_and_can_still_be_reset() -> None:
    first = Loop(SETTINGS)
    first.resume(cut_off())
    first.tick(back(5.0, 3600.0))
    second = Loop(SETTINGS)
    second.resume(through_text(first))
    assert second.tick(back(3.0, 3700.0, air_c=None)).trip == "resume-refused"
    d = second.tick(back(5.0, 3702.0, word("reset"), air_c=None))
    assert d.outcomes[0].outcome == "done"


def test_the_contactor_stays_open_until_it_is_known_whether_the_night_goes_on() -> None:
    """Behind a relay that welded meanwhile it is all that keeps the heater off."""
    loop = Loop(SETTINGS)
    loop.resume(cut_off())
    ds = [loop.tick(back(5.0 + 2.0 * i, 3600.0, air_c=None)) for i in range(40)]
    assert not any(d.contactor_on for d in ds)
    assert ds[-1].trip == "resume-refused"


def test_a_box_left_open_over_a_restart_stays_doubted() -> None:
    loop = Loop(SETTINGS)
    shut, open_box = (27.0, 30.0, 30.0, 9.0), (10.0, 30.0, 30.0, 9.0)
    ticks = [still(2.0 * i, *([start()] if i == 0 else []), values=shut if i < 320 else open_box)
             for i in range(400)]  # fmt: skip
    assert run(loop, ticks)[-1].why_off == WhyOff(OffCode.AIR_DOUBTED)
    second = Loop(SETTINGS)
    second.resume(through_text(loop))
    living = [(10.0 + 0.0625 * (i % 2), *open_box[1:]) for i in range(2800)]
    ds = run(second, [still(800.0 + 2.0 * i, values=v) for i, v in enumerate(living)])
    assert ds[100].phase is Phase.RAMP, "it has as long to be shut as without a restart"
    assert 0.0 < 2.0 * sum(d.heater_on for d in ds) <= 5 * 240.0, "pulses, none of them answered"
    assert ds[-1].trip == "heater-without-effect"


def test_the_heater_comes_on_again_on_a_board_whose_time_began_anew() -> None:
    """What the relay remembers of the old time must not keep it off (or count as on) for hours."""
    loop = Loop(SETTINGS)
    frost = (9.0, 9.0, 9.0, -20.0)
    ds = run(loop, [still(9e4 + 2.0 * i, *([start()] if i == 0 else []), values=frost)
                    for i in range(50)])  # fmt: skip
    assert any(d.heater_on for d in ds)
    while ds[-1].heater_on:  # cut off in a pause: its beginning lies in the old time
        ds = run(loop, [still(loop.snapshot()["mono_s"] + 2.0, values=frost)])
    state = through_text(loop)
    second = Loop(SETTINGS)
    second.resume(state)
    ds = [
        second.tick(TickInputs(t_s, state["wall_s"] + 60.0 + t_s, readings(t_s, *frost)))
        for t_s in (3.0 + 2.0 * i for i in range(30))
    ]
    assert not ds[0].heater_on
    assert any(d.heater_on for d in ds)


def test_two_cuts_in_a_row_count_from_the_first() -> None:
    """A board that falls again before it has read the air has not resumed anything."""
    first = Loop(SETTINGS)
    first.resume(cut_off())
    assert first.tick(back(5.0, 1500.0, air_c=None)).trip is None  # 25 min, still undecided
    second = Loop(SETTINGS)
    second.resume(through_text(first))
    assert second.tick(back(3.0, 3000.0)).trip == "resume-refused"


def test_a_snapshot_amid_a_resume_restores_to_the_bit() -> None:
    one = Loop(SETTINGS)
    one.resume(cut_off())
    one.tick(back(5.0, 3600.0, air_c=None))
    two = Loop(SETTINGS)
    two.restore(through_text(one))
    for i in range(5):
        inputs = back(7.0 + 2 * i, 3602.0 + 2 * i)
        assert two.tick(inputs) == one.tick(inputs)
    assert one.phase is Phase.TRIPPED


def test_a_resume_that_never_sees_the_air_trips() -> None:
    loop = Loop(SETTINGS)
    loop.resume(cut_off())
    for i in range(60):
        d = loop.tick(back(5.0 + 2 * i, 60.0 + 2 * i, air_c=None))
        assert not d.heater_on
    assert d.trip in ("resume-refused", "control-sensor-lost")


def test_stopped_while_resuming_is_stopped_for_good() -> None:
    loop = Loop(SETTINGS)
    loop.resume(cut_off())
    assert loop.tick(back(5.0, 60.0, word("stop"), air_c=None)).phase is Phase.IDLE
    assert loop.tick(back(7.0, 62.0)).phase is Phase.IDLE
    d = loop.tick(back(9.0, 64.0, start()))
    assert (d.phase, d.trip) == (Phase.RAMP, None)


def test_a_restart_after_a_night_by_the_other_regulator(tmp_path: Path) -> None:
    """The night is over and its regulator with it: the controller starts, and heats again."""
    ledger = tmp_path / "n.ledger"
    other = SHORT.model_copy(update={"regulator": "bang-bang"})
    with RecordedOven(ledger) as oven:
        oven.run(300.0, profile=other)
        oven.tick(word("stop", 5))
        oven.run(oven.t_s + 60.0)
    with RecordedOven(ledger) as oven:
        assert oven.lost is None
        assert oven.loop.phase is Phase.IDLE
        oven.t_s = 400.0
        oven.tick(start(SHORT)._replace(id=9))
        oven.run(oven.t_s + 200.0)
        assert oven.loop.phase is Phase.RAMP
    for night_id in (1, 2):
        found = verify(LedgerReader(ledger), night_id)
        assert found.same
        assert found.remarks == []
