"""Tests as real sheds give them: a door, a gap, a shed that falls, a thermometer by the heater.

Boxes are those of `tests.survey_campaign`: nine nodes, solved by scipy.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.survey.identified import Survey
from nightcure.survey.log import Log
from nightcure.survey.survey import survey
from tests.foreign_oven import ForeignOven, foreign_oven, noted
from tests.survey_campaign import made

ROWS_S = np.arange(0.0, 24000.0, 20.0)
HEAT_S = 7200.0


def holds(found: Survey, oven: ForeignOven) -> bool:
    """Whether the interval of the loss has the truth in it."""
    assert found.loss_w_per_k is not None
    return found.loss_w_per_k.low <= oven.loss_w_per_k <= found.loss_w_per_k.high


def box(seed: int, **befell: object) -> tuple[ForeignOven, Log]:
    """A box and its log; `befell`: see `noted`."""
    rng = np.random.default_rng(seed)
    oven = foreign_oven(rng)
    n = noted(oven, rng, ROWS_S, 0.0, HEAT_S, **befell)  # type: ignore[arg-type]
    return oven, Log(
        n.time_s, n.air_c, n.time_s, n.on.astype(float), None, n.ambient_c, oven.power_w
    )


@pytest.mark.parametrize("at_s", [3000.0, 9000.0, 15000.0])
def test_a_door_is_found_named_with_its_time_and_counted_in(at_s: float) -> None:
    oven = box(3)[0]
    door = (at_s, at_s + 200.0, 8.0 * oven.loss_w_per_k)
    _, log = box(3, door=door)
    found = survey(log)
    (seen,) = found.problem.disturbed
    assert seen.by == "door"
    assert seen.from_s == pytest.approx(at_s, abs=120.0)
    assert 60.0 <= seen.to_s - seen.from_s <= 500.0
    assert holds(found, oven)
    (said,) = [s for s in found.assumed if "as an opened door does" in s]
    assert said.startswith(f"{round(seen.from_s / 60.0)} min after the start") or " h " in said


@pytest.mark.parametrize("seed", range(5))
def test_no_door_where_there_was_none(seed: int) -> None:
    assert survey(made("logs", 50 + seed)[1]).problem.disturbed == ()


@pytest.mark.parametrize("seed", [1001, 1002, 1004])
def test_a_shed_that_falls_beside_what_was_stated_is_in_the_interval(seed: int) -> None:
    oven, log, stated_c = made("gaps", seed)
    found = survey(log, stated_c)
    assert holds(found, oven)
    assert any("as stated; within 1.4 K" in s for s in found.assumed)
    noted_well = survey(made("logs", seed)[1])
    assert noted_well.loss_w_per_k is not None
    assert found.loss_w_per_k is not None
    ratios = [v.high / v.low for v in (found.loss_w_per_k, noted_well.loss_w_per_k)]
    assert ratios[0] - 1.0 > 1.5 * (ratios[1] - 1.0), "a shed that nobody noted is told less surely"


def test_a_gap_in_which_the_heater_went_off_is_named() -> None:
    """Half an hour without a row; the share before it was held over it, 25 min too long."""
    oven, log = box(5)
    keep = (log.time_s < HEAT_S - 300.0) | (log.time_s > HEAT_S + 1500.0)
    assert log.ambient_c is not None
    broken = replace(
        log, time_s=log.time_s[keep], air_c=log.air_c[keep], heat_time_s=log.time_s[keep],
        heat=log.heat[keep], ambient_c=log.ambient_c[keep],
    )  # fmt: skip
    found = survey(broken)
    assert [d.by for d in found.problem.disturbed] == ["gap"] * 3
    assert holds(found, oven)
    assert any("Nothing is noted from 115 min to 2 h 25 min" in s for s in found.assumed)


def test_more_gaps_than_can_be_known_are_refused() -> None:
    _, log = box(5)
    keep = np.ones(len(log.time_s), bool)
    for at_s in (1000.0, 3000.0, 5000.0):
        keep &= (log.time_s < at_s) | (log.time_s > at_s + 900.0)
    broken = replace(
        log, time_s=log.time_s[keep], air_c=log.air_c[keep], heat_time_s=log.time_s[keep],
        heat=log.heat[keep], ambient_c=None,
    )  # fmt: skip
    with pytest.raises(BadInput, match="rows are missing after 16 min, 50 min, 83 min, with the"):
        survey(broken)


@pytest.mark.parametrize("seed", [3, 4, 11])
def test_what_a_thermometer_that_sees_the_heater_makes_of_the_loss_is_said(seed: int) -> None:
    """No log tells it. The sentence's share against boxes whose thermometer sees 5 % of a heater
    60 K to 150 K above its air: within a factor of two."""
    plain, seen = (survey(box(seed, seen=share)[1]) for share in (0.0, 0.05))
    (said,) = [s for s in seen.assumed if "not to see the heater" in s]
    told = float(said.split("about ")[1].split(" %")[0]) / 100.0
    assert plain.loss_w_per_k is not None
    assert seen.loss_w_per_k is not None
    true = plain.loss_w_per_k.value / seen.loss_w_per_k.value - 1.0
    assert 0.5 * true < told < 2.0 * true
