"""A virtual oven with walls of several layers keeps its moulds apart from its walls."""

import numpy as np

from nightcure.oven.thermal import FIRST_MOULD, Layer, Mould, Network
from nightcure.settings import Role, Thermometer
from nightcure.simulate.virtual import VirtualOven

NETWORK = Network(
    power_w=300.0,
    heater_capacity_j_per_k=900.0,
    heater_air_w_per_k=3.0,
    air_capacity_j_per_k=2_000.0,
    wall_capacity_j_per_k=5_000.0,
    air_wall_w_per_k=20.0,
    wall_ambient_w_per_k=4.0,
    leak_w_per_k=0.5,
    moulds=(Mould("hull", 20_000.0, 5.0), Mould("lid", 8_000.0, 4.0)),
    layers=(Layer(9_000.0, 6.0),),
)
AIR = Thermometer(id="28-000000000001", role=Role.AIR, name="air")


def test_moulds_are_the_moulds_alone() -> None:
    oven = VirtualOven(NETWORK, (AIR,), lambda _t: 10.0)
    oven.state_c = np.array([1.0, 2.0, 3.0, 4.0, 5.0, 6.0])
    assert oven.moulds_c == [4.0, 5.0]


def test_heat_of_the_resin_enters_its_mould_and_no_wall() -> None:
    oven = VirtualOven(NETWORK, (AIR,), lambda _t: 10.0)
    oven.step(1.0, heater_on=False, moulds_w=[0.0, 800.0])
    rise_k = (oven.state_c - 10.0).tolist()
    assert abs(rise_k[FIRST_MOULD + 1] - 800.0 / 8_000.0) < 1e-3
    assert max(rise_k[:FIRST_MOULD] + rise_k[FIRST_MOULD + 2 :]) < 1e-3
