"""Whether a night may go on after a crash or a power cut, and how long it stood still.

A controller that only started again on a running board knows the time by the board's monotonic
clock. After a power cut the wall clock tells it, where it was set both times; and the oven does, by
how far it fell. Where these contradict one another the longer time counts for safety, the shorter
for cure. Where neither can tell, the night does not go on.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, NamedTuple

from ..settings import Settings
from ..units import show_difference, show_duration
from .oven_clock import Fallen, Standstill, standstill

#: The trip of a night that may not go on, or that nobody can judge.
NOT_RESUMED = "resume-refused"
#: The wall clock may be so far behind the record before it is not believed.
BEHIND_S = 5.0
#: How long the network's time is waited for where the oven tells a likely time. Where without the
#: clock the night could not go on at all, it is waited for as long as a night may stand still.
CLOCK_WAIT_S = 300.0
#: The oven's fall is a rough clock: by it alone so many times what is allowed is borne, where it
#: may have been less than allowed.
ROUGH = 2.0


class Moment(NamedTuple):
    """The oven at a tick before the cut, or after it.

    Attributes:
        wall_known: the wall clock was set by somebody who knows the time.
        boot: the boot that `mono_s` counts from; empty where nobody said.
        air_c: None where nothing is believed.
        parts_c: every part and mould, None where not believed.
    """

    mono_s: float
    wall_s: float
    wall_known: bool
    boot: str
    air_c: float | None
    parts_c: tuple[float | None, ...]
    ambient_c: float
    ambient_known: bool
    began_c: float | None = None
    """The air as the night began; None in a snapshot of an earlier version."""


class Judged(NamedTuple):
    """What came of it. Times since the cut, s."""

    resumed: bool
    sentence: str
    away_s: float = 0.0
    cured_s: float = 0.0
    """What counts for cure."""


class _Away(NamedTuple):
    longest_s: float
    shortest_s: float
    told: str
    """`2 min 00 s`, or `about 25 min, by how far the oven fell`."""
    rough: bool = False
    """Told by the oven alone, or against the clock."""

    def too_long(self, since_s: float, allowed_s: float) -> bool:
        """Whether it stood still for longer than allowed, `since_s` of waiting aside."""
        if self.rough and self.shortest_s - since_s <= allowed_s:
            allowed_s *= ROUGH
        return self.longest_s - since_s > allowed_s


def moment(state: Sequence[Any]) -> Moment:
    """A moment as a snapshot has it."""
    m = Moment(*state)
    return m._replace(parts_c=tuple(m.parts_c))


def judge_resume(
    settings: Settings,
    cut: Moment,
    back: Moment,
    now: Moment,
    heat_w: float,
    waited_s: float,
    doubted: bool = False,
) -> Judged | None:
    """Whether to go on; None while the network's time may still settle it.

    Args:
        back: the first moment after the cut with a believed air temperature. The time up to it is
            reckoned from how far the oven cooled; the time since then is read from the board's own
            clock, since the oven cools on while the network's time is waited for.
        heat_w: mean power of the heater just before the cut.
        waited_s: since the controller started again.
        doubted: the box was open as the cut came, or looked so: the air's fall tells nothing.
    """
    timing = settings.timing
    allowed_s = timing.resume_within_min * 60.0
    fallen = None if doubted else _fallen(settings, cut, back, heat_w)
    since_s = max(now.mono_s - back.mono_s, 0.0)
    away = _away(cut, back, now, fallen)
    doubtful = away is None or away.longest_s - since_s > allowed_s
    unsettled = doubtful or (fallen is not None and fallen.high_s > allowed_s)
    may_learn = cut.wall_known and not now.wall_known and not _same_boot(cut, now)
    if unsettled and may_learn and waited_s < (allowed_s if doubtful else CLOCK_WAIT_S):
        return None
    too_long = away is not None and away.too_long(since_s, allowed_s)
    why = _why_not(settings, cut, back, away, too_long=too_long, doubted=doubted)
    if why is not None:
        return Judged(False, not_resumed(why), 0.0 if away is None else away.longest_s)
    assert away is not None
    fell = show_difference(max(_lost_k(cut, back) or 0.0, 0.0), settings.units)
    sentence = f"Resumed after {away.told}; the air fell by {fell}."
    return Judged(True, sentence, away.longest_s, away.shortest_s)


def not_resumed(why: str) -> str:
    """The sentence for a night that does not go on; `why` is a clause."""
    return f"The night was not resumed: {why}. See how far the parts are before a restart."


def _why_not(
    settings: Settings, cut: Moment, back: Moment, away: _Away | None, *, too_long: bool,
    doubted: bool,
) -> str | None:  # fmt: skip
    """The reason against going on, as a clause, or None."""
    timing = settings.timing
    if away is not None and too_long:
        allowed = f"{timing.resume_within_min:g} min"
        return f"it stood still for {away.told}, allowed are {allowed}"
    lost_k = _lost_k(cut, back)
    if lost_k is None:
        return "no believable air temperature came back"
    if lost_k > timing.resume_lost_c and not doubted:
        fell = show_difference(lost_k, settings.units)
        allowed = show_difference(timing.resume_lost_c, settings.units)
        return f"the air fell by {fell}, allowed are {allowed}"
    if away is None:
        oven = "the box was open" if doubted else "the oven is about as cold as the shed"
        return f"nobody can tell for how long it stood still, since the clock is not set and {oven}"
    return None


def _lost_k(cut: Moment, back: Moment) -> float | None:
    """How far the air fell meanwhile; None if no air temperature is believed."""
    if back.air_c is None:
        return None
    return 0.0 if cut.air_c is None else cut.air_c - back.air_c


def _same_boot(cut: Moment, now: Moment) -> bool:
    return bool(cut.boot) and cut.boot == now.boot and now.mono_s >= cut.mono_s


def _clock_s(cut: Moment, now: Moment) -> float | None:
    """The time away by the wall clock; None where it was not set, or was set back."""
    away_s = now.wall_s - cut.wall_s
    return away_s if cut.wall_known and now.wall_known and away_s >= -BEHIND_S else None


def _away(cut: Moment, back: Moment, now: Moment, fallen: Standstill | None) -> _Away | None:
    """How long it stood still, by whatever can tell; None where nothing can."""
    if _same_boot(cut, now):
        exact_s = now.mono_s - cut.mono_s
        return _Away(exact_s, exact_s, show_duration(exact_s))
    since_s = max(now.mono_s - back.mono_s, 0.0)
    clock_s = _clock_s(cut, now)
    if clock_s is not None:
        clock_s = abs(clock_s)
        told = show_duration(clock_s)
        until_s = max(clock_s - since_s, 0.0)
        if fallen is None or fallen.low_s <= until_s <= fallen.high_s:
            return _Away(clock_s, clock_s, told)
        if until_s > fallen.high_s:
            return _Away(clock_s, fallen.likely_s + since_s, told)
        oven_s = min(fallen.likely_s, max(fallen.low_s, until_s) * 2.0) + since_s
        about = f"about {show_duration(_minutes(oven_s))}, by how far the oven fell"
        return _Away(oven_s, clock_s, f"{about} (the clock says {told})", rough=True)
    if fallen is None or math.isinf(fallen.high_s):
        return None
    # A board that was off cannot have been away for less than it has been on again.
    least_s = back.mono_s if cut.boot and back.boot else 0.0
    likely_s = max(fallen.likely_s, least_s) + since_s
    about = show_duration(_minutes(likely_s)) if likely_s >= 60.0 else "a minute or less"
    told = f"about {about}, by how far the oven fell (the clock is not set)"
    return _Away(likely_s, max(fallen.low_s, least_s) + since_s, told, rough=True)


def _fallen(settings: Settings, cut: Moment, now: Moment, heat_w: float) -> Standstill | None:
    """What the oven's fall tells; None where the air is not known both times."""
    if cut.air_c is None or now.air_c is None:
        return None
    pairs = [
        (before_c, after_c)
        for before_c, after_c in zip(cut.parts_c, now.parts_c, strict=False)
        if before_c is not None and after_c is not None
    ]
    before_c = after_c = None
    if pairs:
        before_c, after_c = (sum(side) / len(pairs) for side in zip(*pairs, strict=True))
    before = Fallen(cut.air_c, before_c, cut.ambient_c, cut.ambient_known, cut.began_c)
    after = Fallen(now.air_c, after_c, now.ambient_c, now.ambient_known)
    return standstill(settings.model, before, after, heat_w)


def _minutes(duration_s: float) -> float:
    return 60.0 * round(duration_s / 60.0)
