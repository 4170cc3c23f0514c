"""How the loop follows the cure of the night's parts; without parts there is nothing to follow."""

from __future__ import annotations

from typing import Any

from ..cure.clock_figures import Milestone
from ..measure.screening import Screened
from ..profile import Profile, Ramp, Soak
from ..settings import Settings
from ..tick import Event, Evidence, PartBelief, PartCure
from .cups import Cups
from .cure_notes import heat_notes, known_notes, vapour_note
from .oven_learning import if_it_can_be_reckoned
from .part_clocks import PartClocks
from .profile_run import Glasses, ProfileRun


class CureTracking:
    """The parts' clocks of a night, None where no part has a resin card."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self.clocks: PartClocks | None = None
        self._profile: Profile | None = None
        self._last: tuple[PartCure, ...] = ()
        self.cups = Cups(settings)
        self.beliefs: tuple[PartBelief, ...] = ()
        """Of the part whose answer was reckoned at this tick."""
        self._evidence: list[Evidence] = []

    def prepare(self, profile: Profile, control_c: float) -> PartClocks | None:
        """The clocks of a profile's parts. Raises BadInput where one cannot sit in this oven."""
        return PartClocks(profile, self._settings, control_c) if profile.parts else None

    def begin(self, profile: Profile, clocks: PartClocks | None) -> list[Event]:
        """A night starts."""
        self.clocks, self._profile = clocks, profile
        sights = [] if clocks is None else clocks.beliefs.sights() + clocks.below_glass(profile)
        return vapour_note(profile) + heat_notes(profile) + known_notes(profile) + sights

    def changed(self, profile: Profile) -> None:
        """The night goes on with other numbers in a segment; its parts are the same."""
        if self._profile is not None:
            self._profile = profile

    def end(self) -> list[Event]:
        """Nobody's cure is followed any more; this tick still reports how far the parts came."""
        clocks, self.clocks, self._profile = self.clocks, None, None
        self._last = () if clocks is None else clocks.parts()
        if clocks is None:
            return []
        nothing: list[Evidence] = []
        found, notes = if_it_can_be_reckoned(lambda: clocks.beliefs.evidence(self.cups), nothing)
        self._evidence += found
        return notes

    def cup(self, args: dict[str, Any], believed_c: tuple[float | None, ...]) -> str:
        """Somebody tells something of a gel cup. Raises BadInput."""
        said = self.cups.told(args, believed_c)
        if self.clocks is not None:
            for batch in self.cups.fresh_batches():
                self.clocks.cup_told(batch)
        return said

    def evidence(self) -> tuple[Evidence, ...]:
        """What was seen of batches since last asked."""
        found = (*self.cups.taken(), *self._evidence)
        self._evidence = []
        return found

    def heat_k(self) -> dict[int, float]:
        """By thermometer, how much hotter its parts' own heat should make them now."""
        return {} if self.clocks is None else self.clocks.self_heat_k()

    def reached(self, name: Milestone) -> bool:
        """Whether every part whose card tells it is past a milestone."""
        return self.clocks is not None and self.clocks.reached(name)

    def glasses(self, control_c: float) -> Glasses | None:
        """The parts' glass transition now; None where no card tells it."""
        return None if self.clocks is None else self.clocks.glasses(control_c)

    def advance(
        self, gap_s: float, screened: Screened, events: list[Event], heated: bool = False
    ) -> None:
        """A tick: the resins know nothing of late ones and cure for as long as it really was."""
        believed_c = screened.believed_c
        self.cups.advance(gap_s, believed_c, events)
        if self.clocks is not None:
            events.extend(self.clocks.advance(gap_s, believed_c, screened.control_c, heated))

    def away(self, away_s: float, screened: Screened) -> None:
        """Back after a power cut of `away_s`."""
        if self.clocks is not None and screened.control_c is not None:
            self.clocks.away(away_s, screened.believed_c, screened.control_c)

    def soaked(self, segment: Any, events: list[Event]) -> None:
        """A segment is over; say it where a part is not so far as the soak was for."""
        if self.clocks is not None and isinstance(segment, Soak):
            events.extend(self.clocks.left_over(segment))
            events.extend(self.clocks.hardened(segment))
        if self.clocks is not None and isinstance(segment, Ramp) and segment.wait_for:
            events.extend(self.clocks.not_waited(segment))

    def report(
        self, run: ProfileRun | None, control_c: float | None, ambient_c: float, events: list[Event]
    ) -> tuple[PartCure, ...]:
        """Once a minute: every part's cure now and along the rest of the profile."""
        last, self._last = self._last, ()
        self.beliefs = ()
        if self.clocks is None or control_c is None or not self.clocks.due:
            return last
        events.extend(self.clocks.report(run, control_c, ambient_c))
        if run is not None:
            told, self.beliefs = self.clocks.answers(self.cups)
            events.extend(told)
        return self.clocks.parts()

    def snapshot(self, running: bool) -> dict[str, Any] | None:
        """All state; while the night runs, its profile is in the run's own snapshot."""
        if self.clocks is None or self._profile is None:
            return None
        of = None if running else self._profile.model_dump(mode="json")
        return {**self.clocks.snapshot(), "profile": of}

    def restore(self, state: dict[str, Any] | None, run: ProfileRun | None) -> None:
        """Go on from a snapshot, `run` restored before."""
        self.clocks, self._profile, self._last = None, None, ()
        if state is not None:
            of = Profile.model_validate(state["profile"]) if run is None else run.profile
            self._profile = of
            self.clocks = PartClocks.restore(of, self._settings, state)
