"""What an oven's numbers come to, in sentences: 77 K is 300 W over 3.9 W/K."""

from __future__ import annotations

import pytest

from nightcure.oven.meaning import meaning, meaning_of
from tests.nights import SETTINGS, changed


def test_the_scenarios_box_in_sentences() -> None:
    model = SETTINGS.model.model_copy(
        update={"loss_w_per_k": 300.0 / 77.0, "measured": True, "air_capacity_j_per_k": 6000.0,
                "mould_capacity_j_per_k": 22000.0}
    )  # fmt: skip
    said = " ".join(meaning_of(300.0, model, SETTINGS.limits))
    assert "300 W keeps this box 77 K above the shed" in said
    assert "it may be asked for 55 °C down to any frost of yours" in said
    assert "With the mains 10 % low that is 62 K." in said  # 0.9 squared
    # A body of C over a loss of U halves its excess in ln 2 C/U: 83 min.
    assert "loses half of its warmth in about 85 min" in said


@pytest.mark.parametrize(("watts", "floor_c"), [(200.0, 4), (100.0, 30)])
def test_a_weak_heater_is_told_how_cold_the_shed_may_be(watts: float, floor_c: int) -> None:
    model = SETTINGS.model.model_copy(update={"loss_w_per_k": 200.0 / 51.5})
    said = " ".join(meaning_of(watts, model, SETTINGS.limits))
    assert f"while the shed is above {floor_c} °C" in said


def test_that_nobody_has_measured_it_comes_first() -> None:
    assert meaning(changed(SETTINGS, model={"measured": False}))[0].startswith("Nobody has")
    assert not meaning(changed(SETTINGS, model={"measured": True}))[0].startswith("Nobody")
