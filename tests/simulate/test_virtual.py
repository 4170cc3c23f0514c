"""The virtual oven: deterministic, honest sensors, faults that do what they say and not before."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from nightcure.errors import BadInput
from nightcure.oven.thermal import FIRST_MOULD, Network, step
from nightcure.simulate.faults import FAULTS, FaultAt, parse_fault
from nightcure.simulate.scenario import BOX
from nightcure.simulate.virtual import (
    AIR_PROBE_S,
    NOISE_C,
    NOISE_RANGE_C,
    PART_PROBE_S,
    QUANTUM_C,
    Probe,
    VirtualOven,
    usual_probes,
)
from nightcure.tick import Fault, Reading
from tests.nights import SETTINGS

FAULT_S = 600.0
Row = tuple[Reading, ...]


def oven(*faults: FaultAt, seed: int = 0, start_c: float = 30.0) -> VirtualOven:
    return VirtualOven(BOX, SETTINGS.thermometers, lambda _: 5.0, seed, faults, start_c)


def course(o: VirtualOven, ticks: int = 300, on: bool = True) -> list[Row]:
    """What the sensors say, then a step of 2 s; so often."""
    seen = []
    for _ in range(ticks):
        seen.append(tuple(o.sense()))
        o.step(2.0, on)
    return seen


def test_the_same_seed_is_the_same_night_and_another_is_not() -> None:
    one, same, other = oven(seed=4), oven(seed=4), oven(seed=5)
    said = course(one, 5000)
    assert said == course(same, 5000)
    assert said != course(other, 5000)
    assert one.state_c.tolist() == other.state_c.tolist(), "the seed is of the noise alone"


def test_sensors_are_quantised_and_as_noisy_as_stated() -> None:
    o = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 20.0, 1, (), 20.0)
    values = [c for row in course(o, 3000, on=False) for c, *_ in row]
    assert all(v is not None and v * 16 == round(v * 16) for v in values)
    assert len(set(values)) > 2
    said = [v for v in values if v is not None]
    # Noise and a 1/16 K quantum's 0.018 K rms (quantum / root 12) add in squares.
    assert statistics.pstdev(said) == pytest.approx(math.hypot(NOISE_C, 0.018), rel=0.05)
    assert statistics.mean(said) == pytest.approx(20.0, abs=0.002)


def test_offsets_are_what_the_probe_lacks() -> None:
    t = SETTINGS.thermometers[0].model_copy(update={"offset_c": 1.5})
    o = VirtualOven(BOX, (t,), lambda _: 20.0, 1, (), 20.0)
    said = [r[0][0] or 0.0 for r in course(o, 500, on=False)]
    assert statistics.mean(said) == pytest.approx(18.5, abs=0.01)


def test_each_sensor_sits_where_its_role_says() -> None:
    """Air, two parts on two moulds, the shed: told apart by holding the nodes apart."""
    o = oven()
    for _ in range(400):
        o.state_c = np.array([90.0, 40.0, 20.0, 30.0, 25.0])
        o.step(2.0, False)
    air_c, lid_c, rim_c, shed_c = (c or 0.0 for c, *_ in o.sense())
    assert air_c > lid_c > rim_c > shed_c
    assert shed_c == pytest.approx(5.0, abs=0.2)
    assert lid_c == pytest.approx(30.0, abs=0.3)
    assert rim_c == pytest.approx(25.0, abs=0.3)


def test_probes_lag_by_their_own_time_constant() -> None:
    """A jump of all nodes by 20 K: 63.2 % of it after one time constant (first-order lag)."""
    big = Network(**{**vars(BOX), "leak_w_per_k": 0.0, "wall_ambient_w_per_k": 0.0})
    for index, tau_s in ((0, AIR_PROBE_S), (1, PART_PROBE_S)):
        o = VirtualOven(big, SETTINGS.thermometers, lambda _: 20.0, 2, (), 20.0)
        o.state_c = np.full(5, 40.0)
        o.step(tau_s, False)
        assert o.sense()[index].value_c == pytest.approx(20.0 + 20.0 * (1 - 1 / math.e), abs=0.2)


def test_heat_flows_only_through_relay_and_contactor_and_is_counted() -> None:
    o = oven()
    for heater, contactor in ((True, False), (False, True), (False, False)):
        o.step(10.0, heater, contactor)
        assert not o.heating
    assert o.energy_j == 0.0
    o.step(10.0, True, True)
    assert o.heating
    assert o.energy_j == 3000.0
    assert o.t_s == 40.0


# ---- faults ------------------------------------------------------------------------------------


def expected_c(network: Network, heater_w: float, part_w: float = 0.0) -> list[float]:
    """The nodes after ten faulty minutes, from ten good ones at the same command."""
    state = np.full(5, 30.0)
    for n, p_w, q_w in ((BOX, 300.0, 0.0), (network, heater_w, part_w)):
        p = np.zeros(5)
        p[0], p[FIRST_MOULD] = p_w, q_w
        state = step(n, state, FAULT_S, 5.0, p)
    return [float(c) for c in state]


DOOR = replace(BOX, leak_w_per_k=BOX.leak_w_per_k + 60.0)


@pytest.mark.parametrize(
    ("name", "network", "heater_w", "part_w"),
    [
        ("relay-stuck-open", BOX, 0.0, 0.0),
        ("heater-weak", BOX, 60.0, 0.0),
        ("door-open", DOOR, 300.0, 0.0),
        ("exotherm", BOX, 300.0, 400.0),
    ],
)
def test_faults_of_heat_are_as_large_as_they_say(
    name: str, network: Network, heater_w: float, part_w: float
) -> None:
    """Ten minutes of it, against the network stepped with that power, leak or exotherm."""
    o = oven(FaultAt(name, FAULT_S))
    course(o, 600)
    assert o.state_c.tolist() == pytest.approx(expected_c(network, heater_w, part_w), abs=1e-6)
    assert o.energy_j == pytest.approx((300.0 + heater_w) * FAULT_S)
    assert o.active() == {name}


def test_a_welded_relay_heats_unasked_but_not_through_an_open_contactor() -> None:
    o = oven(FaultAt("relay-welded", FAULT_S))
    course(o, 300, on=False)
    assert o.energy_j == 0.0
    course(o, 300, on=False)
    assert o.energy_j == 300.0 * FAULT_S
    o.step(2.0, False, contactor_on=False)
    assert not o.heating


def test_through_a_welded_contactor_and_relay_power_flows_unasked() -> None:
    o = oven(FaultAt("relay-welded", 0.0), FaultAt("contactor-welded", FAULT_S))
    for _ in range(300):
        o.step(2.0, False, contactor_on=False)
    assert not o.heating
    o.step(2.0, False, contactor_on=False)
    assert o.heating
    assert o.energy_j == 600.0


def said_c(fault: FaultAt, index: int, ticks: int) -> list[float]:
    """What a sensor says from the fault's beginning on, less what it says without the fault."""
    faulty, good = oven(fault), oven()
    course(faulty, 300)
    course(good, 300)
    pairs = zip(course(faulty, ticks), course(good, ticks), strict=True)
    return [(bad[index].value_c or 0.0) - (sound[index].value_c or 0.0) for bad, sound in pairs]


