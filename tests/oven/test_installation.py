"""What follows from box, heater and place, and what has to be put right first."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from nightcure.oven.installation import Rating, consequences
from nightcure.settings import Settings, load_settings
from nightcure.simulate.scenario import HERE
from tests.nights import SETTINGS, changed

PLUGGED = {"installation": {"wiring": "plug-in"}, "heater": {"power_w": 195.0}}


def first(settings: Settings) -> str:
    return " ".join(s for rating, s in consequences(settings) if rating is Rating.WRONG)


def told(settings: Settings) -> str:
    return " ".join(s for _, s in consequences(settings))


def test_the_shipped_oven_may_be_left_alone() -> None:
    assert first(SETTINGS) == ""
    assert "only the two cut-outs stand between" in told(SETTINGS)


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ({"limits": {"cut_outs": 1}}, "bring the box to 97 °C, and there is one cut-out"),
        ({"installation": {"wiring": "plug-in"}}, "take 195 W at the most"),
        ({"heater": {"power_w": 2400.0}}, "2400 W are 10 A, more than a household plug bears"),
        ({"installation": {"people_sleep": "here"}}, "no oven is left alone there"),
        ({"installation": {"alarm": "none"}}, "no smoke alarm"),
        ({"limits": {"heater_c": 200.0}}, "heater_c is 200"),
        ({"limits": {"cut_out_c": 60.0}}, "5 K below the cut-out"),
    ],
)
def test_what_comes_first(sections: dict[str, Any], words: str) -> None:
    """97 °C: 20 °C and 300 W over 3.9 W/K."""
    assert words in first(changed(SETTINGS, **sections))


def test_a_fan_is_told_or_asked_for() -> None:
    data = SETTINGS.model_dump(mode="json") | {"fan": None}
    untold = Settings.model_validate(data)
    assert "does not tell its fan" in told(untold)
    assert "No fan is declared" in told(untold)
    always = changed(untold, installation={"fan": "always"})
    assert "does not tell" not in told(always)
    assert "No fan is declared" not in told(always)
    none = changed(untold, installation={"fan": "none"})
    assert "does not tell" not in told(none)
    assert "without one the heater is hotter" in told(none)
    assert "does not tell" not in told(SETTINGS), "one with a pin is declared by it"


def test_the_path_without_mains_wiring_wants_its_second_contactor() -> None:
    assert first(changed(SETTINGS, **PLUGGED)) == ""
    data = changed(SETTINGS, **PLUGGED).model_dump(mode="json") | {"contactor": None}
    assert "no contactor in series" in first(Settings.model_validate(data))


@pytest.mark.parametrize("path", sorted(HERE.glob("oven*.toml")), ids=lambda p: p.name)
def test_no_shipped_oven_can_cook_itself_past_its_cut_outs(path: Path) -> None:
    """Stuck on, on its warmest day: 70 °C at the most, or two independent cut-outs declared."""
    s = load_settings(path)
    stuck_c = s.installation.warmest_c + s.heater.power_w / s.model.loss_w_per_k
    assert stuck_c <= 70.0 + 1e-9 or s.limits.cut_outs == 2
    assert first(s) == ""


def test_195_w_cannot_cook_the_box() -> None:
    """3.9 W/K x (70 - 20) K: acceptance of the second scenario."""
    weak = changed(
        SETTINGS, heater={"power_w": 195.0}, limits={"cut_outs": 1}, model={"measured": True}
    )
    assert first(weak) == ""
    assert "bring the box to 70 °C: it cannot cook the foam" in told(weak)


def test_watts_are_called_safe_only_by_a_loss_that_was_measured() -> None:
    """Setup's guess is a box like the scenario's: one of half its size gets far hotter."""
    guessed = changed(
        SETTINGS, heater={"power_w": 195.0}, limits={"cut_outs": 1}, model={"measured": False}
    )
    assert "cannot cook" not in told(guessed)
    assert "by a loss that nobody has measured" in told(guessed)
    assert first(guessed) == "", "no more than to be looked at: the oven has to heat to be surveyed"


@pytest.mark.parametrize(
    ("sections", "words"),
    [
        ({"installation": {"alarm": "household"}}, "rated from 4 °C"),
        ({"installation": {"heater": "other"}}, "no thermostat or switch inside"),
        ({"installation": {"foam": None}}, "does not tell its foam"),
        ({"installation": {"fan": "always"}}, "A fan that stops is not found without a thermo"),
        ({}, "A fan that stops is not found without a thermometer on the heater's shield"),
    ],
)
def test_what_else_is_told(sections: dict[str, Any], words: str) -> None:
    settings = changed(SETTINGS, **sections)
    assert first(settings) == ""
    assert words in told(settings)
