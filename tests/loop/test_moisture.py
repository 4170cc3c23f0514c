"""The humidity that somebody typed: at the start it is said whether the moulds are dry."""

from __future__ import annotations

import pytest

from nightcure.loop.loop import Loop
from nightcure.profile import Profile
from nightcure.tick import Event, Phase
from tests.nights import SETTINGS, start, still

from .demould_night import UNTIL_DEMOULD

#: Air, Lid, Rim, Shed: moulds from a cold store in a warm shed.
COLD_MOULDS = (19.0, 8.0, 18.0, 20.0)


def with_humidity(humidity_pct: float | None, wet: str = "gelled") -> Profile:
    assert UNTIL_DEMOULD.box is not None
    fields = {"humidity_pct": humidity_pct, "wet": wet}
    return UNTIL_DEMOULD.model_copy(update={"box": UNTIL_DEMOULD.box.model_copy(update=fields)})


def said(profile: Profile) -> list[Event]:
    d = Loop(SETTINGS).tick(still(0.0, start(profile), values=COLD_MOULDS))
    assert d.phase is Phase.RAMP
    return [e for e in d.events if e.name in ("moisture", "dry")]


def test_a_mould_below_the_dew_point_of_the_shed_is_told_and_the_night_starts() -> None:
    """20 °C and 60 %: dew point 12.0 °C (see tests/cure/test_dew_point.py)."""
    (event,) = said(with_humidity(60.0))
    assert event.name == "moisture"
    assert event.message.startswith("Lid at 8.0 °C is wet, colder than the dew point of 12.0 °C")


def test_dry_moulds_are_told_once() -> None:
    (event,) = said(with_humidity(25.0))
    assert (event.name, "Lid" in event.message) == ("dry", True)


@pytest.mark.parametrize(("humidity_pct", "wet"), [(None, "gelled"), (95.0, "hard")])
def test_nothing_is_said_of_what_nobody_told_or_of_hard_parts(
    humidity_pct: float | None, wet: str
) -> None:
    assert said(with_humidity(humidity_pct, wet)) == []


def test_a_humidity_that_is_none_is_refused_where_it_stands() -> None:
    d = Loop(SETTINGS).tick(still(0.0, start(with_humidity(140.0))))
    assert d.phase is Phase.IDLE
    assert "humidity_pct" in d.outcomes[0].message