def test_faults_of_a_sensor_are_as_large_as_asked_and_of_the_one_asked() -> None:
    jump = said_c(FaultAt("sensor-jump", FAULT_S, size=4.0, sensor=1), 1, 50)
    assert jump == pytest.approx([4.0] * 50, abs=0.07)
    drift = said_c(FaultAt("sensor-drift", FAULT_S, size=6.0), 0, 900)
    assert drift[-1] == pytest.approx(3.0, abs=0.07)
    noisy = said_c(FaultAt("sensor-noisy", FAULT_S, size=1.0), 0, 2000)
    assert statistics.pstdev(noisy) == pytest.approx(1.0, rel=0.1)
    fallen = said_c(FaultAt("sensor-out-of-box", FAULT_S, sensor=2), 2, 300)
    assert fallen[-1] < -20.0
    assert set(said_c(FaultAt("sensor-out-of-box", FAULT_S, sensor=2), 0, 300)) == {0.0}


def test_swapped_sensors_show_each_others_place() -> None:
    swapped, good = oven(FaultAt("sensors-swapped", 0.0)), oven()
    air_c, lid_c = (c or 0.0 for c, *_ in course(swapped)[-1][:2])
    true_air_c, true_lid_c = (c or 0.0 for c, *_ in course(good)[-1][:2])
    assert (air_c, lid_c) == pytest.approx((true_lid_c, true_air_c), abs=0.3)
    assert true_air_c > true_lid_c + 2.0


