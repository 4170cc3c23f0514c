"""A box by its sizes: what is asked, and what it comes to."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

Real = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Length = Annotated[float, Field(strict=True, ge=0.05, le=30, allow_inf_nan=False)]
Degrees = Annotated[float, Field(strict=True, ge=-45, le=120, allow_inf_nan=False)]


class AskedBoard(BaseModel):
    """One layer of the walls, from inside outwards."""

    model_config = ConfigDict(extra="forbid")

    thickness_mm: Annotated[float, Field(strict=True, gt=0, le=500, allow_inf_nan=False)]
    material: Literal["pir", "xps", "eps", "plywood"] = "pir"


class AskedMould(BaseModel):
    """A mould with its part."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(min_length=1, max_length=40)]
    mass_kg: Annotated[float, Field(strict=True, gt=0, le=5000, allow_inf_nan=False)]


class AskedPanel(BaseModel):
    """A side of known area."""

    model_config = ConfigDict(extra="forbid")

    name: Annotated[str, Field(min_length=1, max_length=40)]
    area_m2: Annotated[float, Field(strict=True, gt=0, le=500, allow_inf_nan=False)]


class Ruler(BaseModel):
    """A box as a ruler tells it: one of `inside_m`, `tube_m` with `length_m`, and `panels`."""

    model_config = ConfigDict(
        extra="forbid", json_schema_extra={"example": {"inside_m": [1.2, 0.6, 0.6]}}
    )

    inside_m: Annotated[list[Length], Field(min_length=3, max_length=3)] | None = Field(
        None, description="A cuboid: length, width, height."
    )
    tube_m: Annotated[list[Length], Field(min_length=3, max_length=24)] | None = Field(
        None, description="The widths of a tube's panels, in their order."
    )
    length_m: Length | None = Field(None, description="Of the tube.")
    panels: Annotated[list[AskedPanel], Field(min_length=1, max_length=60)] | None = None
    volume_m3: Annotated[float, Field(strict=True, gt=0, le=1000, allow_inf_nan=False)] | None = (
        Field(None, description="The room inside a box of listed panels.")
    )
    boards: Annotated[list[AskedBoard], Field(min_length=1, max_length=6)] = [
        AskedBoard(thickness_mm=25)
    ]
    taped: Annotated[bool, Field(strict=True)] = Field(False, description="Its joints.")
    fan: Annotated[bool, Field(strict=True)] = True
    moulds: Annotated[list[AskedMould], Field(max_length=12)] = []
    power_w: Annotated[float, Field(strict=True, gt=0, le=6000, allow_inf_nan=False)] = 300.0
    ambient_c: Degrees = Field(5.0, description="The shed on a cold night.")
    warmest_c: Degrees = Field(30.0, description="The shed on the warmest day of use.")
    hold_c: Degrees = Field(40.0, description="What a regulated night holds.")
    ramp_c_per_h: Annotated[float, Field(strict=True, ge=0, le=120, allow_inf_nan=False)] = 15.0
    cut_outs: Annotated[int, Field(strict=True, ge=1, le=2)] = 1
    heat_to_c: Degrees = Field(45.0, description="Where one heat without a controller ends.")
    card: Annotated[str, Field(max_length=60)] | None = Field(None, description="A part's resin.")
    catalyst_pct: Annotated[float, Field(strict=True, gt=0, le=5)] | None = None
    before_h: Annotated[float, Field(strict=True, ge=0, le=72, allow_inf_nan=False)] = Field(
        2.0, description="The resin was mixed so long before the box is shut, open and aired."
    )
    before_c: Degrees = 20.0


class RuledFace(BaseModel):
    """A side as it was understood."""

    name: str
    area_m2: float


class WhatIf(BaseModel):
    """A change a person might make."""

    change: str
    loss_w_per_k: float
    rise_k: float = Field(description="Above the shed at full power.")


class HeatCourse(BaseModel):
    """One night of the box, every ten minutes."""

    minutes: list[float]
    air_c: list[float]
    part_c: list[float]
    heated_s: float
    highest_air_c: float
    warm_s: float = Field(description="The part above 25 °C.")
    reached_s: dict[str, float]
    energy_kwh: float


class OneHeatTold(BaseModel):
    """The box heated once without a controller, beside a night at a held temperature."""

    alone: HeatCourse
    held: HeatCourse
    sentences: list[str]


class Ruled(BaseModel):
    """What a box comes to before anybody has measured it."""

    faces: list[RuledFace]
    outline_m: list[list[float]] = Field(description="Corners of its end; empty for a list.")
    length_m: float
    area_m2: float
    volume_m3: float
    loss_w_per_k: float
    leak_w_per_k: float
    hold_w: float
    recommended_w: float | None
    meaning: list[str]
    cautions: list[str]
    what_ifs: list[WhatIf]
    one_heat: OneHeatTold


_COURSE: Any = {
    "minutes": [0.0], "air_c": [5.0], "part_c": [5.0], "heated_s": 4200.0, "highest_air_c": 45.1,
    "warm_s": 6300.0, "reached_s": {"gelled": -6000.0}, "energy_kwh": 0.38,
}  # fmt: skip
RULED: Any = {
    "faces": [{"name": "floor", "area_m2": 0.72}],
    "outline_m": [[0.0, 0.0], [0.6, 0.0], [0.6, 0.6], [0.0, 0.6]],
    "length_m": 1.2,
    "area_m2": 3.6,
    "volume_m3": 0.432,
    "loss_w_per_k": 3.9,
    "leak_w_per_k": 1.0,
    "hold_w": 136.0,
    "recommended_w": 150.0,
    "meaning": ["With the mains 10 % low that is 62 K."],
    "cautions": [],
    "what_ifs": [{"change": "board 50 mm", "loss_w_per_k": 2.6, "rise_k": 115.0}],
    "one_heat": {"alone": _COURSE, "held": _COURSE, "sentences": ["One heat takes 1 h 10 min."]},
}
