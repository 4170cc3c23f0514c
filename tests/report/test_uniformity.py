"""Furnace classes by SAE AMS 2750's tolerances in °F, from memory, turned into K here."""

from __future__ import annotations

from pathlib import Path

import pytest

from nightcure.ledger.reader import LedgerReader
from nightcure.report.facts import gather
from nightcure.report.uniformity import CLASSES, class_of, uniformity
from tests.nights import SETTINGS, SHORT
from tests.recording import RecordedOven


def test_the_classes_are_the_standards() -> None:
    """±5, 10, 15, 20, 25, 50 °F for classes 1 to 6 (from memory), rounded as the standard does."""
    fahrenheit = {1: 5, 2: 10, 3: 15, 4: 20, 5: 25, 6: 50}
    for number, most_f in fahrenheit.items():
        assert CLASSES[number] == pytest.approx(most_f / 1.8, abs=1.2)
    assert list(CLASSES.values()) == [3, 6, 8, 10, 14, 28]


@pytest.mark.parametrize(
    ("furthest_k", "number"),
    [(0.0, 1), (3.0, 1), (3.1, 2), (7.0, 3), (9.9, 4), (14.0, 5), (28.0, 6), (28.1, None)],
)
def test_a_class_holds_its_tolerance(furthest_k: float, number: int | None) -> None:
    assert class_of(furthest_k) == number


def test_a_sensor_in_a_cold_corner_makes_the_class(tmp_path: Path) -> None:
    """An air sensor that is said to need 5 K more than it shows stands 5 K above the others."""
    data = SETTINGS.model_dump(mode="json")
    corner = {"id": "28-0000000000a2", "role": "air", "name": "Corner", "offset_c": 5.0}
    data["thermometers"].append(corner)
    settings = type(SETTINGS).model_validate(data)
    soak = {"kind": "soak", "at_c": 20.0, "hours": 1.1}
    profile = SHORT.model_validate(
        {**SHORT.model_dump(mode="json"),
         "segments": [{"kind": "ramp", "to_c": 20.0, "rate_c_per_h": 25.0}, soak]}
    )  # fmt: skip
    with RecordedOven(tmp_path / "n.ledger", settings) as oven:
        oven.oven._offsets_c[-1] = 0.0  # the virtual probe shows the truth, the settings add 5 K
        oven.run(7400.0, {}, profile)
    reader = LedgerReader(tmp_path / "n.ledger")
    facts = gather(reader, 1)
    (found,) = uniformity(reader, 1, facts.profile, facts.settings)
    assert found.why_not is None
    assert found.furthest_k == pytest.approx(5.0, abs=0.6)
    assert found.furnace_class == 2
    highest = {s.name: s.highest_k for s in found.sensors}
    assert max(highest, key=lambda name: highest[name]) == "Corner"


def test_too_short_a_soak_and_one_sensor_give_no_class(tmp_path: Path) -> None:
    with RecordedOven(tmp_path / "n.ledger") as oven:
        oven.run(3900.0)
    reader = LedgerReader(tmp_path / "n.ledger")
    facts = gather(reader, 1)
    (found,) = uniformity(reader, 1, facts.profile, facts.settings)
    assert found.furnace_class is None
    assert found.why_not is not None
    assert "30 min are needed" in found.why_not
