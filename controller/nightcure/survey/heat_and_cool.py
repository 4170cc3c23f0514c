"""The heat-and-cool test that makes an oven known, as a profile; no numerics."""

from __future__ import annotations

from typing import Any

from ..errors import BadInput
from ..settings import MARGIN_K, Limits

#: The air is brought so far above the shed, K: enough to tell a loss, little enough for any box.
RISE_K = 25.0
#: Not nearer to a limit than this, K.
BELOW_LIMIT_K = MARGIN_K + 3.0
#: The cool-down ends so far above the shed, K.
ENDS_ABOVE_K = 6.0


#: A cool-down of this length belongs to the test, s: while an oven is only heated, moulds that are
#: still cold pass for loss, and an interval that looks narrow may miss by half (tried on virtual
#: ovens, `tests.survey.test_guided`).
COOLED_S = 1800.0
#: A loss that may be off by more than this share is not known.
KNOWN_WITHIN = 0.5
#: What the night is called.
NAME = "Survey: heat and cool"


def profile_for(limits: Limits, ambient_c: float) -> dict[str, Any]:
    """The test as a profile: up as fast as the moulds may, a pause, up once more, then cool.

    Args:
        limits: of the oven; the test stays well below them.
        ambient_c: the shed now.
    """
    top_c = _top_c(limits, ambient_c)
    rate = limits.ramp_c_per_h
    # A profile knows no frost: in a colder shed the test begins and ends at 0 °C.
    top_c, middle_c, ends_c = (
        max(round(c, 1), 0.0) for c in (top_c, (top_c + ambient_c) / 2.0, ambient_c + ENDS_ABOVE_K)
    )
    return {
        "name": NAME,
        "lag_c": 10.0,
        "band_c": 10.0,
        "segments": [
            {"kind": "ramp", "to_c": middle_c, "rate_c_per_h": rate},
            {"kind": "soak", "at_c": middle_c, "hours": 0.15},
            {"kind": "ramp", "to_c": top_c, "rate_c_per_h": rate},
            {"kind": "soak", "at_c": top_c, "hours": 0.15},
            {"kind": "cool", "rate_c_per_h": rate, "below_c": ends_c},
        ],
    }


def enough(half_width: float, fallen_s: float, precision: float) -> bool:
    """Whether a test may end.

    Args:
        half_width: of the loss's 95 % interval, relative.
        fallen_s: how long the air has been falling.
        precision: wanted, relative.
    """
    return half_width <= precision and fallen_s >= COOLED_S


def _top_c(limits: Limits, ambient_c: float) -> float:
    top_c = min(ambient_c + RISE_K, limits.air_c - BELOW_LIMIT_K, limits.part_c - BELOW_LIMIT_K)
    if top_c < ambient_c + 10.0:
        raise BadInput(
            f"The limits of {min(limits.air_c, limits.part_c):g} °C leave no room for a test in a "
            f"shed of {ambient_c:.0f} °C; it needs {ambient_c + 10.0 + BELOW_LIMIT_K:.0f} °C."
        )
    return top_c
