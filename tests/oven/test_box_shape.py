"""A box's shape by a ruler, against plane geometry's own formulas."""

from __future__ import annotations

import math

import pytest
from pydantic import ValidationError

from nightcure.oven.box_shape import Tube, area_of, cuboid, outline_of, tube
from nightcure.oven.description import Description

BOARD = [{"thickness_m": 0.025}]


@pytest.mark.parametrize("sides", [(3, 4, 5), (2, 2, 3.9), (0.8, 0.8, 0.8), (1, 5, 5.5)])
def test_three_panels_against_herons_formula(sides: tuple[float, float, float]) -> None:
    half = sum(sides) / 2.0
    heron = math.sqrt(half * math.prod(half - side for side in sides))
    assert area_of(outline_of(sides)) == pytest.approx(heron, rel=1e-6)


@pytest.mark.parametrize("count", [3, 4, 6, 24])
def test_equal_panels_against_the_regular_polygon(count: int) -> None:
    regular = count / (4.0 * math.tan(math.pi / count))
    assert area_of(outline_of([1.0] * count)) == pytest.approx(regular, rel=1e-6)


@pytest.mark.parametrize("sides", [(1, 2, 1, 2), (3, 1, 1, 1.5), (0.4, 1.2, 0.9, 1.3)])
def test_four_panels_against_brahmaguptas_formula(sides: tuple[float, ...]) -> None:
    half = sum(sides) / 2.0
    exact = math.sqrt(math.prod(half - side for side in sides))
    corners = outline_of(sides)
    assert area_of(corners) == pytest.approx(exact, rel=1e-6)
    ends = [*corners[1:], corners[0]]
    drawn = [math.dist(a, b) for a, b in zip(corners, ends, strict=True)]
    assert drawn == pytest.approx(sides, rel=1e-6)


def test_a_tube_of_four_is_the_box_of_the_same_sides() -> None:
    box, pipe = cuboid((1.2, 0.6, 0.5)), tube(Tube(panels_m=(0.6, 0.5, 0.6, 0.5), length_m=1.2))
    assert pipe.area_m2 == pytest.approx(box.area_m2, rel=1e-6)
    assert pipe.volume_m3 == pytest.approx(box.volume_m3, rel=1e-6)
    assert pipe.edges_m == pytest.approx(box.edges_m)


def test_the_loss_is_of_the_panels_whatever_the_shape() -> None:
    def loss(**shape: object) -> float:
        told = {"boards": BOARD, "heater": {"power_w": 300}, **shape}
        return Description.model_validate(told).network().loss_w_per_k

    whole = loss(inside_m=(1.2, 0.6, 0.6))
    assert loss(tube={"panels_m": [0.6] * 4, "length_m": 1.2}) == pytest.approx(whole, rel=1e-6)
    panels = [{"name": "all round", "area_m2": 3.6}]
    assert loss(panels=panels, volume_m3=0.432) == pytest.approx(whole, rel=1e-6)


@pytest.mark.parametrize(
    ("shape", "said"),
    [
        ({}, "one of inside_m"),
        ({"inside_m": (1, 1, 1), "tube": {"panels_m": [1, 1, 1], "length_m": 1}}, "one of"),
        ({"inside_m": (1, 1, 40)}, "0.05 to 30 m"),
        ({"tube": {"panels_m": [3, 1, 1], "length_m": 1}}, "do not close"),
        ({"tube": {"panels_m": [1, 1], "length_m": 1}}, "panels_m"),
        ({"panels": [{"name": "lid", "area_m2": 1}]}, "volume_m3"),
        ({"inside_m": (1, 1, 1), "volume_m3": 1}, "volume_m3"),
    ],
)
def test_what_is_no_box_is_told(shape: dict[str, object], said: str) -> None:
    with pytest.raises(ValidationError, match=said):
        Description.model_validate({"boards": BOARD, "heater": {"power_w": 300}, **shape})
