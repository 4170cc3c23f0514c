"""What nights show of the oven, added up: each night's evidence, and the oven by all of them.

A night's evidence is what its heat said beyond the model from which it was reckoned, so that a
model that a person changes, or a night that was told to start from it, counts nothing twice. Boxes
age and are mended: what was learned fades by a little each night, and at once where a night
contradicts it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import Any, NamedTuple

from . import Model
from .learned_oven import LearnedOven

Matrix = list[list[float]]
#: What a survey's loss, quick capacity and moulds' capacity are off by, relative: standard
#: deviations (measured on ovens of two structures, `python -m tests.campaign regulation`).
OFF_SD = (0.15, 0.35, 0.35)
#: No share of the model's is believed below or above these.
LEAST, MOST = 0.5, 1.7
#: By how much a night's own figures are off the oven's, as shares: wind, what lies in it, walls
#: that are not through yet, a model of few nodes (measured on ovens of two structures, `python -m
#: tests.oven_campaign`).
NIGHT_SD = (0.05, 0.15, 0.20)
#: What no number of nights tells, as shares: the controller's oven has fewer nodes than a real one.
BOX_SD = (0.06, 0.15, 0.12)
#: What a night adds by ageing and handling, and each week that passes (judgement, no source).
AGEING_SD, WEEK_SD = (0.01, 0.05, 0.08), (0.03, 0.03, 0.03)
#: A loss that differs by more than this share and by so many standard deviations has jumped.
JUMP_SHARE, JUMP_SDS = 0.12, 2.5
#: A night has said nothing where its loss is hardly surer than before, as a share of the variance.
LEAST_TOLD = 0.9
#: How far a night's figures are from what is learned at the best, as variances.
TONIGHT = tuple(a * a + b * b for a, b in zip(NIGHT_SD, BOX_SD, strict=True))
WEEK_S = 7 * 86400.0


class OvenEvidence(NamedTuple):
    """One night's.

    Attributes:
        model: loss W/K, quick and moulds' capacity J/K, from which it was reckoned.
        information: inverse covariance of the three as shares of the model's.
        pull: information times their best values.
    """

    model: tuple[float, ...]
    information: tuple[tuple[float, ...], ...]
    pull: tuple[float, ...]

    @classmethod
    def of(cls, mean: Sequence[float], cov: Matrix, model: Model) -> OvenEvidence | None:
        """Of a night that started from the model, by how sure `OFF_SD` has it; None where it said
        nothing.

        Args:
            mean, cov: what its end found of the three as shares of the model's.
        """
        after = inverse(cov)
        information = [
            [after[i][j] - (OFF_SD[i] ** -2 if i == j else 0.0) for j in range(3)] for i in range(3)
        ]
        if cov[0][0] > LEAST_TOLD * OFF_SD[0] ** 2:
            return None
        pull = [
            sum(a * v for a, v in zip(row, mean, strict=True)) - OFF_SD[i] ** -2
            for i, row in enumerate(after)
        ]
        figures = (model.loss_w_per_k, model.air_capacity_j_per_k, model.mould_capacity_j_per_k)
        rows = tuple(tuple(_short(v) for v in row) for row in information)
        return cls(figures, rows, tuple(_short(v) for v in pull))

    @property
    def loss_w_per_k(self) -> tuple[float, float]:
        """By this night and its model, and by how much it may be off: one sd of its logarithm."""
        before = [sd**-2 for sd in OFF_SD]
        j = self.information
        cov = inverse([[j[i][k] + (before[i] if i == k else 0.0) for k in range(3)]
                       for i in range(3)])  # fmt: skip
        told = [p + b for p, b in zip(self.pull, before, strict=True)]
        share = sum(c * t for c, t in zip(cov[0], told, strict=True))
        return self.model[0] * share, math.sqrt(cov[0][0]) / share

    @classmethod
    def from_json(cls, found: dict[str, Any]) -> OvenEvidence:
        """What `_asdict` gave."""
        rows = tuple(tuple(row) for row in found["information"])
        return cls(tuple(found["model"]), rows, tuple(found["pull"]))


class Learned:
    """The oven by all nights so far: a normal law of its three figures as shares of the model's."""

    def __init__(self, model: Model) -> None:
        self._model = (
            model.loss_w_per_k, model.air_capacity_j_per_k, model.mould_capacity_j_per_k
        )  # fmt: skip
        self.mean = [1.0, 1.0, 1.0]
        self.cov: Matrix = [[OFF_SD[i] ** 2 if i == j else 0.0 for j in range(3)] for i in range(3)]
        self.nights = 0
        self._last_s: float | None = None
        self.jump: float | None = None
        """The last night's loss over what was learned before, where it has jumped."""

    @classmethod
    def of(cls, oven: LearnedOven, model: Model) -> Learned:
        """As a night started from it."""
        found = cls(model)
        found.nights = oven.nights
        if oven.nights:
            figures = oven.loss_w_per_k, oven.air_capacity_j_per_k, oven.mould_capacity_j_per_k
            m = found.mean = _shares(figures, found._model)
            found.cov = [
                [m[i] * m[k] * (c - (TONIGHT[i] if i == k else 0.0)) for k, c in enumerate(row)]
                for i, row in enumerate(oven.log_covariance)
            ]
        return found

    def passes(self, wall_s: float) -> None:
        """Time goes on to another night."""
        weeks = 0.0 if self._last_s is None else max(wall_s - self._last_s, 0.0) / WEEK_S
        self._last_s = wall_s
        for i in range(3):
            widest = OFF_SD[i] ** 2
            grown = self.cov[i][i] + AGEING_SD[i] ** 2 + min(weeks, 52.0) * WEEK_SD[i] ** 2
            self.cov[i][i] = max(min(grown, widest), self.cov[i][i])

    def see(self, found: OvenEvidence) -> None:
        """Take in a night."""
        own = [sd * sd for sd in NIGHT_SD]
        # The model that it was reckoned from may have been another one.
        scale = [1.0 / v for v in _shares(found.model, self._model)]
        j = [[scale[i] * scale[k] * found.information[i][k] for k in range(3)] for i in range(3)]
        # The night's own spread added to its covariance: (1 + J R)^-1 J, and the same of the pull.
        mixed = inverse([[float(i == k) + j[i][k] * own[k] for k in range(3)] for i in range(3)])
        info = [[sum(mixed[i][n] * j[n][k] for n in range(3)) for k in range(3)] for i in range(3)]
        own_pull = [s * p for s, p in zip(scale, found.pull, strict=True)]
        pull = [sum(a * b for a, b in zip(row, own_pull, strict=True)) for row in mixed]
        self.jump = self._jumped(info, pull)
        if self.jump is not None:
            self.cov[0][0] += (self.mean[0] * (self.jump - 1.0)) ** 2
        before = inverse(self.cov)
        after = [[before[i][k] + 0.5 * (info[i][k] + info[k][i]) for k in range(3)]
                 for i in range(3)]  # fmt: skip
        top = [
            sum(a * m for a, m in zip(row, self.mean, strict=True)) + p
            for row, p in zip(before, pull, strict=True)
        ]
        self.cov = inverse(after)
        mean = [sum(c * t for c, t in zip(row, top, strict=True)) for row in self.cov]
        self.mean = [min(max(v, LEAST), MOST) for v in mean]
        self.nights += 1

    def _jumped(self, info: Matrix, pull: Sequence[float]) -> float | None:
        """Tonight's loss over what was learned, where that is no chance; None before any night."""
        if not self.nights:
            return None
        # By tonight alone: of what it does not tell as little is taken to be known as may be.
        vague = [(3.0 * sd) ** -2 for sd in OFF_SD]
        alone = inverse(
            [[info[i][k] + (vague[i] if i == k else 0.0) for k in range(3)] for i in range(3)]
        )
        told = [p + v * m for p, v, m in zip(pull, vague, self.mean, strict=True)]
        off = sum(a * p for a, p in zip(alone[0], told, strict=True)) - self.mean[0]
        clear = abs(off) > JUMP_SDS * math.sqrt(alone[0][0] + self.cov[0][0])
        ratio = max(1.0 + off / self.mean[0], LEAST)
        return ratio if clear and abs(ratio - 1.0) > JUMP_SHARE else None

    def oven(self) -> LearnedOven:
        """For the night to come: its own spread is in the covariance."""
        own = TONIGHT if self.nights else (0.0, 0.0, 0.0)
        m = self.mean
        rows = tuple(
            tuple(_short(c / (m[i] * m[k]) + (own[i] if i == k else 0.0))
                  for k, c in enumerate(row))
            for i, row in enumerate(self.cov)
        )  # fmt: skip
        loss, quick, moulds = (_short(a * b) for a, b in zip(self._model, m, strict=True))
        return LearnedOven(
            loss_w_per_k=loss, air_capacity_j_per_k=quick, mould_capacity_j_per_k=moulds,
            log_covariance=rows, nights=self.nights,
        )  # fmt: skip


