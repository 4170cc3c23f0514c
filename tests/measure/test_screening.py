"""Screening: each fault is found, and what looks like one but is not stays believed."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable

import pytest

from nightcure.measure.reading import Fault, Reading
from nightcure.measure.screening import Screening, Verdict
from nightcure.settings import Role, Thermometer

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
) -> list[Verdict]:
    """Verdicts every 2 s of good wires carrying `values(t)`."""
    verdicts = []
    steps = int(for_s / 2.0)
    for i in range(steps):
        t_s = from_s + 2.0 * i
        reads = tuple(Reading(v, t_s) for v in values(t_s))
        verdicts.append(screening.judge(t_s, 2.0, reads, heated))
    return verdicts


def last_fault(values: Callable[[float], Iterable[float | None]], for_s: float = 60.0,
               *more: Thermometer, heated: bool = True) -> Fault | None:  # fmt: skip
    return feed(Screening((AIR, *more)), values, for_s, heated)[-1].faults[0]


def wobble(t_s: float, base_c: float = 38.0) -> float:
    """A living sensor: one step of its last bit now and then."""
    return base_c + (0.0625 if int(t_s / 2) % 7 == 0 else 0.0)


def test_a_living_sensor_is_believed() -> None:
    verdicts = feed(Screening((AIR, LID)), lambda t: (wobble(t), 37.0), 3600.0)
    assert all(v.faults == (None, None) for v in verdicts)
    assert verdicts[-1].control_c == pytest.approx(38.0, abs=0.07)


def test_the_offset_is_added() -> None:
    screening = Screening((AIR.model_copy(update={"offset_c": 0.5}),))
    assert feed(screening, lambda _: (20.0,), 4)[-1].control_c == 20.5


@pytest.mark.parametrize("fault", [Fault.CRC, Fault.MISSING, Fault.BUS, Fault.POWER_ON])
def test_what_the_wire_says_is_passed_on(fault: Fault) -> None:
    verdict = Screening((AIR,)).judge(0.0, 2.0, (Reading(20.0, 0.0, fault),), True)
    assert verdict.faults == (fault,)
    assert verdict.control_c is None


def test_nothing_is_missing() -> None:
    assert last_fault(lambda _: (None,)) is Fault.MISSING


@pytest.mark.parametrize("value_c", [127.94, 125.0, -55.0, float("nan"), float("inf")])
def test_impossible_values(value_c: float) -> None:
    assert last_fault(lambda _: (value_c,)) is Fault.RANGE


def test_85_out_of_the_blue_is_power_on_and_a_true_85_is_not() -> None:
    assert last_fault(lambda t: (85.0 if t > 30 else 38.0,)) is Fault.POWER_ON
    assert last_fault(lambda _: (85.0,)) is Fault.POWER_ON  # the very first word
    slow = [last_fault(lambda t: (min(60.0 + 0.1 * t, 85.0),), 400.0)]
    assert slow == [None]


def test_a_jump_is_doubted_until_it_has_settled() -> None:
    verdicts = feed(Screening((AIR,)), lambda t: (30.0 if t < 20 else 50.0,), 40.0)
    faults = [v.faults[0] for v in verdicts]
    assert faults[10:14] == [Fault.RATE] * 4
    assert faults[14:] == [None] * (len(faults) - 14)


def test_one_outlier_is_left_out_and_forgotten() -> None:
    verdicts = feed(Screening((AIR,)), lambda t: (60.0 if t == 20 else 30.0,), 60.0)
    assert [v.faults[0] for v in verdicts].count(Fault.RATE) == 1
    assert verdicts[-1].faults == (None,)


def test_a_fast_but_possible_rise_is_believed() -> None:
    assert last_fault(lambda t: (20.0 + 1.5 * t,), 30.0) is None


def test_frozen_is_found_after_a_quarter_of_an_hour_of_heating() -> None:
    verdicts = feed(Screening((AIR,)), lambda _: (38.0,), 1000.0)
    first = next(i for i, v in enumerate(verdicts) if v.faults[0] is Fault.FROZEN)
    assert 900 <= 2 * first <= 904


def test_a_cold_oven_or_a_quiet_part_may_stand_still() -> None:
    assert last_fault(lambda _: (9.0,), 3600.0, heated=False) is None
    screening = Screening((LID.model_copy(update={"role": Role.PART}), AIR))
    verdicts = feed(screening, lambda t: (38.0, wobble(t)), 3600.0)
    assert verdicts[-1].faults == (None, None)


def test_stale_is_found_and_the_same_reading_twice_is_not() -> None:
    screening = Screening((AIR,))
    for t_s, expected in ((0.0, None), (8.0, None), (10.0, None), (12.0, Fault.STALE)):
        verdict = screening.judge(t_s, 2.0, (Reading(20.0, 0.0),), True)
        assert verdict.faults == (expected,), t_s


def test_a_reading_from_the_future_is_no_reading() -> None:
    assert Screening((AIR,)).judge(0.0, 2.0, (Reading(20.0, 5.0),), True).faults == (Fault.STALE,)


def test_air_far_below_the_parts_does_not_measure_the_oven() -> None:
    def fallen(t_s: float) -> tuple[float, float]:
        return (wobble(t_s, 10.0) if t_s > 900 else wobble(t_s), 37.0)

    verdicts = feed(Screening((AIR, LID)), fallen, 1200.0)
    first = next(i for i, v in enumerate(verdicts) if v.faults[0] is Fault.DISAGREES)
    assert 900 + 120 <= 2 * first <= 900 + 140
    assert verdicts[-1].control_c is None


def test_warm_moulds_in_a_box_just_shut_are_given_time() -> None:
    def warming(t_s: float) -> tuple[float, float]:
        return (wobble(t_s, min(12.0 + t_s / 60.0 * 2.0, 33.0)), 35.0)

    verdicts = feed(Screening((AIR, LID)), warming, 1800.0)
    assert all(v.faults == (None, None) for v in verdicts)


def test_two_air_sensors_far_apart_are_both_doubted() -> None:
    verdicts = feed(
        Screening((AIR, AIR_2)), lambda t: (wobble(t), wobble(t, 50.0 if t > 900 else 38.5)), 1200
    )
    assert verdicts[400].faults == (None, None)
    assert verdicts[-1].faults == (Fault.DISAGREES, Fault.DISAGREES)
    assert verdicts[-1].control_c is None


def test_another_air_sensor_stands_in() -> None:
    verdicts = feed(Screening((AIR, AIR_2, SHED)), lambda t: (None, wobble(t), 5.0), 60.0)
    assert verdicts[-1].faults == (Fault.MISSING, None, None)
    assert verdicts[-1].control_c == pytest.approx(38.0, abs=0.07)


def test_state_restores_to_the_bit() -> None:
    values = lambda t: (30.0 if t < 20 else 50.0, 37.0)  # noqa: E731
    for cut in range(1, 20):
        one = Screening((AIR, LID))
        feed(one, values, 2.0 * cut)
        two = Screening((AIR, LID))
        two.restore(json.loads(json.dumps(one.snapshot())))
        after = (values, 40.0, True, 2.0 * cut)
        assert feed(two, *after) == feed(one, *after)
