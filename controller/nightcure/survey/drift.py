"""Drift: whether tonight's survey says another oven than the nights before, in words.

A loss that moved beyond what both intervals allow is worth a sentence; the heater's own power shows
as the rise at full power moving while loss over capacity, which cooling tells alone, stays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ..settings.oven_evidence import loss_changed
from .identified import Survey, Value
from .survey import cooling_rate, derived

#: Fewer nights before are no habit.
LEAST_NIGHTS = 1
#: A change smaller than this is not worth a word, whatever the intervals say (relative).
LEAST_CHANGE = 0.10


@dataclass(frozen=True)
class Known:
    """What one night says of its oven, as it may be kept from night to night.

    Attributes:
        loss_w_per_k: believing the heater's stated power.
        cooling_per_s: loss over heat capacity: known from the cool-down, whatever the heater gives.
    """

    loss_w_per_k: Value
    cooling_per_s: Value

    def as_json(self) -> dict[str, dict[str, float]]:
        """JSON-ready."""
        return {
            "loss_w_per_k": self.loss_w_per_k.as_json(),
            "cooling_per_s": self.cooling_per_s.as_json(),
        }

    @classmethod
    def from_json(cls, data: dict[str, Any]) -> Known:
        """What `as_json` gave."""
        return cls(Value(**data["loss_w_per_k"]), Value(**data["cooling_per_s"]))


def known(found: Survey) -> Known:
    """What is kept of a night's survey.

    Raises:
        ValueError: its heater's power is unknown.
    """
    if found.loss_w_per_k is None or found.heat_capacity_j_per_k is None:
        raise ValueError("without the heater's power there is no loss to compare.")
    return Known(found.loss_w_per_k, derived(found.fit, cooling_rate))


@dataclass(frozen=True)
class Change:
    """What moved, beyond both intervals."""

    kind: str
    """`loss` or `heater`."""
    ratio: float
    """Tonight over before."""
    sentence: str


def drift(before: Sequence[Known], tonight: Known) -> Change | None:
    """Compare tonight with the mean of the nights before; None: nothing worth a word.

    Args:
        before: earlier nights of the same oven, at least one.
        tonight: the night just over.
    """
    if len(before) < LEAST_NIGHTS:
        return None
    loss, loss_sd = _moved([n.loss_w_per_k for n in before], tonight.loss_w_per_k)
    cooling, cooling_sd = _moved([n.cooling_per_s for n in before], tonight.cooling_per_s)
    moved = abs(loss) > max(1.96 * loss_sd, math.log1p(LEAST_CHANGE))
    if not moved:
        return None
    ratio = math.exp(loss)
    since = "the night before" if len(before) == 1 else f"the {len(before)} nights before"
    # Less power with the same box looks like more loss and more capacity: cooling has not moved.
    if abs(cooling) <= max(1.96 * cooling_sd, 0.5 * abs(loss)):
        power = round(100.0 * abs(1.0 / ratio - 1.0))
        if loss > 0:
            said = (
                f"The heater gives {power} % less than {since}: look at its elements, its plug and "
                f"the mains voltage; or the moulds were that much heavier and the box leaks more."
            )
        else:
            said = f"The heater gives {power} % more than {since}: was it changed?"
        return Change("heater", 1.0 / ratio, said)
    return Change("loss", ratio, loss_changed(ratio, f"in {since}"))


def _moved(before: Sequence[Value], tonight: Value) -> tuple[float, float]:
    """Logarithm of tonight over the nights' weighted mean, and its standard deviation."""
    sds = [_sd(v) for v in before]
    weights = [1.0 / sd**2 for sd in sds]
    mean = sum(w * math.log(v.value) for w, v in zip(weights, before, strict=True)) / sum(weights)
    # Nights differ by more than their own intervals (wind, what lies inside): count that in.
    spread = sum(w * (math.log(v.value) - mean) ** 2 for w, v in zip(weights, before, strict=True))
    own = max(1.0 / sum(weights), spread / sum(weights) / max(len(before), 1))
    return math.log(tonight.value) - mean, math.sqrt(own + _sd(tonight) ** 2)


def _sd(value: Value) -> float:
    return max(math.log(value.high / value.low) / (2.0 * 1.959964), 1e-4)
