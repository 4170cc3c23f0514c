"""The oven's energy balance: heat given against heat seen, every ten seconds.

Heat given is what the relay was told times the heater's power, through the heater's lag. Heat seen
is what leaves through the walls, what warms the air and what the moulds take, by the surveyed
model. Where the two part by more than the settings may be wrong by, the difference adds up in one
of two accounts, in joules:

    unanswered     heat was given and the air does not show it
    unexplained    the air shows heat that nobody gave

Each account is compared with a bound that follows from power, capacity and lag, so that a large
heater is found out as soon as a small one. This is the cumulative sum of E. S. Page (Biometrika 41,
1954, 100) with a reference value for what the model does not know; bounds were set by simulation on
ovens of two structures, because what errs is the model and not white noise.
"""

from __future__ import annotations

import math
from typing import Any

from ..settings import Settings

STEP_S = 10.0
#: Lag of an air probe and its conversion, s.
PROBE_S = 40.0
#: How far the shed may be from what is taken for it, K: measured, and assumed.
SHED_KNOWN_K, SHED_ASSUMED_K = 1.0, 6.0
#: What the survey may be wrong by: loss, air's capacity, moulds (share of each). Other moulds than
#: at the survey may take so much more: that is no fault of the heater.
LOSS_SHARE, AIR_SHARE, MOULD_SHARE, MORE_MOULD_SHARE = 0.30, 0.5, 0.65, 1.5
#: The heater's power may be so far off, and this share of it is the shift that is looked for.
POWER_LOW, POWER_HIGH = 0.8, 1.2
LEAST_SHORT, LEAST_OVER = 0.35, 0.15
#: The bounds of the two accounts: kelvins of the air's capacity, and a share of what full power
#: gives within the heater's lag.
UNANSWERED_AIR_K, UNANSWERED_LAG = 1.0, 0.06
UNEXPLAINED_AIR_K, UNEXPLAINED_LAG = 0.7, 0.04
#: Heat that was looked into and was not the relay's: the heater is stronger than told, or the oven
#: takes less than surveyed. So much more of what is given counts from then on, for the night.
STRONGER_AGAIN, STRONGEST = 1.4, 2.4
#: An account that nothing feeds is forgotten with this time constant, s.
FORGET_S = 1800.0
#: An account is kept to so many times its bound.
MOST_BOUNDS = 5.0


def toward(value: float, target: float, step_s: float, lag_s: float) -> float:
    """`value` one step on towards `target` by a first-order lag."""
    return target + (value - target) * math.exp(-step_s / lag_s) if lag_s > 0.0 else target


def slow_lag_s(lag_s: float) -> float:
    """The longest that a heater and its probe may lag, s, where `lag_s` was surveyed."""
    return 1.6 * lag_s + PROBE_S + 30.0


