"""An oven from what a person can measure with a ruler: sizes, board, gaps, moulds, heater, fan.

U-values as ISO 6946 has them: U = 1/(R_si + sum d/lambda + R_se), 0.13 m2K/W on both faces of a box
that stands in a room. Material values: see `MATERIALS`. Films and leaks are common practice without
a source, said where they are used.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cached_property
from pathlib import Path
from typing import Annotated, NamedTuple, Self

from pydantic import Field, ValidationError, model_validator

from ..errors import BadInput, faults_as_sentences
from ..settings import Model, Section, read_toml
from .box_shape import LONGEST_M, SHORTEST_M, Panel, Shape, Tube, cuboid, listed, tube
from .thermal import Layer, Mould, Network


class Material(NamedTuple):
    """Density kg/m3, heat capacity J/(kg K), conductivity W/(m K)."""

    kg_per_m3: float
    j_per_kg_k: float
    w_per_m_k: float


#: PIR: a panel maker's conductivity, CIBSE's heat capacity. Laminate: Bogetti & Gillespie 1991.
#: Glass as listed there. Plywood, plaster, steel, aluminium, EPS, XPS: from memory.
MATERIALS = {
    "pir": Material(35.0, 1470.0, 0.024),
    "xps": Material(35.0, 1450.0, 0.034),
    "eps": Material(20.0, 1450.0, 0.036),
    "plywood": Material(500.0, 1600.0, 0.13),
    "laminate": Material(1890.0, 1260.0, 0.216),
    "hand lay-up": Material(1480.0, 1400.0, 0.22),
    "plaster": Material(1200.0, 1000.0, 0.5),
    "steel": Material(7850.0, 480.0, 50.0),
    "aluminium": Material(2700.0, 900.0, 200.0),
    "glass": Material(2500.0, 800.0, 1.2),
}
MaterialName = Annotated[str, Field(min_length=1)]

#: Surface resistances, m2K/W (ISO 6946, horizontal heat flow, both faces indoors).
R_FACE = 0.13
#: Inner face and moulds with a fan stirring the air, W/(m2 K) (common practice, no source).
STIRRED_W_PER_M2_K = 12.5
#: Moulds in still air: 1 / R_FACE.
STILL_W_PER_M2_K = 1.0 / R_FACE
#: An open joint: air of 1210 J/(m3 K) at the 0.3 m/s a 30 K stack drives through it, half of its
#: length going in, per mm of width and m of length (computed; the speed is common practice).
OPEN_W_PER_MM_M_K = 0.18
#: A taped joint leaks a tenth of that (common practice, no source).
TAPED_SHARE = 0.1
#: Open joints of a knock-down box along its edges, mm, and the surface of a mould, m2/kg: as the
#: scenario's (common practice, no source).
GAP_MM, MOULD_M2_PER_KG = 0.6, 0.085
AIR_J_PER_M3_K = 1.205 * 1005.0
#: Lumps a board is cut into, from inside outwards.
LUMPS = 2


def u_value(layers_m2_k_per_w: Sequence[float], inner: float, outer: float) -> float:
    """U = 1/(R_si + sum d/lambda + R_se), W/(m2 K) (ISO 6946); resistances in m2K/W."""
    return 1.0 / (inner + sum(layers_m2_k_per_w) + outer)


def _material(name: str) -> Material:
    found = MATERIALS.get(name.lower())
    if found is None:
        raise ValueError(f"material is '{name}'; it should be one of {', '.join(MATERIALS)}.")
    return found


class Board(Section):
    """One layer of the walls."""

    thickness_m: Annotated[float, Field(gt=0, le=0.5)]
    material: MaterialName = "pir"
    w_per_m_k: Annotated[float, Field(gt=0, le=10)] | None = None
    """Conductivity as its maker states it, in place of the material's."""

    @model_validator(mode="after")
    def _known(self) -> Self:
        _material(self.material)
        return self

    @property
    def r_m2_k_per_w(self) -> float:
        """Thermal resistance d/lambda."""
        return self.thickness_m / (self.w_per_m_k or _material(self.material).w_per_m_k)

    @property
    def j_per_m2_k(self) -> float:
        """Heat capacity of a square metre."""
        m = _material(self.material)
        return self.thickness_m * m.kg_per_m3 * m.j_per_kg_k


