"""Screening: each fault is found, and what looks like one but is not stays believed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

import pytest
from hypothesis import given
from hypothesis import settings as hypo
from hypothesis import strategies as st

from nightcure.measure.screening import FASTEST_K_PER_S, Screened, Screening
from nightcure.settings import Role, Thermometer
from nightcure.tick import Fault, Reading

AIR = Thermometer(id="28-00000000000a", role=Role.AIR, name="Air")
AIR_2 = Thermometer(id="28-00000000000b", role=Role.AIR, name="Air 2")
LID = Thermometer(id="28-00000000000c", role=Role.PART, name="Lid")
SHED = Thermometer(id="28-00000000000d", role=Role.AMBIENT, name="Shed")


def feed(
    screening: Screening,
    values: Callable[[float], Iterable[float | None]],
    for_s: float,
    heated: bool = True,
    from_s: float = 0.0,
) -> list[Screened]:
    """Verdicts every 2 s of good wires carrying `values(t)`."""
    screened_ticks = []
    steps = int(for_s / 2.0)
    for i in range(steps):
        t_s = from_s + 2.0 * i
        reads = tuple(Reading(v, t_s) for v in values(t_s))
        screened_ticks.append(screening.judge(t_s, 2.0, reads, heated))
    return screened_ticks


def last_fault(values: Callable[[float], Iterable[float | None]], for_s: float = 60.0,
               *more: Thermometer, heated: bool = True) -> Fault | None:  # fmt: skip
    return feed(Screening((AIR, *more)), values, for_s, heated)[-1].faults[0]


def wobble(t_s: float, base_c: float = 38.0) -> float:
    """A living sensor: one step of its last bit now and then."""
    return base_c + (0.0625 if int(t_s / 2) % 7 == 0 else 0.0)


def test_a_living_sensor_is_believed() -> None:
    screened_ticks = feed(Screening((AIR, LID)), lambda t: (wobble(t), 37.0), 3600.0)
    assert all(v.faults == (None, None) for v in screened_ticks)
    assert screened_ticks[-1].control_c == pytest.approx(38.0, abs=0.07)


def test_the_offset_is_added() -> None:
    screening = Screening((AIR.model_copy(update={"offset_c": 0.5}),))
    assert feed(screening, lambda _: (20.0,), 4)[-1].control_c == 20.5


@pytest.mark.parametrize("fault", [Fault.CRC, Fault.MISSING, Fault.BUS, Fault.POWER_ON])
def test_what_the_wire_says_is_passed_on(fault: Fault) -> None:
    screened = Screening((AIR,)).judge(0.0, 2.0, (Reading(20.0, 0.0, fault),), True)
    assert screened.faults == (fault,)
    assert screened.control_c is None


def test_nothing_is_missing() -> None:
    assert last_fault(lambda _: (None,)) is Fault.MISSING


@pytest.mark.parametrize("value_c", [127.94, 125.0, -55.0, float("nan"), float("inf")])
def test_impossible_values(value_c: float) -> None:
    assert last_fault(lambda _: (value_c,)) is Fault.RANGE


HEATER = Thermometer(id="28-00000000000e", role=Role.HEATER, name="Heater")


@pytest.mark.parametrize("wire", [None, Fault.RANGE])
def test_what_rises_past_the_hot_end_is_too_hot_and_stays_so(wire: Fault | None) -> None:
    """An element at 280 °C: the adapter calls it out of range, and that is no reason for calm."""
    screening = Screening((HEATER,))
    faults = []
    for i in range(100):
        t_s, true_c = 2.0 * i, 60.0 + 2.2 * i
        fault = wire if true_c > 124.9 else None
        reading = Reading(min(true_c, 127.9), t_s, fault)
        faults.append(screening.judge(t_s, 2.0, (reading,), True).faults[0])
    first = next(i for i, f in enumerate(faults) if f is not None)
    assert 60.0 + 2.2 * first > 124.9
    assert set(faults[first:]) == {Fault.TOO_HOT}


def test_a_broken_wire_at_the_hot_end_is_not_heat() -> None:
    assert last_fault(lambda t: (38.0 if t < 30 else 127.94,)) is Fault.RANGE
    assert last_fault(lambda _: (127.94,)) is Fault.RANGE


def test_a_heater_that_is_past_the_hot_end_at_the_first_reading_is_hot() -> None:
    assert feed(Screening((HEATER,)), lambda _: (127.9,), 10.0)[0].faults == (Fault.TOO_HOT,)


def test_a_quiet_sensor_in_a_tight_oven_is_only_asked() -> None:
    """The same last bit for a quarter of an hour; unheated, the air falls, and it shows it."""
    screening = Screening((AIR,))
    seen = feed(screening, lambda _: (38.0,), 960.0)
    assert seen[-1].faults == (Fault.FROZEN,)
    fallen = feed(screening, lambda t: (38.0 if t < 1200.0 else 37.9375,), 300.0, from_s=960.0)
    assert fallen[-1].control_c == 37.9375
    assert {s.faults[0] for s in fallen} == {Fault.FROZEN, None}


def test_an_oven_that_needs_no_heat_may_stand_still() -> None:
    screening = Screening((AIR,))
    for i in range(2000):
        reading = (Reading(30.0, 2.0 * i),)
        assert screening.judge(2.0 * i, 2.0, reading, True, heater_on=False).faults == (None,)


def test_85_out_of_the_blue_is_power_on_and_a_true_85_is_not() -> None:
    assert last_fault(lambda t: (85.0 if t > 30 else 38.0,)) is Fault.POWER_ON
    assert last_fault(lambda _: (85.0,)) is Fault.POWER_ON  # the very first word
    slow = [last_fault(lambda t: (min(60.0 + 0.1 * t, 85.0),), 400.0)]
    assert slow == [None]


def test_a_jump_is_doubted_until_it_has_settled() -> None:
    """Further than air may move in that time: only that it stays there ends the doubt."""
    screened_ticks = feed(Screening((AIR,)), lambda t: (30.0 if t < 20 else 65.0,), 34.0)
    faults = [v.faults[0] for v in screened_ticks]
    assert faults[10:14] == [Fault.RATE] * 4
    assert faults[14:] == [None] * (len(faults) - 14)


def test_one_outlier_is_left_out_and_forgotten() -> None:
    screened_ticks = feed(Screening((AIR,)), lambda t: (60.0 if t == 20 else 30.0,), 60.0)
    assert [v.faults[0] for v in screened_ticks].count(Fault.RATE) == 1
    assert screened_ticks[-1].faults == (None,)


def test_a_fast_but_possible_rise_is_believed() -> None:
    assert last_fault(lambda t: (20.0 + 1.5 * t,), 30.0) is None


def test_frozen_is_found_after_a_quarter_of_an_hour_of_heating() -> None:
    screened_ticks = feed(Screening((AIR,)), lambda _: (38.0,), 1000.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.faults[0] is Fault.FROZEN)
    assert 900 <= 2 * first <= 904


def test_a_cold_oven_or_a_quiet_part_may_stand_still() -> None:
    assert last_fault(lambda _: (9.0,), 3600.0, heated=False) is None
    screening = Screening((LID.model_copy(update={"role": Role.PART}), AIR))
    screened_ticks = feed(screening, lambda t: (38.0, wobble(t)), 3600.0)
    assert screened_ticks[-1].faults == (None, None)


def test_stale_is_found_and_the_same_reading_twice_is_not() -> None:
    screening = Screening((AIR,))
    for t_s, expected in ((0.0, None), (8.0, None), (10.0, None), (12.0, Fault.STALE)):
        screened = screening.judge(t_s, 2.0, (Reading(20.0, 0.0),), True)
        assert screened.faults == (expected,), t_s


def test_a_reading_from_the_future_is_no_reading() -> None:
    assert Screening((AIR,)).judge(0.0, 2.0, (Reading(20.0, 5.0),), True).faults == (Fault.STALE,)


def test_air_far_below_the_parts_does_not_measure_the_oven() -> None:
    def fallen(t_s: float) -> tuple[float, float]:
        return (wobble(t_s, 10.0) if t_s > 900 else wobble(t_s), 37.0)

    screened_ticks = feed(Screening((AIR, LID)), fallen, 1200.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.doubted)
    assert 900 + 120 <= 2 * first <= 900 + 140
    assert screened_ticks[-1].doubted
    assert screened_ticks[-1].control_c == pytest.approx(10.0, abs=0.5), "doubted, and yet shown"


@pytest.mark.parametrize(("own_k", "doubted"), [(0.0, True), (2.0, True), (12.0, False)])
def test_what_a_part_is_hotter_by_its_own_heat_speaks_against_no_air(
    own_k: float, doubted: bool
) -> None:
    """14 K above the air: that of its own set aside, 12 K are too much and 2 K are not."""
    screening, said = Screening((AIR, LID)), False
    for i in range(600):
        reads = (Reading(wobble(2.0 * i), 2.0 * i), Reading(52.0, 2.0 * i))
        said |= screening.judge(2.0 * i, 2.0, reads, True, {1: own_k}).doubted
    assert said is doubted


def test_parts_that_cool_down_to_a_sensor_outside_end_no_doubt() -> None:
    """Else the heater would be on again, with nothing in the box to regulate on."""

    def cooling(t_s: float) -> tuple[float, float]:
        air_c = 10.0 if t_s < 2400 else min(10.0 + (t_s - 2400) / 30.0, 14.0)
        return wobble(t_s, air_c), max(19.0 - max(t_s - 900.0, 0.0) / 300.0, 15.0)

    screened_ticks = feed(Screening((AIR, LID)), cooling, 3000.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.doubted)
    back = next(i for i, v in enumerate(screened_ticks) if i > first and not v.doubted)
    assert cooling(2200.0)[1] - 10.0 < 6.0, "no longer far below, and yet not in the box"
    assert 2 * first < 1100
    assert 2400 + 60 < 2 * back < 2400 + 180
    assert screened_ticks[-1].control_c == pytest.approx(14.0, abs=0.5)


def test_air_that_answers_a_pulse_of_heat_is_in_the_oven() -> None:
    """Light moulds cannot warm the air of a box that was open: it lies far below them until it is
    heated, which a doubt forbade (fails before this). Further off it is doubted again, as it is
    once it had caught up."""
    screening = Screening((AIR, LID))
    feed(screening, lambda t: (wobble(t, 8.0), 26.0), 900.0)

    def last(t_s: float, air_c: float, part_c: float, *, answered: bool = False) -> bool:
        reads = (Reading(wobble(t_s, air_c), t_s), Reading(part_c, t_s))
        return screening.judge(t_s, 2.0, reads, True, answered=answered).doubted

    assert last(900.0, 8.0, 26.0)
    assert not last(902.0, 8.5, 26.0, answered=True)
    t_s = 904.0
    for air_c, doubted in ((8.5, False), (3.0, True)):
        said = [last(t_s + 2.0 * i, air_c, 26.0) for i in range(70)]
        assert said[-1] is doubted
        t_s += 140.0
    assert not last(t_s, 3.0, 26.0, answered=True)
    assert not any(last(t_s + 2.0 * i, 24.0, 26.0) for i in range(1, 70))
    t_s += 140.0
    again = [last(t_s + 2.0 * i, 8.5, 26.0) for i in range(70)]
    assert again[-1], "it had caught up: 18 K below the part is too much again"


@pytest.mark.parametrize("silent", [0, 1, 2], ids=["outside", "inside", "part"])
def test_who_says_nothing_for_a_tick_ends_no_doubt(silent: int) -> None:
    """Of two air sensors the first hangs outside; a garbled checksum now and then is common."""

    def flickering(t_s: float) -> list[float | None]:
        outside_c = 30.0 if t_s < 900 else 8.0
        said: list[float | None] = [wobble(t_s, outside_c), wobble(t_s, 31.0), 30.0]
        if t_s > 900 and t_s % 100 == 0:
            said[silent] = None
        return said

    screened_ticks = feed(Screening((AIR, AIR_2, LID)), flickering, 2400.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.doubted)
    assert 2 * first <= 900 + 150, "silence does not put the doubt off for long"
    assert all(v.doubted for v in screened_ticks[first:])


@pytest.mark.parametrize(("setpoint_c", "doubted"), [(30.0, True), (22.5, True), (21.0, False)])
def test_in_a_cool_down_doubtful_air_is_believed_and_told(setpoint_c: float, doubted: bool) -> None:
    """Open boxes are common then: the profile goes on, and nothing is heated.

    Heavy moulds, which lag far behind air that is where it should be, raise no doubt.
    """
    screening = Screening((AIR, LID))
    feed(screening, lambda t: (wobble(t), 37.0), 900.0)
    for i in range(450, 600):
        reads = (Reading(wobble(i, 20.0), 2.0 * i), Reading(37.0, 2.0 * i))
        screened = screening.judge(2.0 * i, 2.0, reads, heated=False, cooling_to_c=setpoint_c)
    assert screened.doubted is doubted
    assert screened.control_c == pytest.approx(20.0, abs=0.2)


def test_a_doubt_outlasts_a_restart_and_nothing_else_does() -> None:
    doubting, sure = Screening((AIR, LID)), Screening((AIR, LID))
    feed(doubting, lambda t: (wobble(t, 10.0), 37.0), 900.0)
    feed(sure, lambda t: (wobble(t), 37.0), 900.0)
    for before, doubted in ((doubting, True), (sure, False)):
        after = Screening((AIR, LID))
        after.resume(before.snapshot())
        reads = (Reading(10.0, 3.0), Reading(37.0, 3.0))
        assert after.judge(3.0, 2.0, reads, heated=True).doubted is doubted


def test_warm_moulds_in_a_box_just_shut_are_given_time() -> None:
    def warming(t_s: float) -> tuple[float, float]:
        return (wobble(t_s, min(12.0 + t_s / 60.0 * 2.0, 33.0)), 35.0)

    screened_ticks = feed(Screening((AIR, LID)), warming, 1800.0)
    assert all(v.faults == (None, None) for v in screened_ticks)


def test_two_air_sensors_far_apart_are_doubted() -> None:
    screened_ticks = feed(
        Screening((AIR, AIR_2)), lambda t: (wobble(t), wobble(t, 50.0 if t > 900 else 38.5)), 1200
    )
    assert not screened_ticks[400].doubted
    assert screened_ticks[-1].doubted


@pytest.mark.parametrize(("far_c", "doubted"), [(24.0, False), (10.0, True)])
def test_a_badly_stirred_box_is_one_box(far_c: float, doubted: bool) -> None:
    """Both began at 9 °C. The far corner has warmed with the near one, 14 K behind it: no doubt
    (fails before this). One that has not is outside."""
    screening = Screening((AIR, AIR_2))
    for i in range(600):
        t_s = 2.0 * i
        share = min(i / 400.0, 1.0)
        near, far = (9.0 + share * (c - 9.0) for c in (38.0, far_c))
        reads = (Reading(wobble(t_s, near), t_s), Reading(wobble(t_s, far), t_s))
        screened = screening.judge(t_s, 2.0, reads, True)
    assert screened.doubted is doubted


def test_another_air_sensor_stands_in() -> None:
    screened_ticks = feed(Screening((AIR, AIR_2, SHED)), lambda t: (None, wobble(t), 5.0), 60.0)
    assert screened_ticks[-1].faults == (Fault.MISSING, None, None)
    assert screened_ticks[-1].control_c == pytest.approx(38.0, abs=0.07)


def test_state_restores_to_the_bit() -> None:
    values = lambda t: (30.0 if t < 20 else 50.0, 37.0)  # noqa: E731
    for cut in range(1, 20):
        one = Screening((AIR, LID))
        feed(one, values, 2.0 * cut)
        two = Screening((AIR, LID))
        two.restore(json.loads(json.dumps(one.snapshot())))
        after = (values, 40.0, True, 2.0 * cut)
        assert feed(two, *after) == feed(one, *after)


def test_every_fault_there_is_has_been_seen() -> None:
    """Each one by this file's own recipes: none is dead, none is forgotten."""
    wire = {Fault.CRC, Fault.MISSING, Fault.BUS, Fault.POWER_ON}
    seen = {
        last_fault(lambda _: (127.9,)),
        last_fault(lambda t: (38.0 if t < 56 else 60.0,)),
        last_fault(lambda _: (38.0,), 1000.0),
        Screening((AIR,)).judge(20.0, 2.0, (Reading(20.0, 0.0),), True).faults[0],
        last_fault(lambda t: (90.0 + 1.5 * t,)),
    }
    assert seen | wire | {Fault.DISAGREES} == set(Fault), "that one stands in older records only"


