"""Degree of cure over a temperature history: published laws, and the generic law of a card.

All laws take arrays of any one shape, degree of cure and °C, and give da/dt in 1/s.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.integrate import solve_ivp

from ..errors import BadInput
from .card import Card
from .card_sections import FromGel, Glass, Kamal, Piecewise, Time
from .clock_figures import ClockFigures
from .glass_transition import degree_of_share, share_at
from .history import History
from .rate import KELVIN, R_J_PER_MOL_K

Array = NDArray[np.float64]

#: Points of a run kept for a plot.
POINTS = 400
#: No pulse of heat in a history is stepped over that lasts longer than this.
LONGEST_STEP_S = 120.0


def arrhenius(a_per_min: float, kj_per_mol: float, temp_c: Array) -> Array:
    """k = A exp(-E/RT), 1/s."""
    k: Array = np.exp(-kj_per_mol * 1000.0 / (R_J_PER_MOL_K * (temp_c + KELVIN)))
    return a_per_min / 60.0 * k


class Law(Protocol):
    """How fast a resin cures."""

    @property
    def seed(self) -> float:
        """Degree of cure at mixing."""

    def rate(self, degree: Array, temp_c: Array) -> Array:
        """da/dt (1/s) at a degree of cure and a temperature."""


@dataclass(frozen=True)
class KamalSourour:
    """da/dt = (k1 + k2 a^m)(1 - a)^n (Kamal and Sourour, Polym. Eng. Sci. 13 (1973) 59-64)."""

    a1_per_min: float
    e1_kj_per_mol: float
    a2_per_min: float
    e2_kj_per_mol: float
    m: float
    n: float
    seed: float = 1e-5

    def rate(self, degree: Array, temp_c: Array) -> Array:
        """da/dt, 1/s."""
        a = np.clip(degree, 0.0, 1.0)
        k = arrhenius(self.a2_per_min, self.e2_kj_per_mol, temp_c) * a**self.m
        if self.a1_per_min:
            k = k + arrhenius(self.a1_per_min, self.e1_kj_per_mol, temp_c)
        result: Array = k * (1.0 - a) ** self.n
        return result


@dataclass(frozen=True)
class PiecewiseEpoxy:
    """(K1 + K2 a)(1 - a)(b - a) up to the knee, then K3 (1 - a) (Lee, Loos and Springer 1982)."""

    a_per_min: tuple[float, float, float]
    e_kj_per_mol: tuple[float, float, float]
    knee: float
    b: float
    seed: float = 1e-6

    def rate(self, degree: Array, temp_c: Array) -> Array:
        """da/dt, 1/s."""
        a = np.clip(degree, 0.0, 1.0)
        k1, k2, k3 = (
            arrhenius(f, e, temp_c) for f, e in zip(self.a_per_min, self.e_kj_per_mol, strict=True)
        )
        early = (k1 + k2 * a) * (1.0 - a) * (self.b - a)
        result: Array = np.where(a <= self.knee, early, k3 * (1.0 - a))
        return result


def degree_at_tg(at_c: Array | float, glass: Glass) -> Array:
    """The degree of cure whose glass transition is `at_c`; 0 to 1."""
    share = np.clip(share_at(np.asarray(at_c, dtype=float), glass), 0.0, 1.0)
    result: Array = degree_of_share(share, glass)
    return result


def final_degree(cure_c: float, glass: Glass) -> float:
    """Where a cure at `cure_c` begins to stop: glass transition `above_cure_k` above the cure."""
    return float(degree_at_tg(cure_c + glass.above_cure_k, glass))


class GelCalibrated:
    """The generic law of a card: Kamal with k1 = 0, m = 0.5, n = 1.5, calibrated by its gel time.

    k is such that the gel's degree is reached in the card's gel time, at every temperature the
    card knows; past the gel k follows the cure's own energy. Below the card's coldest gel row
    (before the gel) and its lowest temperature (after it) nothing is promised: k = 0. With
    `diffusion` the cure is slowed by 1/(1 + exp(C (a - a_c(T)))) where it vitrifies.
    """

    def __init__(self, figures: ClockFigures, kinetics: FromGel, glass: Glass | None) -> None:
        self.seed = kinetics.seed
        self.gel_degree = kinetics.gel_degree
        self._lowest_c = figures.lowest_c
        self._glass, self._diffusion = glass, kinetics.diffusion
        self._e, self._reference_c = figures.cure_kj_per_mol, figures.reference_c
        rows = np.array(figures.gel_min)
        self._temps_c, self._minutes = rows[:, 0], rows[:, 1]
        self._per_gel = 2.0 * (_root(self.gel_degree) - _root(self.seed))
        gel_s = self._gel_s(np.array([figures.reference_c]))
        self._k_reference = self._per_gel / float(gel_s[0])

    def _faster(self, temp_c: Array, reference_c: Array | float) -> Array:
        inverse = 1.0 / (np.asarray(reference_c) + KELVIN) - 1.0 / (temp_c + KELVIN)
        result: Array = np.exp(self._e * 1000.0 / R_J_PER_MOL_K * inverse)
        return result

    def _gel_s(self, temp_c: Array) -> Array:
        """Gel time (s); infinite below the coldest row."""
        x, rows = -1.0 / (temp_c + KELVIN), -1.0 / (self._temps_c + KELVIN)
        gel_s = 60.0 * np.exp(np.interp(x, rows, np.log(self._minutes)))
        beyond = np.maximum(temp_c, self._temps_c[-1])
        gel_s = gel_s / self._faster(beyond, self._temps_c[-1])
        result: Array = np.where(temp_c < self._temps_c[0], np.inf, gel_s)
        return result

    def rate(self, degree: Array, temp_c: Array) -> Array:
        """da/dt, 1/s."""
        a = np.clip(degree, 0.0, 1.0)
        k = self._k_reference * self._faster(temp_c, self._reference_c)
        k = np.where(temp_c < self._lowest_c, 0.0, k)
        liquid = a < self.gel_degree
        if liquid.any():
            k = np.where(liquid, self._per_gel / self._gel_s(temp_c), k)
        left = 1.0 - a
        result: Array = k * np.sqrt(a * left) * left
        if self._glass is not None and self._diffusion is not None:
            stops = degree_at_tg(temp_c + self._glass.above_cure_k, self._glass)
            result = result / (1.0 + np.exp(self._diffusion * (a - stops)))
        return result


def _root(degree: float) -> float:
    return float(np.sqrt(degree / (1.0 - degree)))


def law_of(card: Card, catalyst_pct: float | None = None) -> Law:
    """The law of a card. Raises BadInput if it has none, or not at this catalyst share."""
    k = card.kinetics
    if isinstance(k, Kamal):
        return KamalSourour(
            k.a1_per_min, k.e1_kj_per_mol, k.a2_per_min, k.e2_kj_per_mol, k.m, k.n, k.seed
        )
    if isinstance(k, Piecewise):
        return PiecewiseEpoxy(k.a_per_min, k.e_kj_per_mol, k.knee, k.b, k.seed)
    if k is None:
        raise BadInput(f"{card.name} has no kinetics, so its degree of cure is not known.")
    return GelCalibrated(card.figures(catalyst_pct), k, card.glass)


@dataclass(frozen=True)
class KineticRun:
    """A history integrated: times (s), °C and degree of cure, arrays of one length."""

    time_s: Array
    part_c: Array
    degree: Array

    def when_s(self, degree: float) -> float | None:
        """When a degree of cure was reached, s; None if it was not."""
        if self.degree[-1] < degree:
            return None
        return float(np.interp(degree, self.degree, self.time_s))


def run(law: Law, history: History, points: int = POINTS) -> KineticRun:
    """Integrate a law over a history, straight lines between its points.

    Radau IIA of order 5: implicit, so that no cure is too fast for it; relative error 1e-7. A long
    line is integrated by itself, in steps as long as its error allows; where points lie close
    together no step passes over more than a few of them.
    """
    known = np.array(history)
    times_s, temps_c = known[:, 0], known[:, 1]
    t0, t1 = float(times_s[0]), float(times_s[-1])
    longest_s = max(LONGEST_STEP_S, (t1 - t0) / 20_000)

    def slope(t_s: float, degree: Array) -> Array:
        return law.rate(degree, np.atleast_1d(np.interp(t_s, times_s, temps_c)))

    time_s = np.linspace(t0, t1, points)
    degree = np.full(points, law.seed)
    now = np.array([law.seed])
    for first_s, last_s, alone in _stretches(times_s, longest_s):
        solved = solve_ivp(
            slope, (first_s, last_s), now, "Radau", dense_output=True, rtol=1e-7, atol=1e-10,
            max_step=(last_s - first_s) / 20.0 if alone else longest_s,
            first_step=min(1.0, last_s - first_s),
        )  # fmt: skip
        if not solved.success:
            raise BadInput(f"the kinetics could not be integrated: {solved.message}.")
        inside = (time_s > first_s) & (time_s <= last_s)
        if inside.any():
            degree[inside] = solved.sol(time_s[inside])[0]
        now = solved.y[:, -1]
    degree[-1] = now[0]
    grown: Array = np.maximum.accumulate(np.clip(degree, 0.0, 1.0))
    part_c: Array = np.interp(time_s, times_s, temps_c)
    return KineticRun(time_s, part_c, grown)


def _stretches(times_s: Array, longest_s: float) -> Iterator[tuple[float, float, bool]]:
    """Beginning and end (s) of each long line of a history, and of what lies between two; whether
    it is one line."""
    begin = float(times_s[0])
    for before, after in itertools.pairwise(times_s.tolist()):
        if after - before <= longest_s:
            continue
        if before > begin:
            yield begin, before, False
        yield before, after, True
        begin = after
    if float(times_s[-1]) > begin:
        yield begin, float(times_s[-1]), False


def degree_at(card: Card, time: Time) -> float:
    """The degree of cure that the card's law has under a data-sheet time's own conditions.

    This calibrates the milestone: the same degree on another history is the same hardness.
    """
    history = [(0.0, time.at_c), (60.0 * time.minutes, time.at_c)]
    return float(run(law_of(card, time.catalyst_pct), history).degree[-1])


def dates_demould(card: Card) -> bool:
    """Whether the degree of cure dates the demould, as the clock does.

    It does not where the data sheet's demould lies past the onset of vitrification: there the
    degree hardly grows any more, and a warmer history has it long before the part is hard.
    """
    if card.demould is None or card.glass is None or card.kinetics is None:
        return False
    slack = 0.02  # a little past the onset the law still goes at a good part of its pace
    return degree_at(card, card.demould) < final_degree(card.demould.at_c, card.glass) + slack
