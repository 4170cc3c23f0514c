"""A night that is over in the very tick of its start has a profile and a record like any other."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.profile import parse_profile
from nightcure.tick import Command, Phase

from ..nights import SHORT, start, word
from ..recording import RecordedOven, replay

ONE = parse_profile({"name": "One", "segments": [{"kind": "soak", "at_c": 12.0, "hours": 1.0}]})


@pytest.mark.parametrize(
    ("more", "outcome"), [([word("skip", 2)], "done"), ([word("stop", 2)], "stopped")]
)
def test_a_night_over_in_the_tick_of_its_start_is_recorded(
    more: list[Command], outcome: str, tmp_path: Path
) -> None:
    path = tmp_path / "n.ledger"
    with RecordedOven(path) as oven:
        commands = [*more, start(ONE, 1)] if outcome == "stopped" else [start(ONE, 1), *more]
        d = oven.tick(*sorted(commands, key=lambda c: c.id))
        assert not d.heater_on
        assert d.phase in (Phase.DONE, Phase.IDLE)
        oven.tick()
        oven.tick(start(SHORT, 3))
        oven.tick()
    reader = LedgerReader(path)
    night = reader.night(1)
    assert night is not None
    assert (night.outcome, json.loads(night.profile)["name"]) == (outcome, "One")
    assert [n["name"] for n in reader.events(1) if n["name"] == "not-recorded"] == []
    second = reader.night(2)
    assert second is not None
    assert json.loads(second.profile)["name"] == "Short"
    assert replay(path) == (1, [])


def test_one_tick_holds_one_night(tmp_path: Path) -> None:
    """Two in one tick would be one row: the second is asked for again."""
    with RecordedOven(tmp_path / "n.ledger") as oven:
        d = oven.tick(start(ONE, 1), word("skip", 2), start(SHORT, 3))
        assert [o.outcome for o in d.outcomes] == ["done", "done", "refused"]
        assert d.outcomes[2].message == (
            "Not started: another night began or ended this very moment; start once more."
        )
        d = oven.tick(start(SHORT, 4))
        assert d.phase is Phase.RAMP
        d = oven.tick(word("stop", 5), start(ONE, 6))
        assert [o.outcome for o in d.outcomes] == ["done", "refused"]
        assert oven.tick(start(ONE, 7)).phase is Phase.SOAK