@pytest.mark.parametrize("role", Role)
def test_each_role_may_move_as_fast_as_it_really_can(role: Role) -> None:
    probe = (Thermometer(id="28-00000000000e", role=role, name="x"),)
    for share, expected in ((0.9, set()), (1.1, {Fault.RATE})):
        step_c = FASTEST_K_PER_S[role] * 10.0 * share
        screening = Screening(probe)
        faults = set()
        for i in range(3):
            read = (Reading(min(20.0 + step_c * i, 120.0), 10.0 * i),)
            faults.add(screening.judge(10.0 * i, 2.0, read, True).faults[0])
        assert faults - {None} == (expected if step_c > 4.0 else set())


def test_after_a_gap_a_sensor_may_have_moved_far() -> None:
    """Two minutes without a reading, then 20 K lower: the lid was off."""
    screened_ticks = feed(Screening((AIR,)), lambda t: (38.0 if t < 20 else None,), 140.0)
    assert screened_ticks[-1].faults == (Fault.MISSING,)
    screening = Screening((AIR,))
    feed(screening, lambda t: (38.0 if t < 20 else None,), 140.0)
    assert feed(screening, lambda _: (18.0,), 4.0, from_s=140.0)[0].faults == (None,)


def test_a_jump_that_wanders_does_not_settle() -> None:
    """A loose contact: five readings far from each other are no new level."""
    loose = (80.0, 95.0, 75.0, 88.0, 80.0, 95.0)
    screened_ticks = feed(
        Screening((AIR,)), lambda t: (30.0 if t < 20 else loose[int(t / 2) % 6],), 32.0
    )
    assert [v.faults[0] for v in screened_ticks[10:]] == [Fault.RATE] * 6


