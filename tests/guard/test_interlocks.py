"""Every interlock: fires within its stated time, is quiet in a normal night, lets go again."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from nightcure.guard.interlocks import (
    RULES,
    CannotHold,
    ClockStepped,
    ControlSensorLost,
    Exotherm,
    HeaterOnTooLong,
    HeaterStuckOn,
    HeaterWithoutEffect,
    Interlock,
    LedgerLost,
    NightTooLong,
    OverTemperature,
    TickLate,
)
from nightcure.guard.view import View
from nightcure.loop import Loop
from tests.nights import PROFILE, SETTINGS, night

#: A quiet moment of a soak.
QUIET = View(
    dt_s=2.0, gap_s=2.0, wall_step_s=0.0, night=True, heated=True, phase="soak", night_s=7200.0,
    control_c=38.0, control_fault="", air_c=(38.0,), parts_c=(("Lid", 37.8), ("Rim", 37.9)),
    heaters_c=(80.0,), ambient_c=4.0, setpoint_c=38.0, heater_on=False, duty=0.45,
    ledger_silent_s=0.0, inbox_silent_s=0.0,
)  # fmt: skip


def seconds_to_fire(
    rule: Interlock, view: Callable[[float], View], longest_s: float = 40000.0
) -> float | None:
    """When the rule first speaks, feeding it `view(t)` every 2 s; None if it never does."""
    t_s = 0.0
    while t_s < longest_s:
        if rule.look(view(t_s)) is not None:
            return t_s
        t_s += 2.0
    return None


def at(**fields: object) -> Callable[[float], View]:
    """The same view for ever."""
    view = QUIET._replace(**fields)  # type: ignore[arg-type]
    return lambda _: view


LOST = at(control_c=None, control_fault="crc", air_c=())
FULL = at(duty=1.0, heater_on=True, control_c=30.0, air_c=(30.0,))
FIRES: list[tuple[type[Interlock], Callable[[float], View], float, float]] = [
    # rule, what it sees, not before (s), not after (s)
    (ControlSensorLost, LOST, 50, 62),
    (OverTemperature, at(air_c=(60.1,), control_c=60.1), 2, 4),
    (OverTemperature, at(parts_c=(("Lid", 61.0),)), 2, 4),
    (OverTemperature, at(heaters_c=(201.0,)), 2, 4),
    (Exotherm, at(parts_c=(("Lid", 46.5),)), 55, 64),
    (
        Exotherm,
        lambda t: QUIET._replace(heated=False, phase="cool", setpoint_c=None,
                                 parts_c=(("Lid", 40.0 + t * 0.004),)),
        900, 1400,
    ),
    (HeaterWithoutEffect, FULL, 680, 700),
    (HeaterStuckOn, lambda t: QUIET._replace(duty=0.0, setpoint_c=None, phase="tripped",
                                             control_c=38.0 + t * 0.005), 600, 960),
    (HeaterStuckOn, lambda t: QUIET._replace(duty=0.0, control_c=41.5 + t * 0.003), 180, 320),
    (CannotHold, at(ambient_c=-45.0), 290, 310),
    (CannotHold, at(duty=1.0, control_c=35.0, heater_on=True), 2690, 2710),
    (HeaterOnTooLong, at(heater_on=True), 5 * 3600 - 4, 5 * 3600 + 4),
    (NightTooLong, lambda t: QUIET._replace(night_s=t), 16 * 3600, 16 * 3600 + 4),
    (TickLate, at(gap_s=31.0), 0, 0),
    (LedgerLost, lambda t: QUIET._replace(ledger_silent_s=t), 60, 64),
    (LedgerLost, lambda t: QUIET._replace(inbox_silent_s=t), 60, 64),
    (ClockStepped, at(wall_step_s=3600.0), 0, 0),
    (ClockStepped, at(wall_step_s=-61.0), 0, 0),
]  # fmt: skip


@pytest.mark.parametrize(("rule", "view", "from_s", "to_s"), FIRES)
def test_fires_within_its_stated_time(
    rule: type[Interlock], view: Callable[[float], View], from_s: float, to_s: float
) -> None:
    when_s = seconds_to_fire(rule(SETTINGS), view, 17 * 3600.0)
    assert when_s is not None
    assert from_s <= when_s <= to_s


def test_every_rule_is_seen_firing() -> None:
    assert {rule for rule, *_ in FIRES} == set(RULES)
    assert len({rule.name for rule in RULES}) == len(RULES)


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.name)
def test_lets_go_when_the_cause_is_gone(rule: type[Interlock]) -> None:
    made, view = next((r, v) for r, v, *_ in FIRES if r is rule)
    one = made(SETTINGS)
    assert seconds_to_fire(one, view, 17 * 3600.0) is not None
    on = rule is not HeaterOnTooLong
    calm = QUIET._replace(heater_on=on, control_c=37.5, parts_c=(("Lid", 37.0),))
    for _ in range(10):
        said = one.look(calm)
    assert said is None


@pytest.mark.parametrize(
    ("rule", "view"),
    [
        (ControlSensorLost, lambda t: QUIET._replace(control_c=None if t % 100 < 50 else 38.0)),
        (OverTemperature, lambda t: QUIET._replace(air_c=(61.0 if t % 20 == 0 else 38.0,))),
        (Exotherm, at(parts_c=(("Lid", 45.9),))),
        # Falling parts that even out after the heater stopped are no exotherm.
        (Exotherm, lambda t: QUIET._replace(heated=False, control_c=30.0,
                                            parts_c=(("Lid", 40.0 - t * 0.001),))),
        # A cold, leaky box at its limit is not a dead heater.
        (HeaterWithoutEffect, at(duty=1.0, heater_on=True, control_c=38.0, ambient_c=-15.0)),
        (HeaterWithoutEffect, lambda t: QUIET._replace(duty=1.0, heater_on=True,
                                                       control_c=10.0 + t * 0.002)),
        (HeaterStuckOn, lambda t: QUIET._replace(control_c=38.0 - t * 0.001)),
        # Moulds hotter than the air feed it; the relay is not to blame.
        (HeaterStuckOn, lambda t: QUIET._replace(control_c=25.0 + t * 0.003, setpoint_c=None,
                                                 parts_c=(("Lid", 37.0 + t * 0.003),))),
        (TickLate, at(gap_s=29.0)),
        (LedgerLost, at(ledger_silent_s=59.0)),
        (ClockStepped, at(wall_step_s=59.0)),
        (ClockStepped, at(wall_step_s=3600.0, night=False)),
    ],
)  # fmt: skip
def test_stays_quiet_short_of_it(rule: type[Interlock], view: Callable[[float], View]) -> None:
    assert seconds_to_fire(rule(SETTINGS), view, 3600.0) is None


@pytest.fixture(scope="module")
def normal_views() -> list[View]:
    """What the interlocks saw in the shipped night."""
    seen: list[View] = []

    class Watcher(Interlock):
        name = "watcher"

        def look(self, v: View) -> str | None:
            seen.append(v)
            return None

    plain = Loop.__init__

    def init(self: Loop, settings: object) -> None:
        plain(self, settings)  # type: ignore[arg-type]
        self._rules = (*self._rules, Watcher(SETTINGS))

    Loop.__init__ = init  # type: ignore[method-assign]
    try:
        night(PROFILE, seed=3)
    finally:
        Loop.__init__ = plain  # type: ignore[method-assign]
    assert len(seen) > 10000
    return seen


@pytest.mark.parametrize("rule", RULES, ids=lambda r: r.name)
def test_stays_quiet_in_a_normal_night(rule: type[Interlock], normal_views: list[View]) -> None:
    one = rule(SETTINGS)
    assert [v.night_s for v in normal_views if one.look(v) is not None] == []


def test_sentences_use_the_persons_unit() -> None:
    rule = OverTemperature(SETTINGS.model_copy(update={"units": "F"}))
    rule.look(QUIET._replace(air_c=(61.0,)))
    said = rule.look(QUIET._replace(air_c=(61.0,)))
    assert said is not None
    assert "141.8 °F, limit 140.0 °F" in said