def test_sensors_with_a_noise_of_their_own() -> None:
    """Each as noisy as its probe says."""
    low, high = NOISE_RANGE_C
    assert low < NOISE_C < high
    own_c = [low, NOISE_C, high, low]
    probes = [
        p._replace(noise_c=c)
        for p, c in zip(usual_probes(SETTINGS.thermometers), own_c, strict=True)
    ]
    o = VirtualOven(BOX, SETTINGS.thermometers, lambda _: 20.0, 1, (), 20.0, probes)
    columns = zip(*course(o, 5000, on=False), strict=True)
    for probe, column in zip(probes, columns, strict=True):
        spread = statistics.pstdev([c for c, *_ in column if c is not None])
        if probe.noise_c > QUANTUM_C / 3.0:  # below, the quantum hides it
            assert spread == pytest.approx(math.hypot(probe.noise_c, 0.018), rel=0.1)


def test_a_probe_with_a_delay_shows_what_was_and_errs_by_its_error() -> None:
    t = SETTINGS.thermometers[0]
    prompt, late = (
        VirtualOven(BOX, (t,), lambda _: 20.0, 1, (), 20.0, [Probe(15.0, 1e-6, e, d)])
        for e, d in ((0.0, 0.0), (0.5, 40.0))
    )
    first = [c for ((c, *_),) in course(prompt, 600)]
    second = [c for ((c, *_),) in course(late, 600)]
    assert second[20:] == pytest.approx([(c or 0.0) + 0.5 for c in first[:-20]], abs=0.063)


def test_the_shed_falls_by_fifty_kelvin_in_the_hour_and_no_further() -> None:
    o = oven(FaultAt("ambient-drop", FAULT_S))
    o.t_s = FAULT_S + 1800.0
    assert o.ambient_c() == pytest.approx(5.0 - 25.0)
    o.t_s = FAULT_S + 7200.0
    assert o.ambient_c() == pytest.approx(5.0 - 50.0)
    o.step(2.0, False)
    cooled = step(BOX, np.full(5, 30.0), 2.0, -45.0, np.zeros(5))
    assert o.state_c.tolist() == pytest.approx(cooled.tolist())


def at_fault(name: str, ticks: int = 100) -> list[Row]:
    """What the sensors say in the first ticks of a fault; the other sensors must not care."""
    faulty, good = oven(FaultAt(name, FAULT_S)), oven()
    assert course(faulty) == course(good)
    said, sound = course(faulty, ticks), course(good, ticks)
    assert [r[1:] for r in said] == [r[1:] for r in sound]
    assert [r[0] for r in said] != [r[0] for r in sound]
    return said


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("sensor-missing", (None, Fault.MISSING)),
        ("sensor-crc", (None, Fault.CRC)),
        ("sensor-power-on-85", (85.0, None)),
    ],
)
def test_faults_on_the_wire(name: str, expected: tuple[float | None, Fault | None]) -> None:
    assert {(r[0].value_c, r[0].fault) for r in at_fault(name)} == {expected}


def test_a_frozen_sensor_repeats_itself() -> None:
    said = {r[0].value_c for r in at_fault("sensor-frozen")}
    assert len(said) == 1
    before = course(oven(), 300)[-1][0][0] or 0.0
    assert said.pop() == pytest.approx(before, abs=0.25)


