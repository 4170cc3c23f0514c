"""A night read back, where its board began to count anew in the middle of it."""

from __future__ import annotations

import sqlite3
from pathlib import Path

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.record.cure_history import EVERY_S, history_of_night
from nightcure.record.night import Night
from nightcure.survey.night_log import log_of_night
from tests.recording import RecordedOven

CUT_S, AWAY_S, END_S = 404.0, 60.0, 1000.0


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A night with a power cut, after which the monotonic clock began at 0."""
    path = tmp_path_factory.mktemp("night") / "n.ledger"
    oven = RecordedOven(path)
    oven.run(CUT_S)
    oven.close()
    oven.t_s += AWAY_S
    oven.open()
    oven.run(END_S)
    oven.close()
    with sqlite3.connect(path) as db:
        (seq,) = db.execute("SELECT seq FROM ticks WHERE inputs LIKE '%resumed_from%'").fetchone()
        db.execute("UPDATE ticks SET mono_s = mono_s - ? WHERE seq >= ?", (CUT_S + AWAY_S, seq))
    return path


def test_its_time_goes_on_over_the_cut(path: Path) -> None:
    night = Night(LedgerReader(path))
    assert (night.number, night.row.id, len(night)) == (1, 1, len(night.believed_c))
    steps = [b - a for a, b in zip(night.time_s, night.time_s[1:], strict=False)]
    assert max(steps) == pytest.approx(AWAY_S + night.tick_s, abs=night.tick_s)
    assert set(steps) - {max(steps)} == {night.tick_s}
    assert night.time_s[-1] == pytest.approx(END_S, abs=2 * night.tick_s)
    assert night.thermometer_c(0)[-1] == night.control_c[-1]
    assert night.indices("part", "mould") == [1, 2]


def test_histories_and_surveys_have_what_came_after_it(path: Path) -> None:
    """Both went by the monotonic clock, and lost all until it was past where it had been."""
    history = history_of_night(path, None, None)
    assert history[-1][0] > END_S - 2 * EVERY_S
    log = log_of_night(path, None)
    assert log.length_s > END_S - 2 * EVERY_S


def test_a_survey_knows_the_heater_off_while_no_tick_ran(path: Path) -> None:
    """The share before the cut was held over it: a minute of heat that nobody gave."""
    night, log = Night(LedgerReader(path)), log_of_night(path, None)
    cut = max(range(1, len(night)), key=lambda i: night.time_s[i] - night.time_s[i - 1])
    assert night.heater[cut - 1] == 1, "the night is cut while the heater is on"
    given_s = sum(log.heat[:-1] * (log.heat_time_s[1:] - log.heat_time_s[:-1]))
    assert given_s == pytest.approx(sum(night.heater) * night.tick_s, abs=2 * night.tick_s)


def test_no_such_night_is_told(path: Path) -> None:
    with pytest.raises(BadInput, match="holds no night 7"):
        Night(LedgerReader(path), 7)
