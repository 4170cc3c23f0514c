"""What the oven needs against what its model says, learned from the heat that the night takes."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from ..settings import Model, Settings
from ..settings.learned_oven import LearnedOven
from ..settings.oven_evidence import LEAST, MOST
from ..settings.oven_evidence import OFF_SD as MODEL_OFF_SD

#: Heat given and heat taken are held against each other over so long at least, s, and over whole
#: windows of the heater's switching, so that its swing counts for nothing.
STRETCH_S = 150.0
#: What the model's three figures are off by, relative, and what else heats or cools a box, as a
#: share of the heater's power: standard deviations (the last measured as the others).
OFF_SD = (*MODEL_OFF_SD, 0.03)
#: How much of that other heat comes and goes within a stretch, as a share of the power.
OTHER_SD = 0.004
#: The heat given is known to so much of the power, and a temperature to so much, K.
GIVEN_SHARE, READ_C = 0.02, 0.05
#: A stretch that says something so unlikely is left out: a lid that was opened, a laminate that
#: heats itself. In standard deviations.
UNLIKELY = 3.0


class Shares(NamedTuple):
    """The oven's true figures as shares of its model's."""

    loss: float = 1.0
    quick: float = 1.0
    """Of the capacity that follows the air at once."""
    moulds: float = 1.0


class LearnedNeed:
    """A Kalman filter over stretches of the night, from the model's own figures on.

    In each stretch the heat given should be what the box lost, what the air and what the moulds
    took up, each by the model and times its share, and something else that drifts: a laminate's own
    heat, sun, a shed thermometer that hangs elsewhere. A survey of one evening finds the sum of the
    capacities better than how much of it follows the air at once; a ramp shows that within minutes.

    Only feed-forward reads the shares. No interlock does.
    """

    STATE = ("heat_w", "mould_c", "lasted_s", "given_j", "over_shed_ks")

    def __init__(self, settings: Settings) -> None:
        self._model = settings.model
        self._power_w = settings.heater.power_w
        window_s = settings.heater.window_s
        self.stretch_s = window_s * math.ceil(STRETCH_S / window_s)
        self.start()

    @property
    def shares(self) -> Shares:
        """As known now."""
        return Shares(*self._off[:3])

    @property
    def covariance(self) -> list[list[float]]:
        """Of the three shares."""
        return [row[:3] for row in self._cov[:3]]

    def start(self, oven: LearnedOven | None = None) -> None:
        """A new night: the model's figures are believed, or what earlier nights have shown."""
        self._off = [1.0, 1.0, 1.0, 0.0]
        self._cov = [[sd**2 if i == j else 0.0 for j in range(4)] for i, sd in enumerate(OFF_SD)]
        if oven is not None and oven.nights:
            self._off[:3] = shares = shares_of(oven, self._model)
            for i in range(3):
                for j in range(3):
                    self._cov[i][j] = shares[i] * shares[j] * oven.log_covariance[i][j]
        self.heat_w = 0.0
        """What the heater gives the air, by its lag."""
        self.mould_c: float | None = None
        """The moulds, by their lag."""
        self._begin_stretch()

    def _begin_stretch(self) -> None:
        self.lasted_s = 0.0
        self.given_j = 0.0
        self.over_shed_ks = 0.0
        self._first_c: tuple[float, float] | None = None

    def held_off(self, dt_s: float) -> None:
        """The heater was not allowed to heat for `dt_s`, whoever knows why: nothing is learned."""
        self.heat_w *= _kept(dt_s, self._model.heater_lag_s)
        self._begin_stretch()

    def went_on(self, dt_s: float, asked_w: float, air_c: float, ambient_c: float) -> bool:
        """Count a stretch of `dt_s` at `asked_w`; whether something was learned from it."""
        m = self._model
        self.heat_w = asked_w + (self.heat_w - asked_w) * _kept(dt_s, m.heater_lag_s)
        before_c = air_c if self.mould_c is None else self.mould_c
        self.mould_c = air_c + (before_c - air_c) * _kept(dt_s, m.mould_lag_s)
        if self._first_c is None:
            self._first_c = air_c, self.mould_c
        self.lasted_s += dt_s
        self.given_j += self.heat_w * dt_s
        self.over_shed_ks += (air_c - ambient_c) * dt_s
        if self.lasted_s < self.stretch_s:
            return False
        air_first_c, mould_first_c = self._first_c
        taken_w = (
            m.loss_w_per_k * self.over_shed_ks / self.lasted_s,
            m.air_capacity_j_per_k * (air_c - air_first_c) / self.lasted_s,
            m.mould_capacity_j_per_k * (self.mould_c - mould_first_c) / self.lasted_s,
            self._power_w,
        )
        learned = self._learn(taken_w, self.given_j / self.lasted_s)
        self._begin_stretch()
        return learned

    def _learn(self, taken_w: tuple[float, ...], given_w: float) -> bool:
        cov = self._cov
        cov[3][3] += OTHER_SD**2
        along = [sum(c * t for c, t in zip(row, taken_w, strict=True)) for row in cov]
        read_w = READ_C * self._model.air_capacity_j_per_k / self.stretch_s
        variance = (
            max(sum(a * t for a, t in zip(along, taken_w, strict=True)), 0.0)
            + (GIVEN_SHARE * self._power_w) ** 2
            + read_w**2
        )
        missed_w = given_w - sum(o * t for o, t in zip(self._off, taken_w, strict=True))
        if abs(missed_w) > UNLIKELY * math.sqrt(variance):
            return False
        off = [o + a * missed_w / variance for o, a in zip(self._off, along, strict=True)]
        self._off = [*(min(max(o, LEAST), MOST) for o in off[:3]), off[3]]
        self._cov = [
            [c - a * b / variance for c, b in zip(row, along, strict=True)]
            for row, a in zip(cov, along, strict=True)
        ]
        return True

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {
            **{name: getattr(self, name) for name in self.STATE},
            "off": list(self._off),
            "covariance": [list(row) for row in self._cov],
            "first_c": self._first_c,
            "model": self._model.model_dump(mode="json"),
        }

    def restore(self, state: dict[str, Any]) -> bool:
        """Go on from a snapshot; an older one has none of this.

        False where it is of another model, which a person has written over meanwhile: its shares
        say nothing of this one, which is believed anew.
        """
        if not state:
            return True
        model = self._model.model_dump(mode="json")
        if state.get("model", model) != model:
            return False
        for name in self.STATE:
            setattr(self, name, state[name])
        self._off = list(state["off"])
        self._cov = [list(row) for row in state["covariance"]]
        first = state["first_c"]
        self._first_c = None if first is None else (first[0], first[1])
        return True


def shares_of(oven: LearnedOven, model: Model) -> Shares:
    """What was learned, as shares of a model's; within their bounds."""
    pairs = (
        (oven.loss_w_per_k, model.loss_w_per_k),
        (oven.air_capacity_j_per_k, model.air_capacity_j_per_k),
        (oven.mould_capacity_j_per_k, model.mould_capacity_j_per_k),
    )
    return Shares(*(min(max(a / b, LEAST), MOST) if b > 0.0 else 1.0 for a, b in pairs))


def _kept(dt_s: float, lag_s: float) -> float:
    """What a first-order lag keeps of its past over `dt_s`."""
    return math.exp(-dt_s / lag_s) if lag_s > 0.0 else 0.0
