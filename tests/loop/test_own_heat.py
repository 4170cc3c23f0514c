"""A part's own heat in a night: the expected passes, more than that trips."""

from __future__ import annotations

import pytest

from nightcure.profile import Profile
from nightcure.simulate.faults import parse_fault
from nightcure.simulate.rehearse import rehearse
from nightcure.simulate.scenario import BOX
from nightcure.tick import Phase
from tests.nights import COARSE, SETTINGS

from .demould_night import UNTIL_DEMOULD, Ticks, colder, edited, night

#: Laid up thick: this much resin warms its mould by more than the plain allowance of 8 K.
THICK = edited(lid={"resin_kg": 2.0}, rim={"resin_kg": 1.2}, wait={"wait_at_most_h": 0.1},
               soak={"at_c": 36.0})  # fmt: skip
THICK = THICK.model_copy(
    update={"segments": (THICK.segments[0], THICK.segments[1].model_copy(update={"to_c": 36.0}),
                         *THICK.segments[2:])}
)  # fmt: skip


def above_air_k(ticks: Ticks) -> float:
    return max(
        (d.believed[1] or 0.0) - (d.control_c or 0.0)
        for _, d in ticks
        if d.phase in (Phase.RAMP, Phase.SOAK)
    )


def without_heat(profile: Profile) -> Profile:
    """The same parts with cards that know nothing of heat."""
    parts = tuple(
        p.model_copy(update={"figures": p.figures.model_copy(update={"self_heat": None})})
        for p in profile.parts
        if p.figures is not None
    )
    return profile.model_copy(update={"parts": parts})


def test_an_expected_exotherm_does_not_trip() -> None:
    result, ticks = night(THICK)
    assert above_air_k(ticks) > SETTINGS.limits.exotherm_c
    assert result.figures.outcome == "done"


def test_an_abnormal_exotherm_trips_and_sooner_than_the_plain_rule() -> None:
    """A part that heats itself by surprise (400 W): the card expects nothing, so 6 K are enough."""
    times = {}
    for name, profile in (("card", UNTIL_DEMOULD), ("none", without_heat(UNTIL_DEMOULD))):
        result, ticks = night(profile, faults=[parse_fault("exotherm@20min")])
        assert result.figures.trip == "exotherm"
        times[name] = ticks[-1][0].mono_s
    assert times["card"] < times["none"]


@pytest.mark.parametrize(("heat_times", "below_c"), [(3.0, 45.0), (2.0, 60.0)])
def test_more_heat_than_expected_trips_before_it_is_over_temperature(
    heat_times: float, below_c: float
) -> None:
    """The more there is, the longer before."""
    result, _ = night(THICK, heat_times=heat_times)
    assert result.figures.trip == "exotherm"
    assert result.figures.part_max_c is not None
    assert result.figures.part_max_c < below_c


@pytest.mark.parametrize(("times", "by_k"), [(0.8, 0.0), (1.25, 0.0), (1.0, 8.0), (1.0, -8.0)])
def test_other_moulds_and_other_nights_do_not_trip(times: float, by_k: float) -> None:
    """Moulds a fifth lighter or a quarter heavier than the model's; a shed 8 K off."""
    result = rehearse(COARSE, THICK, BOX.with_mould_times(times), colder(by_k), seed=3)
    assert result.figures.outcome == "done"
    assert [a["name"] for a in result.figures.alarms] == []
