"""Time-proportioning: the mean is right, the minimum times hold, off means off."""

from __future__ import annotations

import json
import random
from itertools import groupby, pairwise

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.heat.modulator import Modulator
from nightcure.settings import Heater, load_settings
from nightcure.simulate.scenario import HERE

SOLID_STATE = load_settings(HERE / "oven.toml").heater
CONTACTOR = load_settings(HERE / "oven-contactor.toml").heater
BOTH = pytest.mark.parametrize("heater", [SOLID_STATE, CONTACTOR], ids=["ssr", "contactor"])
DT_S = 2.0

#: Duties, each asked for some ticks, with heating allowed or not.
STRETCHES = st.lists(
    st.tuples(
        st.one_of(st.floats(0, 1), st.sampled_from([0.0, 1.0])),
        st.integers(1, 150),
        st.sampled_from([True, True, True, False]),
    ),
    min_size=1,
    max_size=25,
)
Stretches = list[tuple[float, int, bool]]


def ticks_of(stretches: Stretches) -> list[tuple[float, bool]]:
    return [(duty, allowed) for duty, count, allowed in stretches for _ in range(count)]


def pulses(heater: Heater, ticks: list[tuple[float, bool]]) -> list[bool]:
    m = Modulator(heater)
    return [m.tick(i * DT_S, DT_S, duty, allowed) for i, (duty, allowed) in enumerate(ticks)]


def test_the_shipped_settings_are_a_solid_state_relay_and_a_contactor() -> None:
    assert (SOLID_STATE.window_s, SOLID_STATE.min_on_s) == (20.0, 2.0)
    assert (CONTACTOR.window_s, CONTACTOR.min_on_s, CONTACTOR.min_off_s) == (235.0, 20.0, 20.0)


@BOTH
@given(st.floats(0, 1), st.integers(2, 60))
@hypo(max_examples=100, deadline=None)
def test_a_steady_duty_is_given_to_within_a_window(
    heater: Heater, duty: float, windows: int
) -> None:
    """On-time asked for and given never differ by more than a window, however long it goes on."""
    count = int(windows * heater.window_s / DT_S)
    given_s = DT_S * sum(pulses(heater, [(duty, True)] * count))
    assert given_s == pytest.approx(duty * count * DT_S, abs=heater.window_s)


@BOTH
@given(STRETCHES)
@hypo(max_examples=150, deadline=None)
def test_a_changing_duty_is_given_too(heater: Heater, stretches: Stretches) -> None:
    """What is asked for in one window and cannot be given is given in the next: two windows."""
    ticks = [(duty, True) for duty, _ in ticks_of(stretches)]
    states = pulses(heater, ticks)
    owed_s = 0.0
    for (duty, _), on in zip(ticks, states, strict=True):
        owed_s += DT_S * (duty - on)
        assert abs(owed_s) <= 2 * heater.window_s


@BOTH
@given(STRETCHES)
@hypo(max_examples=200, deadline=None)
def test_minimum_times_hold_and_not_allowed_is_off(heater: Heater, stretches: Stretches) -> None:
    """A pulse is at least min_on_s long unless safety cuts it; a pause is always min_off_s long;
    without permission it is off from that very tick on."""
    ticks = ticks_of(stretches)
    states = pulses(heater, ticks)
    assert not any(on for on, (_, allowed) in zip(states, ticks, strict=True) if not allowed)
    start, runs = 0, []
    for on, run in groupby(states):
        length = len(list(run))
        runs.append((on, start, start + length))
        start += length
    for on, begin, end in runs[:-1]:
        if on:
            assert (end - begin) * DT_S >= heater.min_on_s or not ticks[end][1]
        elif begin > 0:
            assert (end - begin) * DT_S >= heater.min_off_s


@BOTH
@given(STRETCHES)
@hypo(max_examples=60, deadline=None)
def test_switchings_are_counted(heater: Heater, stretches: Stretches) -> None:
    m, was, changes = Modulator(heater), False, 0
    for i, (duty, allowed) in enumerate(ticks_of(stretches)):
        on = m.tick(i * DT_S, DT_S, duty, allowed)
        changes += on != was
        was = on
        assert m.on is on
        assert m.switchings == changes


@BOTH
@pytest.mark.parametrize("duty", [0.1, 0.43, 0.9])
def test_switchings_are_few(heater: Heater, duty: float) -> None:
    """At most one pulse a window."""
    count = 14400
    states = pulses(heater, [(duty, True)] * count)
    changes = sum(a != b for a, b in pairwise(states))
    assert 2 < changes <= 2 * (count * DT_S / heater.window_s + 1)


