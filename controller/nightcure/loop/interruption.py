"""A night that a crash or a power cut broke off: how it stood, and whether it goes on."""

from __future__ import annotations

from typing import Any

from ..guard.resume import Judged, Moment, judge_resume, moment
from ..settings import Settings
from ..tick import TickInputs

#: A believable air temperature is waited for so long, s.
AIR_WAIT_S = 60.0
#: The record is told how long it was where the wall clock is so far off it, s.
TELLS_FROM_S = 60.0


class Interruption:
    """The last moment before the cut, until it is judged."""

    STATE = ("pending", "cut", "night_s", "heat_w", "back_s", "back")

    def __init__(self) -> None:
        self.pending = False
        """A night was broken off, and whether it may go on is not judged yet."""
        self.cut: list[Any] = []
        """The last moment before it (`guard.resume.Moment`)."""
        self.night_s = 0.0
        """How long the night had lasted then, s."""
        self.heat_w = 0.0
        """Mean power of the heater then, W."""
        self.back_s: list[float] | None = None
        """Monotonic and wall time of the first tick after it."""
        self.back: list[Any] = []
        """The first moment after it with a believed air temperature."""

    def begin(self, cut: Moment, night_s: float, heat_w: float, running: bool) -> None:
        """The controller starts again with a night that was under way, if `running`."""
        if not self.pending:  # else it fell again before it was judged: the first fall counts
            self.cut, self.night_s, self.heat_w = list(cut), night_s, heat_w
        self.pending, self.back_s, self.back = running, None, []

    def waited_s(self, night_s: float) -> float:
        """Since the controller started again, of a night that has lasted `night_s` by ticks, s."""
        return night_s - self.night_s

    def judge(
        self, settings: Settings, inputs: TickInputs, now: Moment, doubted: bool, night_s: float
    ) -> Judged | None:
        """Whether the night goes on; None while that is not known."""
        if self.back_s is None:
            self.back_s = [inputs.mono_s, inputs.wall_s]
        waited_s = self.waited_s(night_s)
        if now.air_c is None and waited_s < AIR_WAIT_S:
            return None
        if not self.back and now.air_c is not None:
            self.back = list(now)
        back = moment(self.back) if self.back else now
        judged = judge_resume(settings, moment(self.cut), back, now, self.heat_w, waited_s, doubted)
        self.pending = judged is None
        return judged

    def longer_s(self, settings: Settings, inputs: TickInputs, away_s: float) -> float | None:
        """How much longer it stood still than a reader of the wall clock sees; None: about so."""
        assert self.back_s is not None
        mono_s, wall_s = self.back_s
        seen_s = max(wall_s - moment(self.cut).wall_s, settings.timing.tick_s)
        longer_s = away_s - seen_s - (inputs.mono_s - mono_s)
        return round(longer_s, 3) if abs(longer_s) > TELLS_FROM_S else None

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        state = {name: getattr(self, name) for name in self.STATE}
        for name in ("cut", "back"):
            state[name] = [list(v) if isinstance(v, tuple) else v for v in state[name]]
        return state

    def restore(self, state: dict[str, Any], last: Moment) -> None:
        """Go on from the loop's snapshot, taken at `last`; one of an earlier version has less."""
        if "interruption" in state:
            for name in self.STATE:
                setattr(self, name, state["interruption"].get(name, getattr(self, name)))
        elif state.get("resuming"):
            cut = last._replace(wall_s=state["resume_wall_s"])
            self.begin(cut, state["resume_night_s"], 0.0, running=True)
