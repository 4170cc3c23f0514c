"""How well it regulates: the figures that are promised in the README, on the shipped scenario."""

from __future__ import annotations

import pytest

from nightcure.simulate.rehearse import Figures
from tests.loop.mistuned import regulated, switched


@pytest.fixture(scope="module")
def plain() -> Figures:
    """Bang-bang on the shipped oven."""
    return switched("as believed")


def within(f: Figures, overshoot_c: float, soak_c: float) -> None:
    assert f.outcome == "done"
    assert f.overshoot_c is not None
    assert f.soak_min_error_c is not None
    assert f.soak_max_error_c is not None
    assert f.overshoot_c <= overshoot_c
    assert -soak_c <= f.soak_min_error_c
    assert f.soak_max_error_c <= soak_c


def test_solid_state_relay(plain: Figures) -> None:
    pid = regulated("as believed")
    within(pid, 0.5, 0.3)
    assert pid.mean_abs_error_c is not None
    assert plain.mean_abs_error_c is not None
    assert pid.mean_abs_error_c <= 0.30 * plain.mean_abs_error_c


def test_mechanical_contactor(plain: Figures) -> None:
    pid = regulated("contactor")
    assert pid.outcome == "done"
    assert pid.relay_switches <= 1.5 * plain.relay_switches
    assert pid.mean_abs_error_c is not None
    assert plain.mean_abs_error_c is not None
    assert pid.mean_abs_error_c <= 0.6 * plain.mean_abs_error_c
    assert pid.part_ripple_c is not None
    assert pid.part_ripple_c <= 0.2


@pytest.mark.parametrize(
    ("oven", "overshoot_c", "soak_c"),
    [
        ("half the mould", 1.0, 0.5),
        ("twice the mould", 1.0, 0.5),
        ("loss +50 %", 1.0, 0.5),
        ("mains 10 % low", 1.0, 0.5),
        ("2 kW, declared", 1.5, 1.0),
        ("600 W, undeclared", 1.5, 1.0),
    ],
)
def test_without_retuning(oven: str, overshoot_c: float, soak_c: float) -> None:
    within(regulated(oven), overshoot_c, soak_c)
