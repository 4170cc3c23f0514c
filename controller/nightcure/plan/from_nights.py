"""Tonight as earlier nights have shown it: the oven, and the resins of its parts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from ..settings.learned_oven import LearnedOven
from .sampling import Spreads
from .tonight import OvenFacts, Tonight


def from_nights(
    oven: LearnedOven | None, facts: OvenFacts, spreads: Spreads
) -> tuple[OvenFacts, Spreads]:
    """The oven and its spreads as earlier nights have shown them; as given where they have not.

    A mould that is heavier than the model's keeps its surface, and so lags the more.
    """
    if oven is None or not oven.nights:
        return facts, spreads
    stated = facts.mould_capacity_j_per_k
    lag_s = facts.mould_lag_s * (oven.mould_capacity_j_per_k / stated if stated else 1.0)
    known = replace(
        facts, loss_w_per_k=oven.loss_w_per_k, air_capacity_j_per_k=oven.air_capacity_j_per_k,
        mould_capacity_j_per_k=oven.mould_capacity_j_per_k, mould_lag_s=lag_s,
    )  # fmt: skip
    three = (0, 1, 2, 2)
    rows = tuple(tuple(oven.log_covariance[i][k] for k in three) for i in three)
    return known, spreads.model_copy(update={"oven_log_covariance": rows})


def as_started(night: Tonight, oven: LearnedOven | None, standing: Sequence[str] = ()) -> Tonight:
    """The night as a page starts it: it waits until gel or demould have surely come; and it is said
    what of it earlier nights have shown.

    Args:
        oven: what they have shown of the oven, if the night starts from it.
        standing: what they have shown of the parts' places, a sentence each.
    """
    notes: list[str] = []
    if oven is not None and oven.nights:
        one = oven.nights == 1
        nights = "one earlier night has" if one else f"{oven.nights} earlier nights have"
        stated = night.settings.model.loss_w_per_k
        notes.append(
            f"The oven is taken as {nights} shown it: it loses {oven.loss_w_per_k:.2g} W/K "
            f"(oven.toml: {stated:.2g} W/K)."
        )
    known = [p.part.name for p in night.parts if p.part.prior is not None]
    if known:
        notes.append(
            f"The resin of {' and '.join(known)} is taken as earlier nights, or a gel cup, have "
            f"shown it."
        )
    return replace(night, surely=True, notes=(*night.notes, *notes, *standing))