def test_the_power_on_value_never_settles_and_life_afterwards_is_believed() -> None:
    screened_ticks = feed(Screening((AIR,)), lambda t: (38.0 if t < 20 else 85.0,), 600.0)
    assert {v.faults[0] for v in screened_ticks[10:]} == {Fault.POWER_ON}
    screened_ticks = feed(Screening((AIR,)), lambda t: (38.0 if not 20 <= t < 60 else 85.0,), 100.0)
    assert [v.faults[0] for v in screened_ticks[30:]] == [None] * 20


def test_a_heater_that_truly_is_at_85_is_believed_on_the_way_through() -> None:
    hot = (Thermometer(id="28-00000000000f", role=Role.HEATER, name="Heater"),)
    screening = Screening(hot)
    for i in range(60):
        value_c = min(60.0 + 0.625 * i, 90.0)
        assert screening.judge(2.0 * i, 2.0, (Reading(value_c, 2.0 * i),), True).faults == (None,)


def test_frozen_ends_with_the_first_change_and_begins_with_the_heat() -> None:
    screening = Screening((AIR,))
    feed(screening, lambda _: (38.0,), 1000.0)
    assert feed(screening, lambda _: (38.0625,), 4.0, from_s=1000.0)[-1].faults == (None,)
    screening = Screening((AIR,))
    feed(screening, lambda _: (9.0,), 5000.0, heated=False)
    screened_ticks = feed(screening, lambda _: (9.0,), 1000.0, from_s=5000.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.faults[0] is Fault.FROZEN)
    assert 896 <= 2 * first <= 904


