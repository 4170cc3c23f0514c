"""The night's parts on their clocks: what the loop knows of cure. No I/O, no clock of its own.

Every part's clock runs on its mould's thermometer, else on the air. Once a minute the clocks are
run ahead along the rest of the profile, in an oven that does what it can.
"""

from __future__ import annotations

import copy
import math
from typing import Any

from ..cure.clock_figures import MILESTONE_WORDS, Milestone
from ..cure.cure_clock import LIKELY, CureClock, When
from ..errors import BadInput
from ..profile import Profile, Ramp, Soak, knows
from ..settings import Settings
from ..tick import Event, PartBelief, PartCure
from ..units import show_duration, show_temperature
from .belief_sentences import SAID, not_sure, surely_reached
from .beliefs import Beliefs
from .below_glass import begins, ends, glasses_of
from .cups import Cups
from .part_belief import NightBelief
from .part_clock import PartClock
from .profile_run import Glasses, Oven, ProfileRun

REPORT_S = 60.0
#: Of the heat a part may give off and of its mould's lag, what is not known.
DOUBT = 0.4
#: Steps of the look ahead, s.
AHEAD_S = 240.0
#: Steps in which a resin mixed before the night's start is brought up to it, s.
BEFORE_S = 60.0


class PartClocks:
    """The parts of a night. `advance` it every tick; `reached` and `self_heat_k` tell the loop."""

    def __init__(
        self, profile: Profile, settings: Settings, start_c: float, restored: bool = False
    ) -> None:
        """`start_c`: what a resin mixed before the start is taken to have been at until now.

        Raises:
            BadInput: a part on a thermometer that this oven has not.
        """
        names = [t.name for t in settings.thermometers]
        for part in profile.parts:
            if part.sensor is not None and part.sensor not in names:
                raise BadInput(
                    f"part '{part.name}' is on the thermometer '{part.sensor}', which this oven "
                    f"has not; take one of {', '.join(names)}."
                )
        self._settings = settings
        self._lag_s = max(settings.model.mould_lag_s, 60.0)
        self._parts = [PartClock(p, settings) for p in profile.parts]
        self.now_s = 0.0
        self._report_s = 0.0
        self._ahead: list[tuple[When, ...]] = [p.clock.whens() for p in self._parts]
        self.beliefs = Beliefs(self._parts, profile.oven is not None)
        self._temps_c: list[list[float]] = []
        """Of each part's mould along the rest of the profile, every `AHEAD_S`."""
        self._warned: list[int] = []
        self.ends_s: float | None = None
        """When the night should end, s of the night; None if it is not in sight."""
        for p in self._parts:
            steps = math.ceil(max(-p.start_s, 0.0) / BEFORE_S)
            for i in range(steps):
                dt_s = -p.start_s / steps
                stood_c = start_c if p.part.before_c is None else p.part.before_c
                p.advance(p.start_s + (i + 1) * dt_s, dt_s, stood_c, stood_c, self._lag_s)
            if p.part.before_c is not None:
                p.idle_c = None  # its mould is as warm as it is measured, from now on
            if p.part.prior is not None and not restored:
                stood_c = start_c if p.part.before_c is None else p.part.before_c
                power_w = settings.heater.power_w
                p.belief = NightBelief(p.part, p.capacity_j_per_k, power_w, stood_c)

    # ---- let time pass ----------------------------------------------------------------------

    def advance(
        self,
        dt_s: float,
        believed_c: tuple[float | None, ...],
        control_c: float | None,
        heated: bool = False,
    ) -> list[Event]:
        """Let `dt_s` pass at what is believed of the thermometers; the milestones as events.

        `heated`: the heater was on.
        """
        before_s = self.now_s
        self.now_s += dt_s
        events: list[Event] = []
        for p in self._parts:
            since_s = min(dt_s, self.now_s - p.start_s)
            if since_s <= 0.0:
                continue
            part_c = None if p.sensor is None else believed_c[p.sensor]
            if part_c is None:
                part_c = control_c if control_c is not None else p.last_c
            if part_c is None:
                continue
            around_c = part_c if control_c is None else control_c
            fresh = p.advance(self.now_s, since_s, part_c, around_c, self._lag_s)
            if p.belief is None:
                events += [self._milestone(p, name) for name in fresh]
                continue
            good = control_c is not None and p.sensor is not None
            good = good and believed_c[p.sensor or 0] is not None
            p.belief.advance(since_s, part_c, around_c, float(heated), good)
            events += surely_reached(p, fresh, self.now_s)
        if events or before_s == 0.0:
            self._report_s = self.now_s
        return events

    def away(self, dt_s: float, believed_c: tuple[float | None, ...], control_c: float) -> None:
        """Catch up with a time nobody measured, at the colder of its two ends."""
        for p in self._parts:
            now_c = None if p.sensor is None else believed_c[p.sensor]
            colder_c = min(c for c in (now_c, control_c, p.last_c) if c is not None)
            since_s = min(dt_s, self.now_s + dt_s - p.start_s)
            if since_s > 0.0:
                p.advance(self.now_s + dt_s, since_s, colder_c, colder_c, self._lag_s)
                if p.belief is not None:
                    p.belief.advance(since_s, colder_c, colder_c, 0.0, False)
        self.now_s += dt_s
        self._report_s = self.now_s

    def _milestone(self, p: PartClock, name: Milestone) -> Event:
        after_s = (p.clock.reached_s[name][LIKELY] or 0.0) - p.start_s
        message = f"{p.part.name} {SAID[name]}, {show_duration(_minute(after_s))} after mixing."
        return Event("cure", name, message)

    # ---- what the loop asks -----------------------------------------------------------------

    def reached(self, name: Milestone) -> bool:
        """Whether every part whose card tells it is past a milestone."""
        return all(p.reached(name, self.now_s) for p in self._parts if knows(p.part, name))

    def glasses(self, control_c: float) -> Glasses | None:
        """The parts' glass transition now; None where no card tells it."""
        return glasses_of(
            [(p.clock, control_c if p.last_c is None else p.last_c) for p in self._parts], control_c
        )

    def self_heat_k(self) -> dict[int, float]:
        """By thermometer: how much hotter than the air its parts' own heat may make them now, K.

        By the hottest track and `DOUBT` more, for what is not known of mould and laminate.
        A thermometer on which a card without kinetics or heat lies is left out: nobody knows.
        """
        heat: dict[int, float] = {}
        lag: dict[int, float] = {}
        for p in self._parts:
            if p.sensor is not None:
                knows_heat = p.clock.figures.self_heat is not None
                more_k = max(p.excess_k) if knows_heat else math.nan
                heat[p.sensor] = heat.get(p.sensor, 0.0) + more_k
                lag[p.sensor] = max(lag.get(p.sensor, p.lag_k), p.lag_k)
        more, less = 1.0 + DOUBT, 1.0 - DOUBT
        return {i: max(more * k + less * lag[i], 0.0) for i, k in heat.items() if not math.isnan(k)}

    @property
    def due(self) -> bool:
        """Whether it is time to look ahead and report."""
        return self.now_s >= self._report_s

    def answers(self, cups: Cups) -> tuple[list[Event], tuple[PartBelief, ...]]:
        """After a look ahead: one part whose answer is due, its sentence where there is one."""
        return self.beliefs.answers(cups, self.now_s, self._temps_c, self._ahead)

    def cup_told(self, batch: str) -> None:
        """Something was seen of a batch: its parts' answers are due."""
        if self.beliefs.cup_told(batch):
            self._report_s = self.now_s

    def report(self, run: ProfileRun | None, control_c: float, ambient_c: float) -> list[Event]:
        """Look ahead along the profile; a sentence where a soak's at-most comes too early."""
        self._report_s = self.now_s + REPORT_S
        if run is None:
            self._ahead = [p.clock.whens() for p in self._parts]
            self.ends_s = None
            return []
        return self._look_ahead(run, control_c, ambient_c)

    def parts(self) -> tuple[PartCure, ...]:
        """Every part as it is, with its milestones reached and foreseen."""
        return tuple(
            PartCure(
                p.part.name,
                p.last_c,
                _rounded(p.clock.degree(), 5),
                round(p.clock.equivalent_min, 3),
                round(max(p.excess_k[LIKELY] + p.lag_k, 0.0), 3),
                p.last_c is not None
                and p.last_c < p.clock.coldest_c
                and not p.clock.reached("gelled"),
                tuple(_merged(ahead, p.clock)),
                _rounded(p.clock.tg_c(), 2),
            )
            for p, ahead in zip(self._parts, self._ahead, strict=True)
        )

    # ---- ahead ------------------------------------------------------------------------------

    def _look_ahead(self, run: ProfileRun, control_c: float, ambient_c: float) -> list[Event]:
        s = self._settings
        hottest_c = ambient_c + 0.97 * s.heater.power_w / s.model.loss_w_per_k
        keep = math.exp(-AHEAD_S / self._lag_s)
        clocks = [p.clock.copy() for p in self._parts]
        temps_c = [control_c if p.last_c is None else p.last_c for p in self._parts]
        twin = copy.copy(run)
        now_s, horizon_s = self.now_s, self.now_s + s.limits.longest_night_h * 3600.0

        def reached(name: Milestone) -> bool:
            return all(
                c.reached(name) and (p.belief is None or now_s >= p.belief.sure_s(name))
                for c, p in zip(clocks, self._parts, strict=True)
                if knows(p.part, name)
            )

        events: list[Event] = []
        self._temps_c = [[] for _ in clocks]
        while not twin.finished and now_s < horizon_s:
            now_s += AHEAD_S
            air_c = min(twin.setpoint_c, max(hottest_c, ambient_c))
            for i, (p, clock) in enumerate(zip(self._parts, clocks, strict=True)):
                temps_c[i] = air_c + keep * (temps_c[i] - air_c)
                self._temps_c[i].append(temps_c[i])
                since_s = min(AHEAD_S, now_s - p.start_s)
                if since_s > 0.0:
                    clock.advance(now_s, since_s, temps_c[i])
            index, segment = twin.index, twin.segment
            glass = glasses_of(list(zip(clocks, temps_c, strict=True)), air_c)
            oven = Oven(air_c, min(air_c, *temps_c), max(temps_c), None, glass=glass)
            twin.advance(AHEAD_S, oven, reached)
            if not isinstance(segment, Soak) or segment.until is None or twin.index == index:
                continue
            if not reached(segment.until) and index not in self._warned:
                self._warned.append(index)
                events.extend(
                    Event("cure", "not-in-time", self.why_not(p, segment))
                    for p, clock in zip(self._parts, clocks, strict=True)
                    if knows(p.part, segment.until) and not clock.reached(segment.until)
                )
        self._ahead = [c.whens() for c in clocks]
        self.ends_s = now_s if twin.finished else None
        return events

    def why_not(self, p: PartClock, soak: Soak) -> str:
        """Why a part will not be so far within a soak, and what would do."""
        assert soak.until is not None
        s = self._settings
        at = show_temperature(soak.at_c, s.units)
        hours = show_duration(soak.hours * 3600.0)
        state = MILESTONE_WORDS[soak.until]
        what = f"{p.part.name} will not be {state} within a soak of {hours} at {at}"
        needs_s = p.clock.needs_s(soak.until, soak.at_c)
        if needs_s is None:
            why = (
                f"its card has no data below {show_temperature(p.clock.coldest_c, s.units)}, so "
                f"expect no cure"
            )
            if soak.until == "post-cured":
                why = "that is colder than any of its post-cure steps"
        else:
            why = f"it needs about {show_duration(_minute(needs_s))} there"
        highest_c = s.limits.hottest_soak_c
        card_c = None if p.part.figures is None else p.part.figures.highest_c
        highest_c = highest_c if card_c is None else min(highest_c, card_c)
        warmer_c = math.floor(soak.at_c) + 1.0
        while warmer_c <= highest_c:
            warm_s = p.clock.needs_s(soak.until, warmer_c)
            if warm_s is not None and warm_s <= soak.hours * 3600.0:
                return f"{what}: {why}; {show_temperature(warmer_c, s.units)} would do."
            warmer_c += 1.0
        return f"{what}: {why}; no temperature this oven may have would do it in that time."

    def left_over(self, segment: Soak) -> list[Event]:
        """After a soak: a sentence for each part that is not so far as it was to be."""
        if segment.until is None:
            return []
        events = []
        for p in self._parts:
            if not knows(p.part, segment.until):
                continue
            if p.clock.reached(segment.until) and not p.reached(segment.until, self.now_s):
                events.append(not_sure(p, segment.until, self.now_s))
            elif not p.clock.reached(segment.until):
                needs_s = p.clock.needs_s(segment.until, segment.at_c)
                more = "no cure is to be expected at this temperature"
                if needs_s is not None:
                    more = f"it needs about {show_duration(_minute(needs_s))} more at this warmth"
                state = MILESTONE_WORDS[segment.until]
                message = f"The soak is over and {p.part.name} is not {state}: {more}."
                events.append(Event("cure", "not-reached", message))
        return events

    def below_glass(self, profile: Profile) -> list[Event]:
        """At the start: from which glass transition a ramp below it begins."""
        return begins(self._parts, profile, self._settings.units)

    def hardened(self, segment: Soak) -> list[Event]:
        """After a soak that was to end on the glass transition: what each part has come to."""
        return ends(self._parts, segment, self._settings.units)

    def not_waited(self, segment: Ramp) -> list[Event]:
        """After a ramp that gave up its waiting: a sentence for each part it waited for."""
        return [
            Event(
                "cure",
                "not-reached",
                f"The ramp waited {show_duration(3600.0 * segment.wait_at_most_h)} for "
                f"{p.part.name} to be {MILESTONE_WORDS[segment.wait_for]} and went on without it.",
            )
            for p in self._parts
            if segment.wait_for
            and knows(p.part, segment.wait_for)
            and not p.clock.reached(segment.wait_for)
        ]

    # ---- remember ---------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready; the profile is the caller's to keep."""
        return {
            "now_s": self.now_s,
            "report_s": self._report_s,
            "ends_s": self.ends_s,
            "warned": list(self._warned),
            "ahead": [[list(w) for w in whens] for whens in self._ahead],
            "parts": [
                [p.clock.snapshot(), *(copy.copy(getattr(p, name)) for name in PartClock.STATE)]
                for p in self._parts
            ],
            "beliefs": [None if p.belief is None else p.belief.snapshot() for p in self._parts],
        }

    @classmethod
    def restore(cls, profile: Profile, settings: Settings, state: dict[str, Any]) -> PartClocks:
        """The clocks that `snapshot` was taken from."""
        clocks = cls(profile, settings, 0.0, restored=True)
        clocks.now_s, clocks._report_s = state["now_s"], state["report_s"]
        clocks.ends_s, clocks._warned = state["ends_s"], list(state["warned"])
        clocks._ahead = [tuple(When(*w) for w in whens) for whens in state["ahead"]]
        for p, (clock, *values) in zip(clocks._parts, state["parts"], strict=True):
            p.clock.restore(clock)
            for name, value in zip(PartClock.STATE, values, strict=True):
                setattr(p, name, list(value) if isinstance(value, list) else value)
        beliefs = state.get("beliefs") or [None] * len(clocks._parts)
        for p, belief in zip(clocks._parts, beliefs, strict=True):
            if belief is not None:
                power_w = settings.heater.power_w
                p.belief = NightBelief.restore(p.part, p.capacity_j_per_k, power_w, belief)
        return clocks


def _merged(ahead: tuple[When, ...], clock: CureClock) -> list[When]:
    """What was foreseen, with what has been reached since in its place."""
    known = {w.name: w for w in clock.whens()}
    result = []
    for w in ahead:
        now = known.get(w.name, w)
        times = [n if n is not None else a for n, a in zip(now[1:], w[1:], strict=True)]
        result.append(When(w.name, *(_rounded(t, 1) for t in times)))
    return result


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _minute(duration_s: float) -> float:
    return 60.0 * round(duration_s / 60.0)
