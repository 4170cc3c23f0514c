"""How long the controller was away in a power cut, reckoned from how far the oven has cooled.

Heater body, air and moulds cool towards the shed as the survey's model says (two stores of heat,
and what the heater's body still gives off). Their temperatures at the cut and now give the
likeliest time and an interval round it. The interval allows for what is not known exactly: the
survey's loss and capacities, the shed's temperature, and where in the moulds a thermometer sits.
"""

from __future__ import annotations

import math
from typing import NamedTuple

from ..settings import Model

#: Steps of the model, s, and how many of each: two hours, then two days.
STEPS = ((30.0, 240), (300.0, 552))
#: What the survey may be wrong by: of the loss, and of the capacities.
LOSS_SHARE, CAPACITY_SHARE = 0.3, 0.4
#: What two thermometer readings may be apart for, K, and how far the shed may be from what is
#: taken for it: where it was measured, and where it was assumed.
READING_K, SHED_KNOWN_K, SHED_ASSUMED_K = 0.75, 1.5, 6.0
#: A shed that nobody measures is not this much warmer than the oven was as the night began.
SHED_WARMER_K = 4.0


class Fallen(NamedTuple):
    """The oven before a cut or after it, °C; what nobody measured is None."""

    air_c: float
    mould_c: float | None
    """Mean of parts and moulds."""
    ambient_c: float
    ambient_known: bool
    began_c: float | None = None
    """The air as the night began; None: not known."""


class Standstill(NamedTuple):
    """How long it stood still, s. `high_s` is infinite where the oven is as cold as the shed."""

    low_s: float
    likely_s: float
    high_s: float


def standstill(model: Model, before: Fallen, now: Fallen, heat_w: float) -> Standstill:
    """How long it takes to fall from `before` to `now`.

    Args:
        heat_w: mean power of the heater just before the cut, which its body still gives off.
    """
    coldest_c, middle_c, warmest_c = _shed(before, now)
    placed = before
    if before.mould_c is None:  # where they were by what the heater gave besides the loss
        stored_w = max(heat_w - model.loss_w_per_k * (before.air_c - middle_c), 0.0)
        behind_k = stored_w / model.mould_w_per_k if model.mould_w_per_k else 0.0
        placed_c = max(before.air_c - behind_k, min(middle_c, before.air_c))
        placed = before._replace(mould_c=placed_c)
    likely_s = _fall_s(model, placed, now, middle_c, heat_w)
    quick = _times(model, 1.0 + LOSS_SHARE, 1.0 - CAPACITY_SHARE)
    slow = _times(model, 1.0 - LOSS_SHARE, 1.0 + CAPACITY_SHARE)
    chilled = before
    if before.mould_c is None:  # in a ramp they may have been far behind
        behind_c = min(before.ambient_c, now.ambient_c)
        chilled = before._replace(air_c=min(before.air_c, 0.5 * (before.air_c + behind_c) + 5.0))
    low_s = _fall_s(quick, chilled, _warmer(now, READING_K), coldest_c, 0.0)
    high_s = _fall_s(slow, before, _warmer(now, -READING_K), warmest_c, 1.3 * heat_w)
    if now.air_c - READING_K <= warmest_c:
        high_s = math.inf
    return Standstill(min(low_s, likely_s), likely_s, max(high_s, likely_s))


def _shed(before: Fallen, now: Fallen) -> tuple[float, float, float]:
    """The coldest the shed may be, the likeliest, and the warmest, °C.

    A box that nobody heats is no colder than its shed but for what it lags behind, so where nobody
    measures the shed the air as the night began bounds it from above better than what was typed.
    """
    warm_c, cold_c = (f(before.ambient_c, now.ambient_c) for f in (max, min))
    middle_c = 0.5 * (warm_c + cold_c)
    if before.ambient_known and now.ambient_known:
        return cold_c - SHED_KNOWN_K, middle_c, warm_c + SHED_KNOWN_K
    if before.began_c is None:
        return cold_c - SHED_ASSUMED_K, middle_c, warm_c + SHED_ASSUMED_K
    likely_c = min(middle_c, before.began_c)
    return likely_c - SHED_ASSUMED_K, likely_c, before.began_c + SHED_WARMER_K


def _times(model: Model, loss: float, capacity: float) -> Model:
    return model.model_copy(
        update={
            "loss_w_per_k": loss * model.loss_w_per_k,
            "air_capacity_j_per_k": capacity * model.air_capacity_j_per_k,
            "mould_capacity_j_per_k": capacity * model.mould_capacity_j_per_k,
        }
    )


def _warmer(oven: Fallen, by_k: float) -> Fallen:
    mould_c = None if oven.mould_c is None else oven.mould_c + by_k
    return oven._replace(air_c=oven.air_c + by_k, mould_c=mould_c)


def _fall_s(model: Model, before: Fallen, now: Fallen, ambient_c: float, heat_w: float) -> float:
    """When the model's air and moulds are nearest to what is seen `now`, s."""
    to_moulds = model.mould_w_per_k
    air_j = model.air_capacity_j_per_k + (0.0 if to_moulds else model.mould_capacity_j_per_k)
    pull = model.settles_w_per_k
    air_c = before.air_c
    mould_c = before.air_c if before.mould_c is None else before.mould_c
    aim_c = None if before.mould_c is None else now.mould_c

    def apart() -> float:
        off = (air_c - now.air_c) ** 2
        return off if aim_c is None else off + (mould_c - aim_c) ** 2

    t_s, nearest_s, nearest = 0.0, 0.0, apart()
    for step_s, steps in STEPS:
        keep_air = math.exp(-step_s * pull / air_j)
        keep_mould = math.exp(-step_s / model.mould_lag_s) if to_moulds else 0.0
        keep_heat = math.exp(-step_s / max(model.heater_lag_s, 1.0))
        for _ in range(steps):
            settled_c = (model.loss_w_per_k * ambient_c + to_moulds * mould_c + heat_w) / pull
            air_c = settled_c + keep_air * (air_c - settled_c)
            mould_c = air_c + keep_mould * (mould_c - air_c)
            heat_w *= keep_heat
            t_s += step_s
            if (off := apart()) < nearest:
                nearest_s, nearest = t_s, off
    return math.inf if nearest_s == t_s else nearest_s