def test_a_sensor_that_freezes_twice_freezes_at_two_values() -> None:
    o = oven(FaultAt("sensor-frozen", 100.0, 100.0), FaultAt("sensor-frozen", 1000.0, 100.0))
    rows = [r[0][0] or 0.0 for r in course(o, 600)]
    first, between, second = rows[60:95], rows[100:490], rows[510:545]
    assert len(set(first)) == len(set(second)) == 1
    assert len(set(between)) > 5
    assert second[0] == pytest.approx(between[-1], abs=0.3)


def test_a_sensor_out_of_the_box_falls_to_the_sheds_temperature() -> None:
    said = [r[0][0] or 99.0 for r in at_fault("sensor-out-of-box", 300)]
    assert said[0] > 30.0
    assert said[-1] == pytest.approx(5.0, abs=0.25)


OF_THE_OVEN = [n for n in FAULTS if n not in ("clock-step", "ledger-full", "contactor-welded")]


@pytest.mark.parametrize("name", FAULTS)
def test_nothing_happens_before_its_time(name: str) -> None:
    """And what the oven does not do itself (the clock, the disk), or what shows only with the
    contactor commanded open, does not touch it."""
    on = name != "relay-welded"
    faulty, good = oven(FaultAt(name, FAULT_S)), oven()
    assert course(faulty, 300, on) == course(good, 300, on)
    assert faulty.state_c.tolist() == good.state_c.tolist()
    same = course(faulty, 150, on) == course(good, 150, on)
    assert same is (name not in OF_THE_OVEN)


PASSING: dict[str, Callable[[VirtualOven], bool]] = {
    "sensor-crc": lambda o: o.sense()[0].fault is Fault.CRC,
    "sensor-missing": lambda o: o.sense()[0].fault is Fault.MISSING,
    "door-open": lambda o: "door-open" in o.active(),
}


def test_faults_pass_when_their_time_is_over() -> None:
    for name, probe in PASSING.items():
        o = oven(FaultAt(name, 100.0, 60.0))
        o.t_s = 99.9
        assert not probe(o), name
        o.t_s = 100.0
        assert probe(o), name
        o.t_s = 159.9
        assert probe(o), name
        o.t_s = 160.0
        assert not probe(o), name


# ---- faults as typed ---------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "at_s"),
    [("door-open@90min", 5400), ("door-open@3h", 10800), ("door-open@3h20", 12000),
     ("door-open@3h20min", 12000), ("door-open@45s", 45), ("door-open@0.5h", 1800)],
)  # fmt: skip
def test_times_are_typed_as_people_do(text: str, at_s: float) -> None:
    assert parse_fault(text) == FaultAt("door-open", at_s)


def test_a_fault_may_be_typed_with_a_length() -> None:
    assert parse_fault("sensor-crc@2min+1min") == FaultAt("sensor-crc", 120.0, 60.0)


@pytest.mark.parametrize("name", FAULTS)
def test_every_fault_can_be_typed(name: str) -> None:
    assert parse_fault(f"{name}@1h").name == name


@pytest.mark.parametrize(
    ("text", "essential"),
    [("door@3h", "known: sensor-missing"), ("door-open", "door-open@3h20"),
     ("door-open@", "not a duration"), ("door-open@soon", "'soon' is not a duration"),
     ("door-open@3h+x", "'x' is not a duration"), ("door-open@3h+", "not a duration"),
     ("door-open@-3h", "not a duration"), ("door-open@nan", "not a duration"),
     ("DOOR-OPEN@3h", "there is no fault 'DOOR-OPEN'"), ("", "there is no fault ''")],
)  # fmt: skip
def test_bad_faults_are_one_sentence(text: str, essential: str) -> None:
    with pytest.raises(BadInput) as caught:
        parse_fault(text)
    assert essential in str(caught.value)
    assert len(caught.value.sentences) == 1
