"""The zoned oven against scipy's stiff solver, against sums by hand, and against what it is for."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from nightcure.cure.clock_figures import ClockFigures, SelfHeat
from nightcure.cure.part import Part
from nightcure.oven.thermal import AIR, Layer, Network
from nightcure.settings import Role, Thermometer
from nightcure.simulate.body import Held
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.lumped import LumpedOven
from nightcure.simulate.resin import Resins
from nightcure.simulate.virtual import VirtualOven
from nightcure.simulate.zoned import DRAUGHT_AT_K, LayeredMould, ZonedBody, ZonedOven

SHED_C, DT_S = 10.0, 2.0
BARE = LayeredMould(12_000.0, 60.0, 4.0, zone=1)
WET = LayeredMould(9_000.0, 60.0, 4.0, 0, laminate_j_per_k=2_400.0, laminate_w_per_k=30.0)
OVEN = ZonedOven(
    power_w=400.0,
    heater_capacity_j_per_k=800.0,
    heater_w_per_k=4.0,
    radiant_share=0.4,
    zones_j_per_k=(900.0, 900.0, 1_200.0),
    exchange_w_per_k=15.0,
    still_share=0.3,
    film_w_per_k=30.0,
    wall=(Layer(1_500.0, 1.0), *[Layer(700.0, 18.0)] * 4, Layer(5_000.0, 18.0)),
    wall_ambient_w_per_k=20.0,
    draught_w_per_k=1.2,
    moulds=(WET, BARE),
    air_view=0.02,
    probe_zone=2,
)
Temps = list[float]
#: One row of gel times, so that one energy rules the whole cure; gels in 100 min at 5 °C.
FIGURES = ClockFigures(
    gel_min=((5.0, 100.0),), cure_kj_per_mol=55.0, reference_c=25.0, lowest_c=5.0,
    gel_band=(1.0, 1.0, 1.0), self_heat=SelfHeat(seed=1e-4, gel_degree=0.05,
                                                 heat_j_per_kg_resin=350e3),
)  # fmt: skip
RESIN_KG = 0.8
THERMOMETERS = (
    Thermometer(id="28-000000000001", role=Role.AIR, name="Air"),
    Thermometer(id="28-000000000002", role=Role.PART, name="Hull"),
    Thermometer(id="28-000000000003", role=Role.MOULD, name="Lid"),
    Thermometer(id="28-000000000004", role=Role.AIR, name="Other air"),
    Thermometer(id="28-000000000005", role=Role.HEATER, name="Heater"),
)


def on_at(t_s: float) -> bool:
    """Half an hour of heat, then a third of every three minutes."""
    return t_s < 1800.0 or t_s % 180.0 < 60.0


def test_four_hours_agree_with_the_stiff_solver() -> None:
    """Radau of scipy on the whole of it, draught and cure not held but going on: within 0.03 K."""
    oven = VirtualOven(OVEN, THERMOMETERS, lambda _: SHED_C)
    part = Part(name="Hull", card="by hand", resin_kg=RESIN_KG, sensor="Hull", figures=FIGURES)
    resins = Resins([part], THERMOMETERS, len(oven.moulds_c), nodes=oven.nodes_per_mould)
    a, b = OVEN.rates()
    capacities = np.array(OVEN.capacities)
    n, first = len(a), OVEN.first_node(0)
    lam = slice(first, first + 3)
    seed, gel = (math.sqrt(x / (1 - x)) for x in (1e-4, 0.05))
    per_s = (gel - seed) / (60.0 * 100.0)

    def slope(_: float, y: np.ndarray, power_w: float) -> np.ndarray:
        temp_c, root = y[:n], y[n:]
        heat_w = np.zeros(n)
        heat_w[0] = power_w
        over_k = temp_c[1:4] - SHED_C
        extra = np.sqrt(np.abs(over_k) / DRAUGHT_AT_K) - 1.0
        heat_w[1:4] = -OVEN.draught_w_per_k / 3.0 * extra * over_k
        kelvin = temp_c[lam] + 273.15
        rate = per_s * np.exp(55e3 / 8.314462618 * (1 / 278.15 - 1 / kelvin))
        heat_w[lam] = RESIN_KG / 3.0 * 350e3 * 2.0 * root / (1.0 + root**2) ** 2 * rate
        return np.concatenate([a @ temp_c + b[:, 0] * SHED_C + heat_w / capacities, rate])

    y = np.concatenate([np.full(n, SHED_C), np.full(3, seed)])
    worst_k, own_k, t_s = 0.0, 0.0, 0.0
    while t_s < 4 * 3600.0:
        span_s = 1800.0 if t_s < 1800.0 else 60.0
        power_w = OVEN.power_w if on_at(t_s) else 0.0
        solved = solve_ivp(slope, (0, span_s), y, "Radau", rtol=1e-7, atol=1e-7, args=(power_w,))
        y = solved.y[:, -1]
        for _ in range(round(span_s / DT_S)):
            oven.step(DT_S, on_at(oven.t_s), True, resins.step(oven.t_s, DT_S, oven.moulds_c))
        t_s += span_s
        worst_k = max(worst_k, float(np.max(np.abs(oven.state_c - y[:n]))))
        own_k = max(own_k, float(y[first] - max(y[1:4])))
    assert own_k > 5.0, "the laminate has heated itself past any air here"
    assert float(y[n]) ** 2 / (1 + float(y[n]) ** 2) > 0.9, "and has cured"
    assert worst_k < 0.03


def test_a_plain_one_is_the_network() -> None:
    """One zone, one wall lump, no radiation, no draught: the survey's own structure."""
    zoned = ZonedOven(
        300.0, 700.0, 3.0, 0.0, (1_500.0,), 1.0, 1.0, 28.0, (Layer(3_200.0, 1.0),), 3.07, 0.0
    )
    network = Network(300.0, 700.0, 3.0, 1_500.0, 3_200.0, 28.0, 3.07, 0.0)
    bodies = ZonedBody(zoned), LumpedOven(network)
    for body in bodies:
        body.state_c = np.full(3, 8.0)
        for i in range(500):
            body.step(DT_S, Held(300.0 * (i % 3 == 0), 8.0))
    heater_c, air_c, wall_c = bodies[1].state_c.tolist()
    assert bodies[0].state_c.tolist() == pytest.approx([heater_c, air_c, wall_c], abs=1e-9)
    assert zoned.loss_w_per_k == pytest.approx(network.loss_w_per_k)
    seen_c = [body.points_c() for body in bodies]
    assert seen_c[0][AIR] == seen_c[0][-1] == pytest.approx(seen_c[1][AIR])
    assert AIR == 1