class EnergyBalance:
    """Heat given against heat seen. Plain numbers only, so that it can be written down."""

    def __init__(self, settings: Settings) -> None:
        model = settings.model
        self._power_w = settings.heater.power_w
        self._loss = model.loss_w_per_k
        self._air_j = model.air_capacity_j_per_k
        if model.mould_lag_s <= 0.0:
            self._air_j += model.mould_capacity_j_per_k
        self._lag_s = model.heater_lag_s
        self._mould_s = model.mould_lag_s
        self._to_moulds = model.mould_w_per_k
        self._lags_s = (
            0.4 * self._lag_s + PROBE_S,
            self._lag_s + PROBE_S,
            slow_lag_s(self._lag_s),
        )
        lag_j = self._power_w * self._lag_s
        self.unanswered_bound_j = UNANSWERED_AIR_K * self._air_j + UNANSWERED_LAG * lag_j
        self.unexplained_bound_j = UNEXPLAINED_AIR_K * self._air_j + UNEXPLAINED_LAG * lag_j
        self.heat_w = [0.0, 0.0, 0.0]
        """Heat given, through three lags: none of them is known well."""
        self.air_c: float | None = None
        """The air through one probe's lag."""
        self.mould_c: float | None = None
        self.mould_doubt_k = 0.0
        """How far the moulds may be from `mould_c`, for what happened before anybody looked."""
        self.store_c: float | None = None
        """The hottest the oven's own stores can be. With no heat the air cannot rise above it."""
        self.loss_w_per_k = self._loss
        """The surveyed loss, or more where a pulse was answered though the balance said no."""
        self.power_high = POWER_HIGH
        """How much more than told the heater may give."""
        self.unanswered_j = 0.0
        self.unexplained_j = 0.0

    def begin(self, air_c: float, parts_c: tuple[float, ...], ambient_c: float) -> None:
        """A night starts: what lies in the oven now may be warmer or colder than its air."""
        self.unanswered_j = self.unexplained_j = 0.0
        self.loss_w_per_k, self.power_high = self._loss, POWER_HIGH
        self.mould_c = sum(parts_c) / len(parts_c) if parts_c else air_c
        self.mould_doubt_k = (0.3 if parts_c else 1.0) * abs(air_c - ambient_c)
        self.store_c = max(air_c, *parts_c) if parts_c else air_c

    def unseen(self, step_s: float, duty: float) -> None:
        """A step without a believable air temperature: heat is counted, nothing is concluded."""
        self._give(step_s, duty)
        self.air_c = None
        self.unanswered_j = toward(self.unanswered_j, 0.0, step_s, FORGET_S)
        self.unexplained_j = toward(self.unexplained_j, 0.0, step_s, FORGET_S)

    def _give(self, step_s: float, duty: float) -> None:
        given_w = self._power_w * duty
        for i, lag_s in enumerate(self._lags_s):
            self.heat_w[i] = toward(self.heat_w[i], given_w, step_s, lag_s)

    def step(
        self,
        step_s: float,
        duty: float,
        air_c: float,
        ambient_c: float,
        *,
        shed_known: bool,
        warmest_c: float | None,
        heated: bool,
    ) -> None:
        """One step.

        Args:
            duty: share of the step in which the relay was told to be on.
            air_c: the believed air, mean of the step.
            shed_known: `ambient_c` is measured.
            warmest_c: the warmest part, its own heat by its card added; None where none is seen.
            heated: the regulator is at work; only then is heat expected to be answered.
        """
        self._give(step_s, duty)
        if self.air_c is None or self.mould_c is None or self.store_c is None:
            if self.mould_c is None or self.store_c is None:
                self.begin(air_c, () if warmest_c is None else (warmest_c,), ambient_c)
            self.air_c = air_c
            return
        before_c, self.air_c = self.air_c, toward(self.air_c, air_c, step_s, PROBE_S)
        now_c = self.air_c
        assert self.mould_c is not None
        assert self.store_c is not None
        if self._mould_s > 0.0:
            self.mould_c = toward(self.mould_c, now_c, step_s, self._mould_s)
            self.mould_doubt_k = toward(self.mould_doubt_k, 0.0, step_s, self._mould_s)
        else:
            self.mould_c, self.mould_doubt_k = now_c, 0.0
        over_k = now_c - ambient_c
        lost_w = self._loss * over_k
        stored_w = self._air_j * (now_c - before_c) / step_s
        taken_w = self._to_moulds * (now_c - self.mould_c)
        seen_w = lost_w + stored_w + taken_w
        doubt_w = (
            LOSS_SHARE * abs(lost_w)
            + self._loss * (SHED_KNOWN_K if shed_known else SHED_ASSUMED_K)
            + AIR_SHARE * abs(stored_w)
            + MOULD_SHARE * (abs(taken_w) + self._to_moulds * self.mould_doubt_k)
        )
        least_w, middle_w, most_w = min(self.heat_w), self.heat_w[1], max(self.heat_w)
        heavier_w = (MORE_MOULD_SHARE - MOULD_SHARE) * max(taken_w, 0.0)
        doubted_w = doubt_w + heavier_w
        self._unanswered(step_s, least_w, most_w, seen_w, doubted_w, max(over_k, 0.0), heated)
        fed_w = 0.0 if warmest_c is None else self._to_moulds * max(warmest_c - now_c, 0.0)
        shift_w = max(doubt_w, LEAST_OVER * max(self._power_w - middle_w, 0.0))
        self._unexplained(step_s, seen_w - self.power_high * most_w - shift_w - fed_w, now_c)

    def _unanswered(
        self,
        step_s: float,
        least_w: float,
        most_w: float,
        seen_w: float,
        doubt_w: float,
        over_k: float,
        heated: bool,
    ) -> None:
        if not heated or most_w <= 0.02 * self._power_w:
            self.unanswered_j = toward(self.unanswered_j, 0.0, step_s, FORGET_S)
            return
        more_w = (self.loss_w_per_k - self._loss) * over_k
        missing_w = POWER_LOW * least_w - seen_w - more_w - max(doubt_w, LEAST_SHORT * least_w)
        most_j = MOST_BOUNDS * self.unanswered_bound_j
        self.unanswered_j = min(max(self.unanswered_j + step_s * missing_w, 0.0), most_j)

    def _unexplained(self, step_s: float, over_w: float, now_c: float) -> None:
        assert self.store_c is not None
        if over_w <= 0.0:
            fall_s = 3.0 * self._mould_s + 7200.0
            self.store_c = max(now_c, toward(self.store_c, now_c, step_s, fall_s))
        if now_c < self.store_c + 0.5:
            over_w = min(over_w, -0.1 * self._power_w)
        most_j = MOST_BOUNDS * self.unexplained_bound_j
        self.unexplained_j = min(max(self.unexplained_j + step_s * over_w, 0.0), most_j)

    def forgive(self, air_c: float) -> None:
        """What was unexplained has been looked into: the air as it is now counts as stored."""
        self.unexplained_j = 0.0
        self.power_high = min(STRONGER_AGAIN * self.power_high, STRONGEST)
        self.store_c = air_c if self.store_c is None else max(self.store_c, air_c)

    def answered(self) -> None:
        """A pulse was answered: the oven loses more than surveyed, then, and is not dead."""
        self.unanswered_j = 0.0
        self.loss_w_per_k = min(1.5 * self.loss_w_per_k, 4.0 * self._loss)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        own = {k: v for k, v in vars(self).items() if not k.startswith("_") and "bound" not in k}
        return {**own, "heat_w": list(self.heat_w)}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot."""
        vars(self).update(state)
        self.heat_w = list(self.heat_w)