class Gaps(Section):
    """Joints, door edges and holes."""

    length_m: Annotated[float, Field(ge=0, le=1000)] = 0.0
    width_mm: Annotated[float, Field(ge=0, le=50)] = 1.0
    taped: bool = False

    @property
    def w_per_k(self) -> float:
        """What the air passing through takes along."""
        open_w = OPEN_W_PER_MM_M_K * self.width_mm * self.length_m
        return open_w * (TAPED_SHARE if self.taped else 1.0)


class MouldIn(Section):
    """A mould with its part."""

    name: Annotated[str, Field(min_length=1, max_length=40)]
    mass_kg: Annotated[float, Field(gt=0, le=5000)]
    area_m2: Annotated[float, Field(gt=0, le=200)]
    """All of its surface the air gets at."""
    material: MaterialName = "hand lay-up"

    @model_validator(mode="after")
    def _known(self) -> Self:
        _material(self.material)
        return self


class HeaterIn(Section):
    """The heater: its watts, and the steel that has to warm first."""

    power_w: Annotated[float, Field(gt=0, le=6000)]
    mass_kg: Annotated[float, Field(gt=0, le=100)] = 1.5
    hotter_than_air_k: Annotated[float, Field(ge=5, le=600)] = 100.0
    """Its surface above the air at full power: 100 for black heat (common practice, no source)."""