@BOTH
def test_debt_is_forgotten_when_safety_says_off(heater: Heater) -> None:
    m = Modulator(heater)
    assert m.tick(0.0, DT_S, 1.0, True)
    assert not m.tick(DT_S, DT_S, 1.0, False), "a minimum on-time does not hold against safety"
    for i in range(2, 500):
        assert not m.tick(i * DT_S, DT_S, 1.0, False)
    window = int(heater.window_s / DT_S)
    later = [m.tick((500 + i) * DT_S, DT_S, 0.3, True) for i in range(window)]
    assert sum(later) * DT_S == pytest.approx(0.3 * heater.window_s, abs=DT_S), "no burst"


@pytest.mark.parametrize(
    ("duty", "ticks", "quiet_windows"), [(0.05, 100, 1), (0.05, 117, 1), (0.04, 200, 2)]
)
def test_what_was_owed_is_not_given_after_safety_said_off(
    duty: float, ticks: int, quiet_windows: int
) -> None:
    """5 % of 235 s is less than the shortest pulse, so it is owed; a moment without permission, in
    the first window or the second, wipes that out: the next ones owe their own alone, which is
    again too little for one window of 5 % or two of 4 %."""
    m = Modulator(CONTACTOR)
    assert not any(m.tick(i * DT_S, DT_S, duty, True) for i in range(ticks))
    m.tick(ticks * DT_S, DT_S, duty, False)
    after = range(ticks + 1, ticks + 1 + quiet_windows * 117)
    assert not any(m.tick(i * DT_S, DT_S, duty, True) for i in after)


@BOTH
@given(STRETCHES)
@hypo(max_examples=150, deadline=None)
def test_never_more_than_was_asked_and_a_window(heater: Heater, stretches: Stretches) -> None:
    """However often safety interrupts, pulses that begin anew do not add up to more heat."""
    ticks = ticks_of(stretches)
    ahead_s = least_s = 0.0
    for (duty, allowed), on in zip(ticks, pulses(heater, ticks), strict=True):
        ahead_s += DT_S * (on - duty * allowed)
        least_s = min(least_s, ahead_s)
        assert ahead_s - least_s <= 2 * heater.window_s


@BOTH
@pytest.mark.parametrize("every_s", [60.0, 90.0])
def test_a_sensor_that_flickers_does_not_heat_more(heater: Heater, every_s: float) -> None:
    """Permission lost for one tick a minute: the mean stays at or below what was asked."""
    ticks = [(0.3, i % round(every_s / DT_S) != 0) for i in range(14400)]
    assert sum(pulses(heater, ticks)) / len(ticks) <= 0.31


def test_one_pulse_a_window() -> None:
    """A duty that rises after the pulse is over waits for the next window, and is made up for."""
    ticks = [(0.2, True)] * 4 + [(0.9, True)] * 6 + [(0.2, True)] * 10
    said = "".join(str(int(on)) for on in pulses(SOLID_STATE, ticks))
    # Asked in the first window 0.2 x 8 s + 0.9 x 12 s = 12.4 s, given 4 s: 8.4 + 4 s in the second.
    assert said == "1100000000" + "1111110000"


def test_a_contactor_that_safety_opened_rests_before_it_closes_again() -> None:
    m = Modulator(CONTACTOR)
    for i in range(60):
        assert m.tick(i * DT_S, DT_S, 1.0, True)
    m.tick(120.0, DT_S, 1.0, False)
    rest = [m.tick(120.0 + i * DT_S, DT_S, 1.0, True) for i in range(1, 15)]
    assert rest == [False] * 9 + [True] * 5, "20 s from the moment it opened"


@BOTH
def test_the_ends_are_steady(heater: Heater) -> None:
    assert not any(pulses(heater, [(0.0, True)] * 1000))
    assert all(pulses(heater, [(1.0, True)] * 1000))


@BOTH
def test_irregular_ticks_keep_the_mean(heater: Heater) -> None:
    """Ticks of 0.25 to 3 s at random; dt_s is the time since the last one, all that is known."""
    m, now_s, on_s, was, chance = Modulator(heater), 0.0, 0.0, False, random.Random(7)
    for _ in range(30000):
        dt_s = chance.choice((0.25, 0.5, 2.0, 3.0))
        now_s += dt_s
        on_s += dt_s * was
        was = m.tick(now_s, dt_s, 0.3, True)
    assert on_s / now_s == pytest.approx(0.3, abs=0.03)


@BOTH
@given(st.integers(0, 400), STRETCHES)
@hypo(max_examples=60, deadline=None)
def test_state_restores_to_the_bit(heater: Heater, cut: int, stretches: Stretches) -> None:
    ticks = ticks_of([*stretches, (0.37, 400, True)])
    one, two = Modulator(heater), Modulator(heater)
    two.tick(0.0, DT_S, 1.0, True)  # another past, which restore must wipe out
    for i, (duty, allowed) in enumerate(ticks):
        if i == cut:
            two.restore(json.loads(json.dumps(one.snapshot())))
        said = one.tick(i * DT_S, DT_S, duty, allowed)
        if i >= cut:
            assert two.tick(i * DT_S, DT_S, duty, allowed) == said
    assert one.snapshot() == two.snapshot()
