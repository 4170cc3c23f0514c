"""A rough model of an oven before anybody measured it: from its sizes, or a stated guess."""

from __future__ import annotations

from typing import NamedTuple

from ..errors import BadInput

#: The scenario's box: 1.2 x 0.6 x 0.6 m, 25 mm of foam board, 15 kg of moulds.
GUESS_W_PER_K = 3.9
GUESS_AIR_J_PER_K, GUESS_MOULD_J_PER_K = 4600.0, 22000.0
GUESS_MOULD_LAG_S, GUESS_HEATER_LAG_S = 1400.0, 230.0


class RoughModel(NamedTuple):
    """The [model] section, and where it comes from in one sentence."""

    loss_w_per_k: float
    air_capacity_j_per_k: float
    mould_capacity_j_per_k: float
    mould_lag_s: float
    heater_lag_s: float
    source: str


def guessed(loss_w_per_k: float | None) -> RoughModel:
    """With the loss somebody knows, or with that of a box like the scenario's."""
    if loss_w_per_k is None:
        loss_w_per_k = GUESS_W_PER_K
        source = "A GUESS: a box of 1.2 x 0.6 x 0.6 m of 25 mm foam board with 15 kg of moulds."
    else:
        source = "The loss as you gave it; the rest is A GUESS for 15 kg of moulds."
    return RoughModel(
        loss_w_per_k, GUESS_AIR_J_PER_K, GUESS_MOULD_J_PER_K, GUESS_MOULD_LAG_S,
        GUESS_HEATER_LAG_S, source,
    )  # fmt: skip


def can_reckon() -> bool:
    """Whether what reckons an oven from its sizes is installed (extra `planning`)."""
    from importlib.util import find_spec

    return find_spec("numpy") is not None and find_spec("scipy") is not None


def from_sizes(
    inside_m: tuple[float, float, float], board_mm: float, mould_kg: float, power_w: float
) -> RoughModel:
    """As `nightcure oven describe` would have it, for a stirred box of foam board.

    Raises:
        BadInput: sizes no box has.
    """
    from pydantic import ValidationError

    from ..errors import faults_as_sentences
    from ..oven.box_shape import cuboid
    from ..oven.description import (
        GAP_MM,
        MOULD_M2_PER_KG,
        Board,
        Description,
        Gaps,
        HeaterIn,
        MouldIn,
    )

    moulds: tuple[MouldIn, ...] = ()
    try:
        if mould_kg > 0:
            area_m2 = MOULD_M2_PER_KG * mould_kg
            moulds = (MouldIn(name="moulds", mass_kg=mould_kg, area_m2=area_m2),)
        box = Description(
            inside_m=inside_m,
            boards=(Board(thickness_m=board_mm / 1000.0),),
            gaps=Gaps(length_m=cuboid(inside_m).edges_m, width_mm=GAP_MM),
            heater=HeaterIn(power_w=power_w),
            moulds=moulds,
        )
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, "the box")) from None
    model = box.model()
    sides = " x ".join(f"{side:g}" for side in inside_m)
    return RoughModel(
        model.loss_w_per_k,
        model.air_capacity_j_per_k,
        model.mould_capacity_j_per_k,
        model.mould_lag_s,
        model.heater_lag_s,
        f"RECKONED, not measured: {sides} m, {board_mm:g} mm of board, {mould_kg:g} kg of moulds.",
    )