class Description(Section):
    """A box."""

    name: Annotated[str, Field(min_length=1, max_length=60)] = "Box"
    inside_m: tuple[float, float, float] | None = None
    """A cuboid; else a `tube`, or `panels` with `volume_m3`."""
    tube: Tube | None = None
    panels: Annotated[tuple[Panel, ...], Field(max_length=60)] = ()
    volume_m3: Annotated[float, Field(gt=0, le=1000)] | None = None
    """Of a box told by its panels."""
    boards: Annotated[tuple[Board, ...], Field(min_length=1, max_length=6)]
    gaps: Gaps = Gaps()
    heater: HeaterIn
    fan: bool = True
    shelf_kg: Annotated[float, Field(ge=0, le=1000)] = 0.0
    """Steel of racks, trays and brackets that follow the air."""
    moulds: Annotated[tuple[MouldIn, ...], Field(max_length=12)] = ()

    @model_validator(mode="after")
    def _has_a_size(self) -> Self:
        if self.inside_m and not all(SHORTEST_M <= x <= LONGEST_M for x in self.inside_m):
            raise ValueError(
                f"inside_m is {list(self.inside_m)}; it should be three lengths of 0.05 to 30 m."
            )
        told = [self.inside_m is not None, self.tube is not None, bool(self.panels)]
        if sum(told) != 1:
            raise ValueError(
                "it should have one of inside_m (length, width, height), tube (panels_m, "
                "length_m) and panels (name, area_m2)."
            )
        if bool(self.panels) != (self.volume_m3 is not None):
            raise ValueError("volume_m3, the room inside, should be told with panels, and only so.")
        return self

    @cached_property
    def shape(self) -> Shape:
        """Its faces and the room in it."""
        if self.inside_m is not None:
            return cuboid(self.inside_m)
        if self.tube is not None:
            return tube(self.tube)
        return listed(self.panels, self.volume_m3 or 0.0)

    @property
    def area_m2(self) -> float:
        """Of the inner faces."""
        return self.shape.area_m2

    @property
    def face_w_per_m2_k(self) -> float:
        """Film at the inner face and at moulds."""
        return STIRRED_W_PER_M2_K if self.fan else STILL_W_PER_M2_K

    @property
    def u_w_per_m2_k(self) -> float:
        """The panels' U-value with the inner film as it is."""
        inner = 1.0 / self.face_w_per_m2_k
        return u_value([b.r_m2_k_per_w for b in self.boards], inner, R_FACE)

    def network(self) -> Network:
        """The box as a thermal network; its loss is U A of the panels plus the gaps'."""
        area = self.area_m2
        pieces = [
            (b.r_m2_k_per_w / LUMPS / area, b.j_per_m2_k / LUMPS * area)
            for b in self.boards
            for _ in range(LUMPS)
        ]
        r = [p[0] for p in pieces]
        layers = tuple(Layer(pieces[i][1], 2.0 / (r[i - 1] + r[i])) for i in range(1, len(pieces)))
        heater_w_per_k = self.heater.power_w / self.heater.hotter_than_air_k
        steel = MATERIALS["steel"].j_per_kg_k
        return Network(
            power_w=self.heater.power_w,
            heater_capacity_j_per_k=self.heater.mass_kg * steel,
            heater_air_w_per_k=heater_w_per_k,
            air_capacity_j_per_k=AIR_J_PER_M3_K * self.shape.volume_m3 + steel * self.shelf_kg,
            wall_capacity_j_per_k=pieces[0][1],
            air_wall_w_per_k=1.0 / (1.0 / (self.face_w_per_m2_k * area) + r[0] / 2.0),
            wall_ambient_w_per_k=1.0 / (r[-1] / 2.0 + R_FACE / area),
            leak_w_per_k=self.gaps.w_per_k,
            moulds=tuple(
                Mould(
                    m.name,
                    m.mass_kg * _material(m.material).j_per_kg_k,
                    self.face_w_per_m2_k * m.area_m2,
                )
                for m in self.moulds
            ),
            layers=layers,
        )

    def model(self) -> Model:
        """The [model] section's numbers; reckoned, never measured."""
        network = self.network()
        mould = sum(m.capacity_j_per_k for m in network.moulds)
        lag_s = mould / sum(m.air_w_per_k for m in network.moulds) if network.moulds else 0.0
        return Model(
            loss_w_per_k=round(network.loss_w_per_k, 2),
            air_capacity_j_per_k=round(
                network.air_capacity_j_per_k + network.wall_capacity_j_per_k, -2
            ),
            mould_capacity_j_per_k=round(mould, -2),
            mould_lag_s=round(lag_s, -1),
            heater_lag_s=round(network.heater_capacity_j_per_k / network.heater_air_w_per_k, -1),
        )

    def what_ifs(self, heater_w: float | None = None) -> list[tuple[str, Description]]:
        """Changes a person might make: name and the box changed."""
        inner = self.boards[0]
        thicker = inner.model_copy(update={"thickness_m": 2.0 * inner.thickness_m})
        other_w = heater_w or 2.0 * self.heater.power_w
        heater = self.heater.model_copy(
            update={
                "power_w": other_w,
                "mass_kg": self.heater.mass_kg * other_w / self.heater.power_w,
            }
        )

        def like(**changes: object) -> Description:
            return self.model_copy(update=changes)

        out = [
            ("as it is", self),
            (f"board {2000 * inner.thickness_m:.0f} mm", like(boards=(thicker, *self.boards[1:]))),
            ("one more layer", like(boards=(*self.boards, inner))),
            (f"heater {other_w:g} W", like(heater=heater)),
            ("no fan" if self.fan else "with a fan", like(fan=not self.fan)),
        ]
        if self.gaps.w_per_k > 0 and not self.gaps.taped:
            sealed = self.gaps.model_copy(update={"taped": True})
            out.insert(3, ("gaps taped", like(gaps=sealed)))
        return out


def load_description(path: Path) -> Description:
    """A description from a TOML file.

    Raises:
        BadInput: one sentence per fault.
    """
    data = read_toml(path)
    try:
        return Description.model_validate(data)
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, str(path))) from None
