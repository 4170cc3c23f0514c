"""Drift from night to night, told in words."""

from __future__ import annotations

import json
import math

import pytest

from nightcure.simulate.scenario import BOX
from nightcure.survey.drift import Known, drift, known
from nightcure.survey.identified import Value
from nightcure.survey.survey import survey
from tests.boxes import heat_and_cool


def value(x: float, half: float = 0.03) -> Value:
    return Value(x, x * math.exp(-half), x * math.exp(half))


def night(loss: float = 3.9, cooling: float = 1.4e-4, half: float = 0.03) -> Known:
    return Known(value(loss, half), value(cooling, half))


WEEK = [night(3.9), night(3.95), night(3.85), night(3.92)]


def test_the_tape_and_the_door() -> None:
    found = drift(WEEK, night(3.9 * 1.35, 1.4e-4 * 1.35))
    assert found is not None
    assert (found.kind, found.ratio) == ("loss", pytest.approx(1.35, rel=0.01))
    assert found.sentence == (
        "The box has lost 35 % more heat than in the 4 nights before: look at lid, tape and door."
    )
    less = drift(WEEK[:1], night(3.9 / 1.3, 1.4e-4 / 1.3))
    assert less is not None
    assert less.sentence.startswith("The box has lost 23 % less heat than in the night before")


def test_the_heater() -> None:
    """A fifth less power looks like a quarter more loss and capacity; the cool-down is the same."""
    found = drift(WEEK, night(3.9 / 0.8))
    assert found is not None
    assert (found.kind, found.ratio) == ("heater", pytest.approx(0.8, rel=0.01))
    assert "gives 20 % less" in found.sentence


@pytest.mark.parametrize(
    "tonight",
    [night(3.95), night(4.2), night(3.9 * 1.3, 1.4e-4 * 1.3, half=0.5)],
    ids=["the same", "too little to matter", "too unsure to say"],
)
def test_no_word_without_cause(tonight: Known) -> None:
    assert drift(WEEK, tonight) is None


def test_the_first_night_has_nothing_to_compare() -> None:
    assert drift([], night(9.9)) is None


def test_it_can_be_kept() -> None:
    kept = night()
    again = Known.from_json(json.loads(json.dumps(kept.as_json())))
    assert again.loss_w_per_k.value == pytest.approx(3.9, rel=1e-3)


@pytest.mark.parametrize(
    ("factor", "power", "kind"), [(1.0, 1.0, None), (1.4, 1.0, "loss"), (1.0, 0.75, "heater")]
)
def test_surveys_of_a_box_that_changed(factor: float, power: float, kind: str | None) -> None:
    """The scenario's box, its tape come off or an element burnt out, surveyed both nights."""
    from dataclasses import replace

    before = known(survey(heat_and_cool(BOX, 1)))
    other = BOX.with_loss_times(factor)
    other = replace(other, power_w=other.power_w * power)
    log = replace(heat_and_cool(other, 2), power_w=BOX.power_w)
    found = drift([before], known(survey(log)))
    assert (found and found.kind) == kind
    if found is not None and kind == "loss":
        assert found.ratio == pytest.approx(factor, rel=0.08)
    if found is not None and kind == "heater":
        assert found.ratio == pytest.approx(power, rel=0.08)