def test_after_the_door_was_shut_air_has_ten_minutes_and_two() -> None:
    """Air far below the parts: quiet while the oven settles, doubted when it stays so."""
    screened_ticks = feed(Screening((AIR, LID)), lambda t: (wobble(t, 12.0), 35.0), 900.0)
    first = next(i for i, v in enumerate(screened_ticks) if v.doubted)
    assert 600 + 116 <= 2 * first <= 600 + 130
    screening = Screening((AIR, LID))
    feed(screening, lambda t: (wobble(t, 12.0), 35.0), 700.0)
    feed(screening, lambda t: (wobble(t, 12.0), 35.0), 2.0, heated=False, from_s=700.0)
    again = feed(screening, lambda t: (wobble(t, 12.0), 35.0), 700.0, from_s=702.0)
    assert not any(v.doubted for v in again)  # it was opened: the grace begins anew


def test_the_grace_after_the_door_is_not_begun_anew_by_a_restore() -> None:
    one = Screening((AIR, LID))
    feed(one, lambda t: (wobble(t, 12.0), 35.0), 660.0)
    two = Screening((AIR, LID))
    two.restore(json.loads(json.dumps(one.snapshot())))
    screened_ticks = feed(two, lambda t: (wobble(t, 12.0), 35.0), 100.0, from_s=660.0)
    assert screened_ticks[-1].doubted