def test_its_loss_is_what_goes_to_the_shed() -> None:
    """At rest under constant heat the flows to the shed add up to the heater's watts."""
    a, b = OVEN.rates()
    over_k = np.linalg.solve(a, -b[:, 1])
    assert float(over_k @ OVEN.to_ambient()) == pytest.approx(1.0)
    probe_k = float(over_k[1 + OVEN.probe_zone])
    assert OVEN.loss_w_per_k == pytest.approx(1.0 / probe_k)
    assert float(over_k[1]) > probe_k, "the heater's own zone is the hottest"


def test_where_the_thermometers_are() -> None:
    """The first air sensor in its zone, the second in the next; parts on the laminate's free face,
    a mould's under it; each air sensor sees a little of the heater."""
    oven = VirtualOven(OVEN, THERMOMETERS, lambda _: SHED_C)
    n = len(OVEN.capacities)
    oven.state_c = np.arange(float(n)) + 20.0
    points = oven.body.points_c()
    assert points[:n] == oven.state_c.tolist()
    zone_3, zone_1, heater = 23.0, 21.0, 20.0
    assert points[oven.body.place(Role.AIR, 0)] == pytest.approx(zone_3 + 0.02 * (heater - zone_3))
    assert points[oven.body.place(Role.AIR, 1)] == pytest.approx(zone_1 + 0.02 * (heater - zone_1))
    assert oven.body.place(Role.HEATER, 0) == 0
    assert oven.body.place(Role.PART, 0) == OVEN.first_node(0) == 10
    assert oven.body.place(Role.MOULD, 0) == 15
    assert oven.body.place(Role.PART, 1) == oven.body.place(Role.MOULD, 1) == 16
    assert oven.moulds_c == [30.0, 31.0, 32.0, 36.0, 37.0, 38.0]


