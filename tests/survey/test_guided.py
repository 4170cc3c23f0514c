"""The guided survey: an ordinary night through the real loop, ended when enough is known."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.errors import BadInput
from nightcure.ledger.reader import LedgerReader
from nightcure.profile import parse_profile
from nightcure.simulate.scenario import BOX, ambient_c
from nightcure.simulate.virtual import VirtualOven
from nightcure.survey.guided import guided, half_width
from nightcure.survey.heat_and_cool import COOLED_S, profile_for
from nightcure.survey.identified import Survey
from nightcure.survey.log import Log
from nightcure.survey.night_log import log_of_night
from nightcure.survey.survey import survey
from nightcure.tick import Phase
from tests.nights import COARSE, SETTINGS, start, word
from tests.recording import RecordedOven

#: Between two looks at the oven.
LOOK_S, LOOK_SELDOM_S = 1200.0, 1800.0


class Recorded:
    """A recorded virtual oven as the guided survey wants it; time passes when it waits."""

    def __init__(self, ledger: Path, faults: tuple[str, ...] = ()) -> None:
        self.ledger = ledger
        self.oven = RecordedOven(ledger, COARSE, faults)
        self.finished = False
        self.phase = Phase.IDLE
        self.heaters: list[bool] = []

    def start(self, profile: dict[str, Any]) -> None:
        decision = self.oven.tick(start(parse_profile(profile)))
        for outcome in decision.outcomes:
            if outcome.outcome == "refused":
                raise BadInput(outcome.message)

    def wait(self, seconds: float) -> None:
        until_s = self.oven.t_s + seconds
        while self.oven.t_s < until_s:
            decision = self.oven.tick()
            self.phase = decision.phase
            self.heaters.append(decision.heater_on)
        self.oven.recorder.wait_below(1, 30.0)

    def log(self) -> Log:
        return log_of_night(self.ledger, 1)

    def why_over(self) -> str | None:
        night = LedgerReader(self.ledger).night(1)
        return None if night is None or night.outcome is None else night.reason

    def finish(self) -> None:
        self.finished = True
        while self.oven.tick(word("skip")).phase is not Phase.DONE:
            pass  # as many segments as are left


@pytest.mark.parametrize("moulds", [0.6, 1.8])
def test_a_test_content_with_little_is_not_wrong(
    tmp_path: Path, moulds: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Cold moulds pass for loss, so it waits for the cool-down, however little is asked.

    Against the box's own loss, with lighter and heavier moulds.
    """
    live = Recorded(tmp_path / "n.ledger")
    network = BOX.with_mould_times(moulds)
    live.oven.oven = VirtualOven(network, SETTINGS.thermometers, ambient_c, seed=1)
    looks: list[Survey] = []

    def noted(log: Log) -> Survey:
        looks.append(survey(log))
        return looks[-1]

    monkeypatch.setattr("nightcure.survey.guided.survey", noted)
    with live.oven:
        profile = profile_for(SETTINGS.limits, ambient_c(0.0))
        found = guided(live, profile, 0.50, LOOK_SELDOM_S)
    loss = found.loss_w_per_k
    assert loss is not None
    assert loss.low <= network.loss_w_per_k <= loss.high
    assert COOLED_S <= found.log.fallen_s < COOLED_S + LOOK_SELDOM_S + 100.0
    assert loss.value == pytest.approx(network.loss_w_per_k, rel=0.10)
    assert len(looks) >= 4
    for early in looks[:-1]:
        assert early.loss_w_per_k is not None
        assert early.loss_w_per_k.low <= network.loss_w_per_k <= early.loss_w_per_k.high


def test_it_stops_as_soon_as_the_loss_is_known(tmp_path: Path) -> None:
    live = Recorded(tmp_path / "n.ledger")
    told: list[tuple[float, float | None]] = []
    profile = profile_for(SETTINGS.limits, ambient_c(0.0))
    with live.oven:
        found = guided(live, profile, 0.10, LOOK_S, lambda s, h: told.append((s, h)))
        live.wait(10.0)
    assert live.finished
    assert half_width(found) <= 0.10
    loss = found.loss_w_per_k
    assert loss is not None
    assert loss.value == pytest.approx(BOX.loss_w_per_k, rel=0.12)
    assert len(told) >= 2
    early = told[-2][1]
    assert early is None or early > 0.10 or live.log().fallen_s < COOLED_S + LOOK_S, (
        "not one look later than needed"
    )
    assert live.phase is Phase.DONE
    assert any(live.heaters)
    assert not any(live.heaters[-5:])


def test_an_interlock_ends_it_as_any_night(tmp_path: Path) -> None:
    live = Recorded(tmp_path / "n.ledger", ("sensor-missing@20min",))
    profile = profile_for(SETTINGS.limits, ambient_c(0.0))
    with live.oven:
        found = guided(live, profile, 0.001, 1800.0)
    assert any("ended before ±0 % was reached" in s for s in found.assumed)
    assert not live.finished
    assert live.phase is Phase.TRIPPED
    assert not live.heaters[-1]


def test_the_profile_stays_below_the_limits_and_is_one_the_oven_runs() -> None:
    for shed_c in (-10.0, 5.0, 25.0):
        profile = parse_profile(profile_for(SETTINGS.limits, shed_c))
        assert profile.refusals(SETTINGS.limits) == ()
        assert profile.highest_c <= min(SETTINGS.limits.air_c, SETTINGS.limits.part_c) - 8.0
    tight = SETTINGS.limits.model_copy(update={"air_c": 25.0})
    with pytest.raises(BadInput, match="leave no room"):
        profile_for(tight, 18.0)