def test_one_part_colder_than_the_air_is_no_disagreement() -> None:
    """A heavy mould lags behind; only air below every part is odd."""
    rim = LID.model_copy(update={"id": "28-000000000010", "name": "Rim"})
    screened_ticks = feed(Screening((AIR, LID, rim)), lambda t: (wobble(t), 50.0, 20.0), 1800.0)
    assert screened_ticks[-1].faults == (None, None, None)


def test_the_first_air_sensor_takes_back_control_when_it_is_believed_again() -> None:
    def values(t_s: float) -> tuple[float | None, float]:
        return (None if 20 <= t_s < 60 else wobble(t_s), wobble(t_s, 39.0))

    controls = [v.control_c or 0.0 for v in feed(Screening((AIR, AIR_2)), values, 100.0)]
    assert max(controls[:10]) < 38.5
    assert min(controls[10:30]) > 38.5
    assert max(controls[30:]) < 38.5


anything = st.one_of(st.none(), st.floats(), st.floats(-60, 130), st.sampled_from([85.0, -0.0]))


@given(
    st.lists(
        st.tuples(st.floats(0, 20), anything, anything, st.floats(-20, 5), st.booleans()),
        max_size=60,
    )
)
@hypo(deadline=None)
def test_whatever_comes_a_fault_or_a_finite_value(steps: list[tuple[float, ...]]) -> None:
    """Never both, never neither, never NaN; and a snapshot goes on to the bit."""
    one, now_s = Screening((AIR, LID)), 0.0
    for dt_s, air_c, part_c, age_s, heated in steps:
        now_s += dt_s
        reads = (Reading(air_c, now_s + age_s), Reading(part_c, now_s))
        two = Screening((AIR, LID))
        two.restore(json.loads(json.dumps(one.snapshot(), allow_nan=False)))
        screened = one.judge(now_s, dt_s, reads, bool(heated))
        assert two.judge(now_s, dt_s, reads, bool(heated)) == screened
        for believed_c, fault in zip(screened.believed_c, screened.faults, strict=True):
            assert (believed_c is None) is (fault is not None)
            assert believed_c is None or -55.0 < believed_c < 125.0
        assert screened.control_c == screened.believed_c[0]


