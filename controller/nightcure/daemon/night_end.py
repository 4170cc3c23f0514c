"""How long the night still lasts: a box cools as slowly as it does, whatever the profile says."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

from ..loop.loop import Loop
from ..profile import Cool, Soak
from ..settings import Role, Settings
from ..tick import Decision

#: Nothing becomes colder than the shed, and near it the law says nothing, K.
NEAREST_K = 0.5


class Left(NamedTuple):
    """Of a night, s."""

    likely_s: float
    most_s: float | None
    """Where a cure may end a soak sooner: if it does not."""


def left(settings: Settings, loop: Loop, d: Decision) -> Left | None:
    """How long the night lasts from now on, if nothing waits; None where none runs."""
    run = loop.run
    if run is None:
        return None
    more_s = _slower_s(settings, loop, d)
    most_s = run.left_s() + more_s
    ahead = run.profile.segments[run.index :]
    by_cure = any(isinstance(s, Soak) and (s.until or s.ends_on_tg) for s in ahead)
    clocks = loop.cure.clocks
    if not by_cure or clocks is None:
        return Left(most_s, None)
    ends_s = clocks.ends_s
    likely_s = most_s if ends_s is None else max(ends_s - clocks.now_s, 0.0) + more_s
    return Left(min(likely_s, most_s), most_s)


def _slower_s(settings: Settings, loop: Loop, d: Decision) -> float:
    """By how much the cool-down takes longer than its setpoint's fall."""
    run = loop.run
    assert run is not None
    last = run.profile.segments[-1]
    if not isinstance(last, Cool) or run.finished:
        return 0.0
    now = [c for c in _inside(settings, d.believed) if c is not None]
    begins_c = max([c for c in (d.control_c, *now) if c is not None], default=run.setpoint_c)
    at_c = run.setpoint_c
    if not isinstance(run.segment, Cool):
        before = run.profile.segments[-2]
        at_c = begins_c = before.at_c if isinstance(before, Soak) else run.profile.highest_c
    planned_s = max(at_c - last.below_c, 0.0) / last.rate_c_per_h * 3600.0
    model = settings.model
    ambient_c = next(
        (c for i in settings.indices(Role.AMBIENT) if (c := d.believed[i]) is not None),
        model.assumed_ambient_c,
    )
    above_k = max(last.below_c - ambient_c, NEAREST_K)
    if begins_c - ambient_c <= above_k:
        return 0.0
    tau_s = (model.air_capacity_j_per_k + model.mould_capacity_j_per_k) / model.loss_w_per_k
    return max(tau_s * math.log((begins_c - ambient_c) / above_k) - planned_s, 0.0)


def _inside(settings: Settings, believed: Sequence[float | None]) -> list[float | None]:
    return [believed[i] for i in settings.indices(Role.PART, Role.MOULD)]
