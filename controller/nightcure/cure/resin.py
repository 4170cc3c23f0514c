"""The resins in the virtual oven: their heat goes back into the moulds they lie in."""

from __future__ import annotations

from collections.abc import Sequence

from ..settings import Role, Thermometer
from .clock import CureClock
from .part import Part


class Resins:
    """What really cures in a virtual oven, by the likely figures of the parts' cards.

    Args:
        parts: those of the profile.
        thermometers: as in the settings; their part and mould sensors sit on the moulds in turn.
        moulds: how many moulds the oven has.
        heat_times: the heat of cure against the cards', to try what is not expected.
    """

    def __init__(
        self,
        parts: Sequence[Part],
        thermometers: Sequence[Thermometer],
        moulds: int,
        heat_times: float = 1.0,
    ) -> None:
        at: dict[str, int] = {}
        for t in thermometers:
            if t.role in (Role.PART, Role.MOULD):
                at[t.name] = len(at) % max(moulds, 1)
        self._heat_times = heat_times
        self._heat_w = [0.0] * moulds
        self._resins = [
            (p, at[p.sensor], CureClock(p.figures))
            for p in parts
            if p.figures is not None and p.sensor in at and moulds
        ]

    def step(self, now_s: float, dt_s: float, moulds_c: Sequence[float]) -> list[float]:
        """Let the `dt_s` from `now_s` on pass; the heat (W) into each mould meanwhile."""
        heat_w = self._heat_w
        for i in range(len(heat_w)):
            heat_w[i] = 0.0
        for part, mould, clock in self._resins:
            start_s = 3600.0 * part.start_h
            if now_s == 0.0 and start_s < 0.0:
                clock.advance(0.0, -start_s, moulds_c[mould])
            if now_s >= start_s:
                clock.advance(now_s + dt_s, dt_s, moulds_c[mould])
                each_w = clock.heat_w_per_kg(clock.rates(moulds_c[mould]))
                heat_w[mould] += self._heat_times * part.resin_kg * each_w
        return heat_w