def after(oven: ZonedOven, hours: float, fan_on: bool = True, door_w_per_k: float = 0.0) -> Temps:
    """Its nodes after full heat from 40 °C on."""
    body = ZonedBody(oven)
    body.state_c = np.full(len(oven.capacities), 40.0)
    for _ in range(round(hours * 360)):
        body.step(10.0, Held(oven.power_w, SHED_C, (), door_w_per_k, fan_on))
    return body.state_c.tolist()


def test_radiation_warms_parts_past_the_air_the_fan_evens_the_zones_and_the_lid_cools() -> None:
    shone, dark = (
        after(replace(OVEN, radiant_share=0.8), 1.0),
        after(replace(OVEN, radiant_share=0.0), 1.0),
    )
    lid = OVEN.first_node(1)
    assert shone[lid] > dark[lid] + 3.0
    assert shone[1] < dark[1]
    still, blown = after(OVEN, 1.0, fan_on=False), after(OVEN, 1.0)
    assert still[1] - still[3] > 1.5 * (blown[1] - blown[3]) > 3.0
    opened = after(OVEN, 1.0, door_w_per_k=60.0)
    assert opened[3] < 0.5 * blown[3]
    assert opened[lid] < blown[lid] - 10.0, "and the moulds' upper faces"


def test_the_draught_grows_with_the_difference() -> None:
    """A cooling box without walls to speak of: at four times the difference eight times the loss
    (stack effect: flow as the root of the difference)."""
    box = replace(
        OVEN, zones_j_per_k=(1e6,), film_w_per_k=1e-6, moulds=(), probe_zone=0, draught_w_per_k=5.0,
        heater_w_per_k=1e-6,
    )  # fmt: skip
    lost_w = []
    for over_k in (10.0, 40.0):
        body = ZonedBody(box)
        body.state_c = np.full(len(box.capacities), SHED_C + over_k)
        body.step(2.0, Held(0.0, SHED_C))
        lost_w.append((SHED_C + over_k - float(body.state_c[1])) * 1e6 / 2.0)
    assert lost_w[1] / lost_w[0] == pytest.approx(8.0, rel=1e-3)
    assert lost_w[0] == pytest.approx(5.0 * math.sqrt(10.0 / DRAUGHT_AT_K) * 10.0, rel=1e-3)


def test_own_heat_by_fault_enters_the_first_mould() -> None:
    oven = VirtualOven(OVEN, THERMOMETERS, lambda _: SHED_C, faults=[FaultAt("exotherm", 0.0)])
    oven.step(2.0, False, False)
    rise_k = oven.state_c - SHED_C
    first = OVEN.first_node(0)
    assert float(rise_k @ np.array(OVEN.capacities)) == pytest.approx(800.0, rel=1e-3)
    assert float(rise_k[first : first + 3].min()) > 10.0 * float(rise_k[:first].max())


@pytest.mark.parametrize(
    "wrong",
    [{"power_w": 0.0}, {"radiant_share": 1.0}, {"probe_zone": 3}, {"zones_j_per_k": (0.0,)}],
)  # fmt: skip
def test_what_cannot_be_is_refused(wrong: dict[str, object]) -> None:
    with pytest.raises(ValueError, match=r"\.$"):
        replace(OVEN, **wrong)  # type: ignore[arg-type]