def test_two_air_sensors_that_were_only_apart_end_the_doubt_when_they_agree() -> None:
    """A warm corner under full heat: without heat the corners even out, none of them rises."""
    second = AIR.model_copy(update={"id": "28-0000000000ff", "name": "Far"})
    screening = Screening((AIR, second, LID))

    def corners(t_s: float) -> tuple[float, float, float]:
        near_c = 10.0 if t_s < 700.0 else 20.0 if t_s < 1000.0 else 9.0
        return wobble(t_s, near_c), wobble(t_s, 9.0), 9.0

    seen = feed(screening, corners, 1200.0)
    assert seen[450].doubted
    assert not seen[-1].doubted
    assert seen[-1].control_c is not None


def test_a_sensor_that_stands_still_is_asked_before_it_is_doubted() -> None:
    """A quiet sensor in a tight oven shows one value for as long as the air is held; unasked, the
    heat was taken away after a quarter of an hour and the air fell by 0.7 K in mid-soak."""
    screening, said = Screening((AIR,)), []
    for i in range(460):
        screened = screening.judge(2.0 * i, 2.0, (Reading(50.0, 2.0 * i),), True)
        said.append((screened.still, screened.faults[0]))
    first = said.index((True, None))
    assert 2.0 * first == pytest.approx(450.0, abs=4.0)
    assert 2.0 * said.index((False, Fault.FROZEN)) == pytest.approx(900.0, abs=4.0)
    assert all(still for still, _ in said[first : said.index((False, Fault.FROZEN))])
    moved = screening.judge(920.0, 2.0, (Reading(50.0625, 920.0),), True)
    assert (moved.still, moved.faults[0]) == (False, None)
    assert moved.regulated_c == moved.control_c == 50.0625
    asked = Screened((50.0,), (None,), 50.0, still=True)
    assert asked.regulated_c == 49.875


