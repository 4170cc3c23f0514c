"""The resins in the virtual oven: their heat goes back into the moulds they lie in.

In an oven whose moulds are one lump a part that tells its thickness is followed through it
(`cure.laminate`) and others are as warm as their mould; a zoned oven has the layers itself.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Protocol

from ..cure.clock_figures import ClockFigures
from ..cure.cure_clock import CureClock
from ..cure.part import Part
from ..settings import Role, Thermometer

if TYPE_CHECKING:
    from ..cure.laminate import Stepper


class Resins:
    """What really cures in a virtual oven, by the likely figures of the parts' cards.

    Args:
        parts: those of the profile.
        thermometers: as in the settings; their part and mould sensors sit on the moulds in turn.
        places: how many places for parts the oven has, as `VirtualOven.moulds_c`.
        heat_times: the heat of cure against the cards', to try what is not expected.
        nodes: places in one mould; the part's resin is in all of them, each as warm as its place.
    """

    def __init__(
        self,
        parts: Sequence[Part],
        thermometers: Sequence[Thermometer],
        places: int,
        heat_times: float = 1.0,
        nodes: int = 1,
    ) -> None:
        moulds = places // nodes
        at: dict[str, int] = {}
        for t in thermometers:
            if t.role in (Role.PART, Role.MOULD):
                at[t.name] = len(at) % max(moulds, 1)
        self._heat_times = heat_times
        self._heat_w = [0.0] * places
        self._bodies: list[tuple[Part, int, _Body]] = []
        for p in parts:
            if p.figures is None or p.sensor not in at or not moulds:
                continue
            if nodes == 1 and p.thickness_mm and p.figures.bulk and p.figures.self_heat:
                self._bodies.append((p, at[p.sensor], _Thick(p, p.figures)))
                continue
            for place in range(nodes * at[p.sensor], nodes * (at[p.sensor] + 1)):
                self._bodies.append((p, place, _Thin(p.figures, p.resin_kg / nodes)))

    def step(self, now_s: float, dt_s: float, moulds_c: Sequence[float]) -> list[float]:
        """Let the `dt_s` from `now_s` on pass; the heat (W) into each mould meanwhile."""
        heat_w = self._heat_w
        for i in range(len(heat_w)):
            heat_w[i] = 0.0
        for part, mould, body in self._bodies:
            start_s = 3600.0 * part.start_h
            if now_s == 0.0 and start_s < 0.0:
                stood_c = moulds_c[mould] if part.before_c is None else part.before_c
                body.step(-start_s, stood_c)
            if now_s >= start_s:
                heat_w[mould] += self._heat_times * body.step(dt_s, moulds_c[mould])
        return heat_w


class _Body(Protocol):
    def step(self, dt_s: float, mould_c: float) -> float:
        """Let `dt_s` pass on a mould at `mould_c`; the heat given off meanwhile, W."""


class _Thin:
    """Resin as warm as the place it lies in."""

    def __init__(self, figures: ClockFigures, resin_kg: float) -> None:
        self._clock, self._kg = CureClock(figures), resin_kg
        self._now_s = 0.0

    def step(self, dt_s: float, mould_c: float) -> float:
        self._now_s += dt_s
        self._clock.advance(self._now_s, dt_s, mould_c)
        return self._kg * self._clock.heat_w_per_kg(self._clock.rates(mould_c))


class _Thick:
    """A laminate through its thickness: on its mould, its free face bare to the mould's warmth.

    The mould with its part is one lump of the oven, so that the face towards the air is given the
    lump's temperature through an air film; what the laminate gives off goes into the lump.
    """

    STEP_S = 20.0
    NODES = 10

    def __init__(self, part: Part, figures: ClockFigures) -> None:
        from ..cure.card_sections import FromGel
        from ..cure.kinetics import GelCalibrated
        from ..cure.laminate import HELD, Layer, Slab, Stepper
        from ..cure.thickness import AIR_W_PER_M2K

        bulk, heat = figures.bulk, figures.self_heat
        assert bulk is not None
        assert heat is not None
        assert part.thickness_mm is not None
        kinetics = FromGel(
            law="from-gel", gel_degree=heat.gel_degree, seed=heat.seed, diffusion=None,
            source="the part's card",
        )  # fmt: skip
        thickness_m = part.thickness_mm / 1000.0
        share = bulk.resin_pct / 100.0
        layer = Layer(
            thickness_m, bulk.density_kg_per_m3, bulk.heat_capacity_j_per_kg_k,
            bulk.conductivity_w_per_m_k, self.NODES, heat.heat_j_per_kg_resin * share,
        )  # fmt: skip
        self._slab = Slab((layer,), HELD, AIR_W_PER_M2K)
        self._law = GelCalibrated(figures, kinetics, None)
        self._area_m2 = part.resin_kg / (bulk.density_kg_per_m3 * share * thickness_m)
        self._new = Stepper
        self._stepper: Stepper | None = None
        self._waited_s = self._heat_w = 0.0

    def step(self, dt_s: float, mould_c: float) -> float:
        if self._stepper is None:
            self._stepper = self._new(self._slab, self._law, self.STEP_S, mould_c)
        self._waited_s += dt_s
        steps = int(self._waited_s / self.STEP_S + 1e-9)
        if steps:
            self._waited_s -= steps * self.STEP_S
            s = self._stepper
            before = s.degree.copy()
            faces = s.temp_c[:, :2] * 0.0 + mould_c
            for _ in range(steps):
                s.step(faces, faces)
            gained_j_per_m2 = float((s.degree - before)[0] @ s.reactive)
            self._heat_w = self._area_m2 * gained_j_per_m2 / (steps * self.STEP_S)
        return self._heat_w

    @property
    def core_c(self) -> float:
        """The hottest point of the laminate, °C."""
        assert self._stepper is not None
        return float(self._stepper.temp_c.max())
