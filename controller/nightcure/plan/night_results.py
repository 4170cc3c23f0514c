"""What is kept of many nights while they run, and what came of them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..cure.clock_figures import Milestone
from ..oven.arrays import Array
from .trips import OVER_TEMPERATURE

#: Series are means over so long, s.
SERIES_S = 120.0
#: Warmer than this a resin counts as heated: a warm workshop (common practice, no source).
MILD_C = 21.0
#: A trip or a mishap in more than this share of the nights is worth a warning.
WORTH = 0.01
#: Air so far short of the setpoint at full power is not held, K.
SHORT_K = 1.0
#: As much duty as a heater has, as the interlocks count it.
FULL = 0.95


@dataclass(frozen=True)
class Series:
    """The nights of one profile, means over `SERIES_S` about each time: (times, nights), °C."""

    time_s: Array
    air_c: Array
    parts_c: tuple[Array, ...]
    """Each part of the night."""
    progress: tuple[Array, ...]
    """Each part's share of the way to the goal."""
    ambient_c: Array


@dataclass(frozen=True)
class Nights:
    """The results of the nights that were drawn; arrays (nights, profiles)."""

    reached_s: dict[tuple[int, Milestone], Array]
    """By part and milestone: when, s after the start; NaN where not within the horizon."""
    goal_s: Array
    """When the last part that tells it was there; NaN likewise."""
    energy_j: Array
    over_s: Array
    """When the profile was done; NaN likewise."""
    tripped: NDArray[np.int8]
    """Number in `trips.NAMES`; 0 where nothing tripped."""
    hottest_c: tuple[Array, ...]
    """The hottest each part was."""
    above_air_k: Array
    """The most any mould was hotter than air and setpoint while heated."""
    full_s: Array
    """For how long the heater gave all it has."""
    short_k: Array
    """How far below the setpoint the air was at most in a soak, while the heater gave all."""
    heated_before_gel: NDArray[np.bool_]
    """A part whose card forbids it was above its mild warmth before it gelled."""
    series: Series | None = None

    @property
    def overheated(self) -> NDArray[np.bool_]:
        """Where air or a part passed its limit."""
        result: NDArray[np.bool_] = self.tripped == OVER_TEMPERATURE
        return result

    def met(self, deadline_s: float) -> NDArray[np.bool_]:
        """Where the goal was reached in time, and nothing was too hot for it."""
        result: NDArray[np.bool_] = (self.goal_s <= deadline_s) & ~self.overheated
        return result

    def met_without_trip(self, deadline_s: float) -> NDArray[np.bool_]:
        """Where the goal was reached in time and nothing tripped before."""
        result: NDArray[np.bool_] = (self.goal_s <= deadline_s) & (self.tripped == 0)
        return result


class Tally:
    """Running figures of all nights; the series of the first profile where they are wanted."""

    def __init__(self, shape: tuple[int, int], parts: int, dt_s: float, keep: bool) -> None:
        self._dt_s, self._keep = dt_s, keep
        self.on_steps = np.zeros(shape)
        self.over_s = np.full(shape, np.nan)
        self.hottest_c = tuple(np.full(shape, -99.0) for _ in range(parts))
        self.above_k, self.full_s, self.short_k = (np.zeros(shape) for _ in range(3))
        self.early_heat: NDArray[np.bool_] = np.zeros(shape, dtype=bool)
        self._per = max(round(SERIES_S / dt_s), 1)
        self._count = 0
        self._sums = [np.zeros(shape[0]) for _ in range(parts + 1)]
        self._rows: list[tuple[float, list[Array], list[Array], Array]] = []

    def step(
        self,
        now_s: float,
        share: Array,
        duty: Array,
        over: NDArray[np.bool_],
        soak: NDArray[np.bool_],
        short_k: Array,
    ) -> None:
        """A step up to `now_s`: how the heater was on, where the profiles are."""
        self.on_steps += share
        self.over_s = np.where(over & np.isnan(self.over_s), now_s, self.over_s)
        full = duty > FULL
        if full.any():
            self.full_s += self._dt_s * full
            self.short_k = np.maximum(self.short_k, full * soak * short_k)

    def minute(self, i: int, part_c: Array, base_c: Array, heated: NDArray[np.bool_]) -> None:
        """A part over the last minute, and the warmer of air and setpoint."""
        np.maximum(self.hottest_c[i], part_c, out=self.hottest_c[i])
        self.above_k = np.maximum(self.above_k, (part_c - base_c) * heated)

    def series_step(
        self,
        now_s: float,
        temps_c: list[Array],
        progress: Callable[[], list[Array]],
        ambient_c: Array,
    ) -> None:
        """A step's end: air and parts, (nights, profiles) each, of which the first is kept.

        `progress` is asked for each part's way to the goal when a row is due.
        """
        if not self._keep:
            return
        for total, temp_c in zip(self._sums, temps_c, strict=True):
            total += temp_c[:, 0]
        self._count += 1
        if self._count % self._per == 0:
            means = [total / self._per for total in self._sums]
            middle_s = now_s - 0.5 * self._per * self._dt_s
            self._rows.append((middle_s, means, [p[:, 0].copy() for p in progress()],
                               ambient_c[:, 0].copy()))  # fmt: skip
            for total in self._sums:
                total[:] = 0.0

    def series(self) -> Series | None:
        """What was kept."""
        if not self._rows:
            return None
        parts = range(len(self._sums) - 1)
        return Series(
            np.array([row[0] for row in self._rows]),
            np.stack([row[1][0] for row in self._rows]),
            tuple(np.stack([row[1][i + 1] for row in self._rows]) for i in parts),
            tuple(np.stack([row[2][i] for row in self._rows]) for i in parts),
            np.stack([row[3] for row in self._rows]),
        )
