"""One part's resin, followed under every pair of factors at once, each with its own heat.

A hypothesis is a gel factor, a cure factor and a shape: how the heat is spread between gel and
demould, which cards do not say. Laminate and mould are two temperatures: by its own heat the
laminate is warmer than the mould whose thermometer is read, and so gels and cures sooner.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

from .clock_figures import ClockFigures
from .cure_clock import LIKELY
from .factors import Prior
from .rate import KELVIN, R_J_PER_MOL_K, TimeTable, faster

#: Exponents of the shape and how likely each is: published laws that agree with one card put the
#: peak of the heat anywhere within exp(+-0.42) of one demould (computed).
SHAPES = ((0.72, 0.27), (1.0, 0.46), (1.38, 0.27))
#: The degree of cure at demould that the generic law has; laws of other shapes 0.68 to 0.85.
DEMOULD_DEGREE = 0.78
#: From a laminate's middle to its mould's back half its heat goes through half the laminate and the
#: mould, W/mK, of which no more than this counts: a thicker one takes the heat up. What is dated is
#: the laminate's coldest layer, which is warmer than the mould by this share of the middle's excess
#: (found on layered laminates on layered moulds).
LAMINATE_W_PER_MK, MOULD_MOST_M, COLDEST_LAYER = 0.22, 0.015, 0.55
#: A laminate is not followed further above its mould than this, K.
HOTTEST_K = 60.0
#: Where nobody told the thickness, mm (common practice, no source).
USUAL_MM = 4.0
#: A mould of hand lay-up glass/polyester: J/m3K and W/mK (from memory); heat is through it after
#: this share of the square of its thickness over its diffusivity, within so many minutes.
MOULD_J_PER_M3K, MOULD_W_PER_MK = 1.95e6, 0.22
LAG_SHARE, LAG_MIN = 0.185, (1.0, 20.0)
#: The laminate, where a card knows none: density, heat capacity, resin by weight.
USUAL_BULK = (1470.0, 1400.0, 0.70)


def _root(degree: float) -> float:
    return math.sqrt(degree / (1.0 - degree))


class Hypotheses:
    """All of them; minutes since the mixing pass with `advance`.

    `gel_min` and `demould_min` say when each gelled and left the mould, minutes after the mixing;
    infinite where it has not. `entered` is the heat that has come to the mould's back since it was
    last emptied, K of the mould, for a short and a long way through it.
    """

    def __init__(
        self,
        figures: ClockFigures,
        prior: Prior,
        resin_kg: float,
        mould_j_per_k: float,
        thickness_mm: float | None = None,
    ) -> None:
        self._gel = TimeTable(figures.gel_min, figures.cure_kj_per_mol)
        self._lowest_c, self._reference_c = figures.lowest_c, figures.reference_c
        self._kj, self._e = (
            figures.cure_kj_per_mol,
            1000.0 * figures.cure_kj_per_mol / R_J_PER_MOL_K,
        )
        band = figures.demould_min or figures.full_min
        self.dates_demould = figures.demould_min is not None
        after_min = 1.0 if band is None else band[LIKELY]
        heat = figures.self_heat
        self.heats = heat is not None and band is not None
        shapes = SHAPES if self.heats else ((1.0, 1.0),)
        gels = prior.gel_grid
        cures = prior.cure_grid if band is not None else (prior.cure_mean,)
        self.middle = cures[len(cures) // 2]
        """The middle ln(cure factor)."""
        self.cells = tuple((g, c, p) for p, _ in shapes for g in gels for c in cures)
        self.log_prior = [
            math.log(w) + prior.log_at(g, c) for _, w in shapes for g in gels for c in cures
        ]
        n = len(self.cells)
        self.gel_factors = [math.exp(g) for g, _, _ in self.cells]
        self.after_min = [after_min * math.exp(c) for _, c, _ in self.cells]
        self._powers = [p for _, _, p in self.cells]
        self.share, self.after = [0.0] * n, [0.0] * n
        self.gel_min, self.demould_min = [math.inf] * n, [math.inf] * n
        self.minutes = 0.0
        self.hotter_k = [0.0] * n
        """How much warmer than its mould the laminate is."""
        self.entered: tuple[list[float], list[float]] = ([0.0] * n, [0.0] * n)
        self._through: tuple[list[float], list[float]] = ([0.0] * n, [0.0] * n)
        if heat is None or not self.heats:
            return
        self._first, self._at_gel = _root(heat.seed), _root(heat.gel_degree)
        self._at_demould = max(_root(DEMOULD_DEGREE), 1.5 * self._at_gel)
        self.roots = [self._first] * n
        self._heat_w_min = heat.heat_j_per_kg_resin / 60.0
        density, capacity, share = USUAL_BULK
        if figures.bulk is not None:
            density, capacity = (
                figures.bulk.density_kg_per_m3, figures.bulk.heat_capacity_j_per_kg_k,
            )  # fmt: skip
            share = figures.bulk.resin_pct / 100.0
        thick_m = (thickness_mm or USUAL_MM) / 1000.0
        area_m2 = resin_kg / (density * share * thick_m)
        mould_m = mould_j_per_k / (MOULD_J_PER_M3K * area_m2)
        through = 0.5 * thick_m + min(mould_m, MOULD_MOST_M)
        between_m2k_per_w = COLDEST_LAYER * 0.5 * through / LAMINATE_W_PER_MK
        self._k_per_w_kg = share * density * thick_m * between_m2k_per_w
        self._settles_min = max(2.0 * density * capacity * thick_m * between_m2k_per_w / 60.0, 0.5)
        lag = LAG_SHARE * mould_m * mould_m * MOULD_J_PER_M3K / MOULD_W_PER_MK / 60.0
        lag = min(max(lag, LAG_MIN[0]), LAG_MIN[1])
        self._lags_min = (max(0.3 * lag, 1.0), lag)
        self._k_per_w_min = 60.0 * resin_kg / mould_j_per_k

    def advance(self, dt_min: float, part_c: float, some: Sequence[int] | None = None) -> None:
        """Let `dt_min` minutes pass with the mould at `part_c`, for all or `some` of them."""
        gel_time = self._gel.at(part_c)
        rate = 0.0 if gel_time is None else dt_min / gel_time
        steeper = 0.0
        if gel_time is not None:
            warmer = self._gel.at(part_c + 1.0)
            steeper = 0.0 if warmer is None else math.log(gel_time / warmer)
        pace = 0.0
        if part_c >= self._lowest_c:
            pace = dt_min * faster(self._kj, part_c, self._reference_c)
        before = self.minutes
        self.minutes = now = before + dt_min
        cells = range(len(self.cells)) if some is None else some
        share, after, hotter, e, exp = self.share, self.after, self.hotter_k, self._e, math.exp
        kelvin = part_c + KELVIN
        if not self.heats:
            for i in cells:
                self._age(i, now, dt_min, rate, pace)
            return
        roots, first, at_gel = self.roots, self._first, self._at_gel
        more = self._at_demould - at_gel
        settle = 1.0 - exp(-dt_min / self._settles_min)
        through = [1.0 - exp(-dt_min / lag) for lag in self._lags_min]
        (through0, through1), (entered0, entered1) = self._through, self.entered
        k_w_kg, k_w_min, heat = self._k_per_w_kg, self._k_per_w_min, self._heat_w_min / dt_min
        for i in cells:
            d = hotter[i]
            left, factor = 1.0, self.gel_factors[i]
            if share[i] < factor:
                quick = (
                    rate * exp(steeper * min(d, 30.0) / (1.0 + d / kelvin)) if d > 1e-3 else rate
                )
                if quick <= 0.0:
                    left = 0.0
                else:
                    to = share[i] + quick
                    if to < factor:
                        share[i], left = to, 0.0
                    else:
                        left = (to - factor) / quick
                        share[i] = factor
                        self.gel_min[i] = now - left * dt_min
            if left > 0.0:
                cure = pace * exp(e * d / (kelvin * (kelvin + d))) if d > 1e-3 else pace
                m, need = after[i], self.after_min[i]
                after[i] = m2 = m + cure * left
                if m < need <= m2:
                    self.demould_min[i] = now - (m2 - need) / cure * dt_min
                r = at_gel + more * (m2 / need) ** self._powers[i]
            else:
                r = first + (at_gel - first) * share[i] / factor
            r0 = roots[i]
            roots[i] = r
            q = heat * (1.0 / (1.0 + r0 * r0) - 1.0 / (1.0 + r * r))
            d += (k_w_kg * q - d) * settle
            hotter[i] = d = d if d < HOTTEST_K else HOTTEST_K
            w = d / k_w_kg
            through0[i] += (w - through0[i]) * through[0]
            through1[i] += (w - through1[i]) * through[1]
            entered0[i] += through0[i] * k_w_min * dt_min
            entered1[i] += through1[i] * k_w_min * dt_min

    def _age(self, i: int, now: float, dt_min: float, rate: float, pace: float) -> None:
        """One of them without heat of its own."""
        left, factor = 1.0, self.gel_factors[i]
        if self.share[i] < factor:
            to = self.share[i] + rate
            if to < factor or rate <= 0.0:
                self.share[i] = to
                return
            left = (to - factor) / rate
            self.share[i] = factor
            self.gel_min[i] = now - left * dt_min
        m, need = self.after[i], self.after_min[i]
        self.after[i] = m + pace * left
        if m < need <= self.after[i]:
            self.demould_min[i] = now - (self.after[i] - need) / pace * dt_min

    def emptied(self) -> None:
        """Count what enters the mould anew."""
        for entered in self.entered:
            for i in range(len(entered)):
                entered[i] = 0.0

    def copy(self) -> Hypotheses:
        """The same, to run ahead with."""
        twin = object.__new__(Hypotheses)
        twin.__dict__.update(self.__dict__)
        for name in ("share", "after", "gel_min", "demould_min", "hotter_k"):
            setattr(twin, name, list(getattr(self, name)))
        if self.heats:
            twin.roots = list(self.roots)
        twin.entered = (list(self.entered[0]), list(self.entered[1]))
        twin._through = (list(self._through[0]), list(self._through[1]))
        return twin
