"""Feed-forward: the watts the oven is known to need, and what the thermometer should then show."""

from __future__ import annotations

import math
from typing import Any, NamedTuple

from ..settings import MOST_DEPARTS_K, PROBE_LAG_S, Settings
from .learned_need import Shares


class Lead(NamedTuple):
    """What feed-forward asks for."""

    watts: float
    """Power, from 0 to the heater's."""
    shown_c: float
    """What the filtered thermometer shows if the oven is as its model says, °C: the regulator
    holds it to that. Held to the setpoint itself it would drive the air ahead of every ramp, by
    what the thermometer lags, and work against the heat that a corner needs."""


class FeedForward:
    """The oven's model, run forward beside the oven.

    The setpoint needs `loss (T_sp - T_ambient) + C_air dT_sp/dt + C_mould (dT_sp/dt lagged by the
    moulds)`. The heater gives its heat late (a first-order lag), so it is asked for more than is
    needed where the need rises, and for less where it falls. Where its limits keep it from that the
    model's air departs from the setpoint for a while, and what the thermometer should show with it.
    """

    STATE = ("ahead_c", "rate", "mould_rate", "heat_w", "now_c", "now_mould_rate", "departs_k",
             "probe_c", "shown_c", "shares")  # fmt: skip

    def __init__(self, settings: Settings) -> None:
        self._model = settings.model
        self._power_w = settings.heater.power_w
        self._filter_s = settings.regulator.filter_s
        self._settles_w_per_k = self._model.settles_w_per_k
        self._settles_s = self._model.air_capacity_j_per_k / self._settles_w_per_k
        self._reckon_lags(settings.timing.tick_s)
        self.start()

    def _reckon_lags(self, dt_s: float) -> None:
        """What each lag keeps of its past over a tick of `dt_s`."""
        m, self._dt_s = self._model, dt_s
        self._heater_keeps = _kept(dt_s, m.heater_lag_s)
        self._within = _kept(max(m.lead_s, dt_s), m.heater_lag_s)
        self._mould_keeps = _kept(dt_s, m.mould_lag_s)
        self._departs_keeps = _kept(dt_s, self._settles_s)

    def start(self) -> None:
        """A new night: heater cold, moulds at rest."""
        self.ahead_c: float | None = None
        self.rate = 0.0
        """How fast the setpoint ahead moves, K/s."""
        self.mould_rate = 0.0
        self.heat_w = 0.0
        """What the model's heater gives the air."""
        self.now_c: float | None = None
        self.now_mould_rate = 0.0
        self.departs_k = 0.0
        """The model's air less the setpoint."""
        self.probe_c: float | None = None
        self.shown_c: float | None = None
        self.shares = Shares()
        """What the night has shown of the model's figures."""

    def take(self, shares: Shares, ambient_c: float) -> float:
        """Use `shares` from now on. Returns by how much that raises the power needed now, W."""
        m, old, self.shares = self._model, self.shares, shares
        if self.ahead_c is None:
            return 0.0
        return (
            (shares.loss - old.loss) * m.loss_w_per_k * (self.ahead_c - ambient_c)
            + (shares.quick - old.quick) * m.air_capacity_j_per_k * self.rate
            + (shares.moulds - old.moulds) * m.mould_capacity_j_per_k * self.mould_rate
        )

    def held_off(self, dt_s: float) -> None:
        """The heater was not allowed to heat for `dt_s`: it cools, no departure is excused."""
        self.heat_w *= _kept(dt_s, self._model.heater_lag_s)
        self.departs_k = 0.0

    def ask(self, dt_s: float, setpoint_c: float, ahead_c: float, ambient_c: float) -> Lead:
        """Power for a setpoint that is `setpoint_c` now and will be `ahead_c` in `model.lead_s`."""
        if dt_s != self._dt_s:
            self._reckon_lags(dt_s)
        need_w, self.rate, self.mould_rate = self._need(
            dt_s, self.ahead_c, ahead_c, self.mould_rate, ambient_c
        )
        self.ahead_c = ahead_c
        watts = (need_w - self._within * self.heat_w) / (1.0 - self._within)
        watts = min(max(watts, 0.0), self._power_w)
        self.heat_w = watts + (self.heat_w - watts) * self._heater_keeps

        now_w, _, self.now_mould_rate = self._need(
            dt_s, self.now_c, setpoint_c, self.now_mould_rate, ambient_c
        )
        self.now_c = setpoint_c
        rest_k = (self.heat_w - now_w) / self._settles_w_per_k
        departs_k = rest_k + (self.departs_k - rest_k) * self._departs_keeps
        self.departs_k = min(max(departs_k, -MOST_DEPARTS_K), MOST_DEPARTS_K)
        expected_c = setpoint_c + min(self.departs_k, 0.0)  # nothing is heated for the model's sake
        self.probe_c = _behind(self.probe_c, expected_c, dt_s, PROBE_LAG_S)
        self.shown_c = _behind(self.shown_c, self.probe_c, dt_s, self._filter_s)
        return Lead(watts, self.shown_c)

    def _need(
        self, dt_s: float, before_c: float | None, to_c: float, mould_rate: float, ambient_c: float
    ) -> tuple[float, float, float]:
        """Watts that take the air from `before_c` to `to_c` within dt_s; its rate, the moulds'."""
        m, of = self._model, self.shares
        rate = 0.0 if before_c is None else (to_c - before_c) / dt_s
        mould_rate = self._mould_keeps * mould_rate + (1.0 - self._mould_keeps) * rate
        need_w = (
            of.loss * m.loss_w_per_k * (to_c - ambient_c)
            + of.quick * m.air_capacity_j_per_k * rate
            + of.moulds * m.mould_capacity_j_per_k * mould_rate
        )
        return need_w, rate, mould_rate

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {name: getattr(self, name) for name in self.STATE}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an older one has fewer fields."""
        for name in self.STATE:
            setattr(self, name, state.get(name, getattr(self, name)))
        self.shares = Shares(*self.shares)


def _kept(dt_s: float, lag_s: float) -> float:
    """What a first-order lag keeps of its past over `dt_s`."""
    return math.exp(-dt_s / lag_s) if lag_s > 0.0 else 0.0


def _behind(before_c: float | None, to_c: float, dt_s: float, lag_s: float) -> float:
    """A first-order lag as the regulator's filter reckons it, so that both are late alike."""
    return to_c if before_c is None else before_c + (to_c - before_c) * dt_s / (lag_s + dt_s)
