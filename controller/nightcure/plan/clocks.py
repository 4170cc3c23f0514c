"""The cure clock of `cure.cure_clock`, for many nights at once: one track each, with its own truth.

Shapes: (nights, profiles) throughout; what differs between nights only is (nights, 1).
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from ..cure.clock_figures import Band, ClockFigures, Milestone
from ..cure.cure_clock import post_cure_rows
from ..cure.glass_transition import (
    MOST_EXPONENT,
    MOST_STEPS,
    STEP_SHARE,
    degree_of_share,
    share_at,
    tg_c,
)
from ..cure.rate import KELVIN, R_J_PER_MOL_K
from ..oven.arrays import Array
from .sampling import SampledParameters, banded

Shape = tuple[int, int]
KJ_OVER_R = 1000.0 / R_J_PER_MOL_K
#: A resin that vitrifies is followed before the night in such steps, s.
BEFORE_S = 300.0


class Table:
    """`cure.rate.TimeTable` for arrays: the logarithm of a time over temperature."""

    def __init__(self, rows: Sequence[tuple[float, float]], beyond_kj_per_mol: float) -> None:
        temps, times = np.array(sorted(rows)).T
        self._x, self._y = -1.0 / (temps + KELVIN), np.log(times)
        self._slope = beyond_kj_per_mol * KJ_OVER_R

    @property
    def coldest_x(self) -> float:
        """Below it there is no answer."""
        return float(self._x[0])

    def log_at(self, x: Array) -> Array:
        """ln of the gel time at x = -1/T (1/K); below the coldest row that of the row."""
        y: Array = np.interp(x, self._x, self._y)
        y -= self._slope * np.maximum(x - self._x[-1], 0.0)
        return y


class Clocks:
    """One part's resin in every night.

    Args:
        figures: its card's.
        truth: the nights drawn, and which of their parts this is; None: as the card has it likely,
            which is what the controller's own clock runs on.
        start_s: when it was mixed, s of the night.
        times: factors on the gel's time and on those after it, (1, profiles).
        vitrifies: follow its glass transition, too, where the card tells it.
    """

    def __init__(
        self,
        figures: ClockFigures,
        shape: Shape,
        start_s: float,
        truth: tuple[SampledParameters, int] | None = None,
        times: tuple[Array, Array] | None = None,
        vitrifies: bool = False,
    ) -> None:
        self.figures, self.start_s = figures, start_s
        self._gel = Table(figures.gel_min, figures.cure_kj_per_mol)
        self._post: Table | None = None
        if figures.post_cure_h:
            self._post = Table(post_cure_rows(figures), figures.cure_kj_per_mol)
        self._x_reference = -1.0 / (figures.reference_c + KELVIN)
        self._x_lowest = -1.0 / (figures.lowest_c + KELVIN)
        one = np.ones((shape[0], 1))
        self._log_gel_s = np.log(60.0 * one)
        self._gel_more, self._cure_e = 0.0 * one, figures.cure_kj_per_mol * KJ_OVER_R * one
        slower, z = one, 0.0 * one
        if truth is not None:
            t, i = truth
            maker = t.maker_times[:, i : i + 1]
            self._log_gel_s = np.log(60.0 * t.gel_times[:, i : i + 1] * maker)
            self._gel_more = t.gel_kj_per_mol[:, i : i + 1] * KJ_OVER_R
            self._cure_e = self._cure_e + t.cure_kj_per_mol[:, i : i + 1] * KJ_OVER_R
            slower, z = maker * t.weighing_times[:, i : i + 1], t.cure_z[:, i : i + 1]
        if times is not None:
            self._log_gel_s = self._log_gel_s + np.log(times[0])
            slower = slower * times[1]
        bands: dict[Milestone, Band | None] = {
            "laminate-opens": figures.opens_min,
            "laminate-closes": figures.closes_min,
            "demould": figures.demould_min,
            "full": figures.full_min,
        }
        self.marks: dict[Milestone, Array] = {
            name: banded(z, band) * slower for name, band in bands.items() if band is not None
        }
        """Minutes after the gel, at the reference, (nights, 1)."""
        self.gel_share, self.cure_min, self.post_share = (np.zeros(shape) for _ in range(3))
        self.names: tuple[Milestone, ...] = ("gelled", *self.marks)
        if self._post is not None:
            self.names = (*self.names, "post-cured")
        self.reached_s: dict[Milestone, Array] = {n: np.full(shape, np.nan) for n in self.names}
        """When each milestone came, s of the night; NaN where it has not."""
        gel_min = float(np.exp(self._gel.log_at(np.array([self._x_reference])))[0])
        self._gel_reference_min = gel_min * np.exp(self._log_gel_s) / 60.0
        self._rates: tuple[Array, Array] = (np.zeros(shape), np.zeros(shape))
        self._post_rate = np.zeros(shape)
        self._degree: Array | float = 0.0 if figures.self_heat is None else figures.self_heat.seed
        self._last_x: Array | None = None
        self._cured: Array | None = None
        """sqrt(a/(1-a)) of a resin that vitrifies."""
        if vitrifies and figures.glass is not None and figures.self_heat is not None:
            self._cured = np.full(shape, _root(figures.self_heat.seed))

    def before(self, stood_c: Array) -> None:
        """Let the time from its mixing to the start pass at `stood_c`."""
        steps = 1 if self._cured is None else math.ceil(-self.start_s / BEFORE_S)
        dt_s = -self.start_s / steps
        for i in range(steps):
            self.advance(self.start_s + (i + 1) * dt_s, dt_s, stood_c)
        self.given_j_per_kg()

    def advance(self, now_s: float, dt_s: float, part_c: Array) -> None:
        """Let the `dt_s` up to `now_s` pass at `part_c`, as far as the resin is mixed by then."""
        dt_s = min(dt_s, now_s - self.start_s)
        if dt_s <= 0.0:
            return
        root = self._unhindered_root()
        x = -1.0 / (part_c + KELVIN)
        warmer = x - self._x_reference
        moved = np.zeros(x.shape) if self._last_x is None else np.abs(x - self._last_x)
        self._last_x = x
        gel_rate = np.exp(self._gel_more * warmer - self._gel.log_at(x) - self._log_gel_s)
        gel_rate *= _above(x, self._gel.coldest_x, moved)
        cure_rate = np.exp(self._cure_e * warmer) / 60.0
        cure_rate *= _above(x, self._x_lowest, moved)
        self._rates = gel_rate, cure_rate
        left_s: Array | float = dt_s
        if not (self.gel_share >= 1.0).all():
            liquid = self.gel_share < 1.0
            with np.errstate(divide="ignore", invalid="ignore"):
                gelling_s = np.where(liquid, (1.0 - self.gel_share) / gel_rate, 0.0)
            left_s = np.maximum(dt_s - gelling_s, 0.0)
            gels = liquid & (gelling_s <= dt_s)
            self.gel_share = np.where(gels, 1.0, self.gel_share + gel_rate * dt_s * liquid)
            np.copyto(self.reached_s["gelled"], now_s - left_s, where=gels)
        before = self.cure_min
        self.cure_min = after = before + cure_rate * left_s
        for name, mark in self.marks.items():
            hit = (before < mark) & (mark <= after)
            if hit.any():
                with np.errstate(divide="ignore", invalid="ignore"):
                    at_s = now_s - (after - mark) / cure_rate
                np.copyto(self.reached_s[name], at_s, where=hit)
        if self._post is not None:
            self._post_cure(now_s, x, moved, left_s)
        if self._cured is not None:
            self._vitrify(self._unhindered_root() - root, part_c)

    def _unhindered_root(self) -> Array:
        """sqrt(a/(1-a)) of a resin that nothing slows; see `CureClock`."""
        heat = self.figures.self_heat
        if heat is None:
            return self.gel_share
        first, gel = _root(heat.seed), _root(heat.gel_degree)
        root: Array = first + (gel - first) * (
            self.gel_share + self.cure_min / self._gel_reference_min
        )
        return root

    def _vitrify(self, gain: Array, part_c: Array) -> None:
        """`cure.glass_transition.advanced`, for arrays."""
        glass, root = self.figures.glass, self._cured
        assert glass is not None
        assert root is not None
        share = np.clip(share_at(part_c + glass.above_cure_k, glass), 0.0, 1.0)
        stops, sharp = degree_of_share(share, glass), glass.diffusion or 0.0
        slope = 2.0 * root / (1.0 + root * root) ** 2 * sharp
        most = int(np.max(gain * slope) / STEP_SHARE)
        steps = 1 + min(most, MOST_STEPS)
        for _ in range(steps):
            exponent = sharp * (root * root / (1.0 + root * root) - stops)
            root = root + gain / steps / (1.0 + np.exp(np.minimum(exponent, MOST_EXPONENT)))
        self._cured = root

    def glass_c(self) -> tuple[Array, Array] | None:
        """Glass transition (°C) and degree of cure; None where it is not followed."""
        if self._cured is None or self.figures.glass is None:
            return None
        degree = self._cured**2 / (1.0 + self._cured**2)
        return tg_c(degree, self.figures.glass), degree

    def _post_cure(self, now_s: float, x: Array, moved: Array, left_s: Array | float) -> None:
        assert self._post is not None
        ready = self.gel_share >= 1.0
        if "demould" in self.marks:
            ready &= self.cure_min >= self.marks["demould"]
        above = _above(x, self._post.coldest_x, moved) * ready
        if not above.any():
            self._post_rate = above
            return
        rate = np.exp(-self._post.log_at(x)) / 3600.0 * above
        self._post_rate = rate
        before = self.post_share
        self.post_share = before + rate * left_s
        hit = (before < 1.0) & (self.post_share >= 1.0)
        if hit.any():
            with np.errstate(divide="ignore", invalid="ignore"):
                at_s = now_s - (self.post_share - 1.0) / rate
            np.copyto(self.reached_s["post-cured"], at_s, where=hit)

    def reached(self, name: Milestone) -> NDArray[np.bool_]:
        """Where the milestone has come."""
        result: NDArray[np.bool_] = ~np.isnan(self.reached_s[name])
        return result

    def due_s(self, name: Milestone, now_s: float) -> Array:
        """When the milestone came, or comes at the pace of the last step; else infinite."""
        came_s = self.reached_s[name]
        gel_rate, cure_rate = self._rates
        gelled = self.gel_share >= 1.0
        with np.errstate(divide="ignore", invalid="ignore"):
            if name == "gelled":
                left_s = (1.0 - self.gel_share) / gel_rate
            elif name == "post-cured":
                left_s = np.where(gelled, (1.0 - self.post_share) / self._post_rate, np.inf)
            else:
                left_s = np.where(gelled, (self.marks[name] - self.cure_min) / cure_rate, np.inf)
        result: Array = np.where(np.isnan(came_s), now_s + left_s, came_s)
        return result

    def progress(self, goal: Milestone) -> Array:
        """How much of the way to `goal` is done, 0 to 1, by equivalent time."""
        if goal == "gelled" or goal not in self.names:
            return self.gel_share
        if goal == "post-cured":
            return np.minimum(self.post_share, 1.0)
        whole = self._gel_reference_min + self.marks[goal]
        done = (self._gel_reference_min * self.gel_share + self.cure_min) / whole
        return np.minimum(done, 1.0)

    def given_j_per_kg(self) -> Array | float:
        """Heat given off per kg of resin since last asked; 0 where the card knows none."""
        heat = self.figures.self_heat
        if heat is None:
            return 0.0
        root = self._unhindered_root()
        degree: Array = 1.0 - 1.0 / (1.0 + root * root)
        before, self._degree = self._degree, degree
        return heat.heat_j_per_kg_resin * (degree - before)


def _root(degree: float) -> float:
    return float((degree / (1.0 - degree)) ** 0.5)


def _above(x: Array, edge: float, moved: Array) -> Array:
    """Of a step that moved by `moved` to its mean `x`, the share above an edge."""
    share = 0.5 + (x - edge) / np.maximum(moved, 1e-12)
    result: Array = np.minimum(np.maximum(share, 0.0), 1.0)
    return result
