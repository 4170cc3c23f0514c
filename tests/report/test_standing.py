"""By how much a part stands above the air: told once thermometers cannot be off by as much."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

from nightcure.cure.part import with_figures
from nightcure.ledger.reader import LedgerReader
from nightcure.plan.from_nights import as_started
from nightcure.plan.tonight import tonight
from nightcure.profile import parse_profile
from nightcure.record.rehearsed_night import RehearsedNight
from nightcure.report.document import Text
from nightcure.report.facts import gather
from nightcure.report.sheet import Extras, sheet
from nightcure.report.standing import StandingWatch, standing_sentences
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX, ambient_c
from tests.nights import COARSE

#: Cured for days: no heat of its own is left. Its mould is a lump of some 12 W/K to the air.
CURED = parse_profile(
    with_figures(
        {
            "name": "Kept warm",
            "segments": [
                {"kind": "ramp", "to_c": 32.0, "rate_c_per_h": 20.0},
                {"kind": "soak", "at_c": 32.0, "hours": 4.0},
                {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 28.0},
            ],
            "parts": [
                {"name": "Hatch", "card": "polyester-laminating", "catalyst_pct": 2.0,
                 "resin_kg": 0.4, "sensor": "Lid", "start_h": -72.0, "before_c": 22.0},
            ],
            "box": {"volume_m3": 0.43, "evaporated_pct": 0.5},
        }
    )
)  # fmt: skip


def watched(above_k, hours: float = 4.0, own_k: float = 0.0) -> StandingWatch:  # type: ignore[no-untyped-def]
    """A soak at 38 °C, a part `above_k(hours)` above the air, noise of 0.05 K."""
    rng = np.random.default_rng(3)
    watch = StandingWatch({"Rim": "Rim"})
    watch.cure([("Rim", 38.0, 0.5, 100.0, own_k, False, [])])
    for i in range(round(hours * 360)):
        noise = 0.05 * rng.standard_normal(2)
        air_c = 38.0 + float(noise[0])
        watch.soak(10.0 * i, 38.0, air_c, {"Rim": air_c + above_k(i / 360.0) + float(noise[1])})
    return watch


def test_a_part_beside_the_heater_is_told_with_what_to_do() -> None:
    (found,) = watched(lambda _: 2.1).found()
    assert found.above_k == pytest.approx(2.1, abs=0.05)
    # Two sensors good for half a kelvin each: never surer than 0.7 K, however long it is seen.
    assert 0.69 < found.within_k < 0.8
    assert found.worth_telling
    said = found.sentence("Rim")
    assert said.startswith("Rim sits 2.1 K above the air (±0.7 K, over 3 h ")
    assert said.endswith("move it away from the heater, or lower the setpoint by 2 K.")
    assert "lower the setpoint by 4 °F" in found.sentence("Rim", "F")
    (below,) = watched(lambda _: -3.0).found()
    assert "sits 3.0 K below the air" in below.sentence("Rim")


def test_what_the_thermometers_may_be_off_is_not_told() -> None:
    (found,) = watched(lambda _: 1.0).found()
    assert not found.worth_telling


def test_its_own_heat_is_no_place_in_the_box() -> None:
    """Told by its card, or seen by that it comes and goes."""
    assert watched(lambda _: 3.0, own_k=2.0).found() == []
    late = watched(lambda h: 6.0 * math.exp(-((h - 2.0) ** 2)), hours=5.0).found()
    assert all(not s.worth_telling for s in late)
    assert watched(lambda _: 3.0, hours=1.0).found() == []  # too short


def test_in_the_record_and_in_the_next_plan(tmp_path: Path) -> None:
    """30 W on its mould all night: some 2.5 K above the air, for the record and for tomorrow."""
    path = tmp_path / "oven.ledger"
    warm = FaultAt("exotherm", 0.0, math.inf, size=30.0)
    with RehearsedNight(path, COARSE, CURED) as kept:
        rehearse(COARSE, CURED, BOX, ambient_c, (warm,), on_tick=kept.tick)
    reader = LedgerReader(path)
    facts = gather(reader, 1)
    (standing,) = facts.tick_summary.standing
    mould = BOX.moulds[0]
    assert standing.above_k == pytest.approx(30.0 / mould.air_w_per_k, abs=0.3)
    blocks = sheet(facts, Extras()).blocks
    told = [b.text for b in blocks if isinstance(b, Text) and b.text.startswith("Hatch sits ")]
    assert told == [standing.sentence("Hatch")]
    (sentence,) = standing_sentences(reader, COARSE.name, CURED.parts, "C")
    assert sentence.startswith("As the last night showed: Hatch sits ")
    t = tonight(COARSE, CURED.parts, ambient_c, "full", 12 * 3600.0)
    assert as_started(t, None, [sentence]).notes[-1] == sentence
    assert standing_sentences(reader, "another oven", CURED.parts, "C") == []
