"""Does the air follow the heat at all? What a step of heat must bring, whatever the shed.

The energy balance needs the shed's temperature, to know what leaves through the walls: where the
shed is far warmer than assumed, a thermometer that hangs outside seems to stand in an oven that
loses much. Here only changes count. The oven's own model, made as lazy as a survey can be wrong,
says how far the air must rise by the heat it was given; what is missing from that is added up.
"""

from __future__ import annotations

from typing import Any

from ..settings import Settings
from .energy_balance import (
    AIR_SHARE,
    FORGET_S,
    LOSS_SHARE,
    MOULD_SHARE,
    POWER_LOW,
    PROBE_S,
    slow_lag_s,
    toward,
)

#: This share of the rise that is due at least is asked for.
ASKED_SHARE = 0.4
#: An oven that answered a pulse all the same is asked for so much less from then on, for the night.
LESS_AGAIN = 0.6
#: So much less than asked is a doubt, K.
SHORT_K = 0.6


class HeatResponse:
    """How much less than due the air has risen. Plain numbers only, so that it can be kept."""

    def __init__(self, settings: Settings) -> None:
        model = settings.model
        self._power_w = POWER_LOW * settings.heater.power_w
        self._loss = (1.0 + LOSS_SHARE) * model.loss_w_per_k
        self._air_j = (1.0 + AIR_SHARE) * model.air_capacity_j_per_k
        self._to_moulds = (1.0 + MOULD_SHARE) * model.mould_w_per_k
        if model.mould_lag_s <= 0.0:
            self._air_j += (1.0 + MOULD_SHARE) * model.mould_capacity_j_per_k
        self._lag_s, self._mould_s = slow_lag_s(model.heater_lag_s), model.mould_lag_s
        self.heat_w = self.due_k = self.mould_k = 0.0
        """Heat that arrives; how far it has warmed the lazy oven's air and moulds."""
        self.air_c: float | None = None
        """The air through one probe's lag."""
        self.shed_c: float | None = None
        """The shed when it was first told: one that falls takes its share of what is due."""
        self.asked_share = ASKED_SHARE
        self.short_k = 0.0

    @property
    def doubtful(self) -> bool:
        """Whether the air has risen so much less than due that somebody must look."""
        return self.short_k > SHORT_K

    def begin(self) -> None:
        """A night starts."""
        self.short_k, self.asked_share = 0.0, ASKED_SHARE

    def forget(self) -> None:
        """What was missing is being looked into."""
        self.short_k = 0.0

    def answered(self) -> None:
        """The air answered a pulse: from now on less of a rise is asked of this oven."""
        self.short_k = 0.0
        self.asked_share *= LESS_AGAIN

    def step(
        self, step_s: float, duty: float, air_c: float | None, ambient_c: float, *, heated: bool
    ) -> None:
        """One step.

        Args:
            duty: share of the step in which the relay was told to be on.
            air_c: the believed air, mean of the step; None where it was not seen.
            ambient_c: the shed, measured or assumed.
            heated: the regulator is at work; only then is heat expected to be answered.
        """
        before_k = self.due_k
        self.heat_w = toward(self.heat_w, self._power_w * duty, step_s, self._lag_s)
        self.shed_c = ambient_c if self.shed_c is None else self.shed_c
        colder_w = self._loss * max(self.shed_c - ambient_c, 0.0)
        take = step_s / self._air_j
        self.due_k += take * (self.heat_w - colder_w + self._to_moulds * self.mould_k)
        self.due_k /= 1.0 + take * (self._loss + self._to_moulds)
        self.mould_k = toward(self.mould_k, self.due_k, step_s, self._mould_s)
        seen_c, self.air_c = self.air_c, air_c
        if air_c is None or seen_c is None:
            return
        self.air_c = toward(seen_c, air_c, step_s, PROBE_S)
        # A fall is the balance's: here it neither answers nor counts twice.
        risen_k = max(self.air_c - seen_c, 0.0)
        if heated:
            self.short_k += self.asked_share * (self.due_k - before_k) - risen_k
        self.short_k = max(toward(self.short_k, 0.0, step_s, FORGET_S), 0.0)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {k: v for k, v in vars(self).items() if not k.startswith("_")}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an empty one (of an earlier version) starts anew."""
        vars(self).update(state)
