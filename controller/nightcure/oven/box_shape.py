"""A box's shape from what a ruler tells: a cuboid, a tube of panels with two ends, or a list."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Annotated, NamedTuple, Self

from pydantic import Field, model_validator

from ..settings import Section

#: The shortest and longest side that a box may have, m.
SHORTEST_M, LONGEST_M = 0.05, 30.0
Side = Annotated[float, Field(ge=SHORTEST_M, le=LONGEST_M)]


class Face(NamedTuple):
    """One flat side of the box."""

    name: str
    area_m2: float


class Tube(Section):
    """Panels side by side round a hollow, with an end at each side: three make a ridge tent."""

    panels_m: Annotated[tuple[Side, ...], Field(min_length=3, max_length=24)]
    """Width of each panel, in their order round the tube."""
    length_m: Side

    @model_validator(mode="after")
    def _closes(self) -> Self:
        widest, rest = max(self.panels_m), sum(self.panels_m) - max(self.panels_m)
        if widest >= rest:
            raise ValueError(
                f"panels_m: one panel is {widest:g} m wide and the others together {rest:g} m; "
                f"they do not close round it. Each has to be narrower than the others together."
            )
        return self


class Panel(Section):
    """A side of a box of any shape."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    area_m2: Annotated[float, Field(gt=0, le=500)]


def outline_of(sides_m: Sequence[float]) -> list[tuple[float, float]]:
    """Corners of the polygon with these sides that has its corners on a circle, m, first side flat.

    Three sides have one shape; of more the one on a circle is the roomiest (Cramer's theorem, from
    memory), and four with equal opposites are a rectangle.
    """
    widest = max(sides_m)

    def angles(radius_m: float) -> list[float]:
        return [2.0 * math.asin(min(side / (2.0 * radius_m), 1.0)) for side in sides_m]

    at = list(sides_m).index(widest)
    others = sum(angles(widest / 2.0)) - math.pi
    inside = others >= math.pi  # whether the circle's middle lies in the polygon

    def too_wide(radius_m: float) -> bool:
        """Whether the sides go further round the circle than they may."""
        each = angles(radius_m)
        rest = sum(each) - each[at]
        return rest + each[at] > 2.0 * math.pi if inside else rest < each[at]

    low, high = widest / 2.0, 1e4 * sum(sides_m)
    for _ in range(200):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if too_wide(middle) else (low, middle)
    each = angles(high)
    if not inside:
        each[at] = 2.0 * math.pi - (sum(each) - each[at])
    turned, corners = 0.0, []
    for angle in each:
        corners.append((high * math.cos(turned), high * math.sin(turned)))
        turned += angle
    (x0, y0), (x1, y1) = corners[0], corners[1]
    length = math.hypot(x1 - x0, y1 - y0)
    ux, uy = (x1 - x0) / length, (y1 - y0) / length
    return [((x - x0) * ux + (y - y0) * uy, (y - y0) * ux - (x - x0) * uy) for x, y in corners]


def area_of(outline_m: Sequence[tuple[float, float]]) -> float:
    """Area within a polygon's corners, m2 (the surveyor's formula)."""
    pairs = zip(outline_m, [*outline_m[1:], outline_m[0]], strict=True)
    return abs(sum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in pairs)) / 2.0


class Shape(NamedTuple):
    """A box's faces and room, and how to draw it."""

    faces: tuple[Face, ...]
    volume_m3: float
    outline_m: tuple[tuple[float, float], ...]
    """Of its end; empty where only areas are known."""
    length_m: float
    edges_m: float
    """All its edges, where joints are."""

    @property
    def area_m2(self) -> float:
        """Of all faces."""
        return sum(face.area_m2 for face in self.faces)


def cuboid(inside_m: tuple[float, float, float]) -> Shape:
    """Length, width, height."""
    length, width, height = inside_m
    faces = (
        Face("floor", length * width),
        Face("lid", length * width),
        Face("front", length * height),
        Face("back", length * height),
        Face("end 1", width * height),
        Face("end 2", width * height),
    )
    outline = ((0.0, 0.0), (width, 0.0), (width, height), (0.0, height))
    edges_m = 4.0 * (length + width + height)
    return Shape(faces, length * width * height, outline, length, edges_m)


def tube(of: Tube) -> Shape:
    """Panels and ends."""
    outline = tuple(outline_of(of.panels_m))
    end_m2 = area_of(outline)
    panels = [Face(f"panel {n}", width * of.length_m) for n, width in enumerate(of.panels_m, 1)]
    faces = (*panels, Face("end 1", end_m2), Face("end 2", end_m2))
    edges_m = len(of.panels_m) * of.length_m + 2.0 * sum(of.panels_m)
    return Shape(faces, end_m2 * of.length_m, outline, of.length_m, edges_m)


def listed(panels: Sequence[Panel], volume_m3: float) -> Shape:
    """Panels of known areas round a known room; edges as of a box 2 x 1 x 1 of this surface."""
    faces = tuple(Face(p.name, p.area_m2) for p in panels)
    edges_m = 16.0 * math.sqrt(sum(face.area_m2 for face in faces) / 10.0)
    return Shape(faces, volume_m3, (), 0.0, edges_m)
