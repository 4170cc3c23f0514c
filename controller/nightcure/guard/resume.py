"""Whether a night may go on after a crash or a power cut."""

from __future__ import annotations

from ..settings import Settings
from ..units import show_difference, show_duration

#: The trip of a night that may not go on, or that nobody can judge.
NOT_RESUMED = "resume-refused"
#: The wall clock may be so far behind the record before it is not believed.
BEHIND_S = 5.0


def judge_resume(settings: Settings, away_s: float, lost_k: float | None) -> tuple[bool, str]:
    """Whether to go on, and the sentence that says so; arguments as for `why_not_resumed`."""
    why = why_not_resumed(settings, away_s, lost_k)
    if why is not None:
        return False, not_resumed(why)
    fell = show_difference(max(lost_k or 0.0, 0.0), settings.units)
    return True, f"Resumed after {show_duration(abs(away_s))}; the air fell by {fell}."


def not_resumed(why: str) -> str:
    """The sentence for a night that does not go on; `why` is a clause."""
    return f"The night was not resumed: {why}. See how far the parts are before a restart."


def why_not_resumed(settings: Settings, away_s: float, lost_k: float | None) -> str | None:
    """The reason against going on, as a clause, or None.

    Args:
        away_s: wall time since the last snapshot.
        lost_k: how far the air fell meanwhile; None if no air temperature is believed.
    """
    timing = settings.timing
    stood = show_duration(abs(away_s))
    if away_s < -BEHIND_S:
        return f"the clock is {stood} behind the record"
    if away_s > timing.resume_within_min * 60.0:
        return f"it stood still for {stood}, allowed are {timing.resume_within_min:g} min"
    if lost_k is None:
        return "no believable air temperature came back"
    if lost_k > timing.resume_lost_c:
        fell = show_difference(lost_k, settings.units)
        allowed = show_difference(timing.resume_lost_c, settings.units)
        return f"the air fell by {fell}, allowed are {allowed}"
    return None