def _shares(figures: Sequence[float], model: Sequence[float]) -> list[float]:
    """Figures as shares of a model's; what neither has is as the model says."""
    return [a / b if a > 0.0 and b > 0.0 else 1.0 for a, b in zip(figures, model, strict=True)]


def learned(model: Model, nights: Iterable[tuple[float, OvenEvidence]]) -> Learned:
    """What all nights together say of the oven.

    Args:
        nights: (wall time in s, evidence), oldest first.
    """
    oven = Learned(model)
    for wall_s, found in nights:
        oven.passes(wall_s)
        oven.see(found)
    return oven


def loss_changed(ratio: float, since: str) -> str:
    """That the box's loss has changed, and where to look; for the event of a night and its record.

    Args:
        ratio: tonight's over what it was.
        since: when it was that, such as 'in the nights before'.
    """
    percent, more = round(100.0 * abs(ratio - 1.0)), ratio > 1.0
    return (
        f"The box has lost {percent} % {'more' if more else 'less'} heat than {since}: "
        f"{'look at lid, tape and door.' if more else 'was it sealed?'}"
    )


def inverse(m: Sequence[Sequence[float]]) -> Matrix:
    """Of a regular 3 x 3 matrix, by its cofactors."""

    def minor(i: int, k: int) -> float:
        a, b = [n for n in range(3) if n != i], [n for n in range(3) if n != k]
        return m[a[0]][b[0]] * m[a[1]][b[1]] - m[a[0]][b[1]] * m[a[1]][b[0]]

    cofactors = [[(-1.0) ** (i + k) * minor(i, k) for k in range(3)] for i in range(3)]
    whole = sum(v * c for v, c in zip(m[0], cofactors[0], strict=True))
    return [[cofactors[k][i] / whole for k in range(3)] for i in range(3)]


def _short(value: float) -> float:
    return float(f"{value:.7g}")