def test_a_cool_oven_that_stands_still_is_not_asked() -> None:
    screening = Screening((AIR,))
    for i in range(600):
        reading = (Reading(20.0, 2.0 * i),)
        assert not screening.judge(2.0 * i, 2.0, reading, False, cooling_to_c=30.0).still


def test_badly_stirred_air_is_doubted_once_a_night() -> None:
    """Two sensors 10 K apart under heat, together without it. Each time they parted the heat was
    taken away and given again, and the air swung by 7 K all night; once they have shown that it is
    the heat they may be 16 K apart. A sensor further off is doubted as before."""
    screening, t_s, apart_k, doubts = Screening((AIR, AIR)), 0.0, 0.0, 0
    doubted = before = False
    for i in range(6000):
        t_s = 2.0 * i
        goal_k = 0.0 if doubted else 10.0
        apart_k += (goal_k - apart_k) * 2.0 / 200.0
        warm_c = 40.0 + 0.0625 * (i % 2)
        reads = (Reading(warm_c, t_s), Reading(warm_c - apart_k, t_s))
        doubted = screening.judge(t_s, 2.0, reads, True, heater_on=not doubted).doubted
        doubts += doubted and not before
        before = doubted
    assert doubts == 1
    two = Screening((AIR, AIR))
    two.restore(json.loads(json.dumps(screening.snapshot())))
    for i in range(6000, 6150):
        t_s, cold_c = 2.0 * i, 30.0 + 0.0625 * (i % 2)
        reads = (Reading(40.0 + 0.0625 * (i % 2), t_s), Reading(cold_c, t_s))
        assert not two.judge(t_s, 2.0, reads, True).doubted, "a restart forgets nothing of it"
    for i in range(6150, 6250):
        t_s, cold_c = 2.0 * i, 20.0 + 0.0625 * (i % 2)
        doubted = two.judge(t_s, 2.0, (Reading(40.0, t_s), Reading(cold_c, t_s)), True).doubted
    assert doubted


def test_a_clones_true_85_is_not_lost() -> None:
    """Families B, C and F show the power-on bytes after every conversion that ends at 85 °C, too
    (Petrich, counterfeit_DS18B20). Fails before this: the heater was not believed there.
    """
    screening = Screening((HEATER,))
    faults = []
    for i in range(40):  # up to 100 °C in 1/16 K steps, through 85.0000
        t_s, c = 2.0 * i, 80.0 + 0.5 * i
        wire = Fault.POWER_ON if c == 85.0 else None
        faults += screening.judge(t_s, 2.0, (Reading(c, t_s, wire),), True).faults
    assert faults == [None] * 40


@pytest.mark.parametrize("before_c", [20.0, 84.0])
def test_a_sensor_that_lost_its_supply_stays_at_85_and_is_not_believed(before_c: float) -> None:
    """Out of the blue at once; where it might be true, within two minutes."""
    screening = Screening((HEATER,))
    screening.judge(0.0, 2.0, (Reading(before_c, 0.0),), True)
    faults = [
        screening.judge(t, 2.0, (Reading(85.0, t, Fault.POWER_ON),), True).faults[0]
        for t in (2.0 * i for i in range(1, 60))
    ]
    assert faults[-1] is Fault.POWER_ON
    assert (faults[0] is None) is (before_c == 84.0)


def test_no_doubt_begins_while_a_broken_off_night_waits_to_be_taken_up() -> None:
    """Nothing is heated then, and parts lie above the air by rights; the doubt kept the night from
    being judged (fails before this). One that began before stays."""
    for open_s, doubted in ((900.0, False), (700.0, True)):
        screening = Screening((AIR, LID))
        for i in range(600):
            t_s = 2.0 * i
            air_c = 36.0 if t_s < open_s else 10.0
            reads = (Reading(wobble(t_s, air_c), t_s), Reading(37.0, t_s))
            screened = screening.judge(t_s, 2.0, reads, True, halted=t_s >= 900.0)
        assert screened.doubted is doubted
