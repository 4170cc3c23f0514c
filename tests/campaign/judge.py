"""What became of a night, by what was true in the oven."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, field
from typing import Any

from nightcure.tick import Decision, Event, Phase
from tests.campaign.night import Moment, Plan
from tests.campaign.ovens import LAMINATE_J_PER_KG_K

#: A weld can be seen once power has flowed unasked for so long, s; a fault of what heat does once
#: so much heat was commanded.
UNASKED_S, COMMANDED_S = 60.0, 30.0
SHOWS_UNASKED = {"relay-welded"}
SHOWS_COMMANDED = {
    "heater-weak", "heater-dead", "door-minutes", "door-all-night", "sensor-out",
    "sensor-out-from-start",
}  # fmt: skip
#: Told by a warning alone; the others are told when heat stops for a reason.
WARNED_IS_TOLD = {"heater-weak", "heater-dead", "door-minutes", "door-all-night", "other-sensor"}
#: Warnings that say nothing of a fault.
BESIDE = {"late", "clock", "cure"}
RISE_K, SAFE_C = 15.0, 65.0
#: What two thermometers' errors let a trip come early by, K.
THERMOMETERS_K = 1.0
UNDER_WAY = (Phase.RAMP, Phase.SOAK, Phase.COOL)


@dataclass
class Judged:
    """One night; times s, energies kJ, temperatures °C or K. None: it did not happen."""

    index: int
    oven: str
    faults: list[str]
    kappa_k: float
    can_cut: bool
    """A contactor that is not welded, or a relay that is not, can take the power away."""
    outcome: str = "refused"
    trip: str | None = None
    said: str = ""
    over_shed_k: float = 0.0
    """The true air above the shed when the first fault came. A thermometer that falls out of a box
    as cold as the shed shows the same as before: it is one that was outside from the start."""
    shows_s: float | None = None
    """When the first fault could show."""
    told_s: float | None = None
    """From then on until the controller told, or 0 if it had."""
    off_s: float | None = None
    """From then on until heat was stopped for a reason and no power flowed."""
    after_kj: float = 0.0
    """Given from then on until the trip, the end of the night or of the heat."""
    rise_k: float = 0.0
    """Of the true hottest air from the fault on."""
    hottest_air_c: float = -math.inf
    hottest_part_c: float = -math.inf
    over_limit_s: float = 0.0
    """Power flowed with true air or part above its limit."""
    pauses_s: float = 0.0
    """Heat was kept from a night under way, its first minute aside."""
    pauses: int = 0
    whys: list[str] = field(default_factory=list)
    """The reasons for these pauses. A pulse before the first heat is none: it is how a night of a
    strong heater begins."""
    overshoot_k: float = -math.inf
    within: bool = True
    """True air and parts stayed within their limits, and no part by its own heat further above the
    true air at the control thermometer than it may be: a part that is only left behind by air
    that falls does not lie above the warmest air there was."""
    surveyed: bool = True
    """The settings' loss is within 30 % of the true one: else the oven does not answer as told."""
    mould_share: float = 1.0
    """The settings' mould capacity over the true one, with what is laid in."""
    wrong: list[str] = field(default_factory=list)
    """What must never be."""

    @property
    def safe(self) -> bool:
        return self.rise_k <= RISE_K or self.hottest_air_c < SAFE_C

    def as_json(self) -> dict[str, Any]:
        return {k: round(v, 2) if isinstance(v, float) else v for k, v in asdict(self).items()}


class Judge:
    """Looks at every moment of a night."""

    def __init__(self, plan: Plan, index: int, befell: list[tuple[str, float]]) -> None:
        self.plan, self.limits = plan, plan.oven.settings.limits
        self.highest_c = plan.profile.highest_c
        kinds = [k for k, _ in befell]
        contactor = plan.oven.settings.contactor is not None and "contactor-welded" not in kinds
        self.j = Judged(
            index, plan.oven.kind, kinds, plan.oven.truth.kappa_k,
            contactor or "relay-welded" not in kinds,
            surveyed=abs(plan.oven.settings.model.loss_w_per_k / plan.oven.truth.loss_w_per_k - 1.0)
            <= 0.3,
            mould_share=plan.oven.settings.model.mould_capacity_j_per_k
            / (plan.oven.truth.mould_j_per_k + LAMINATE_J_PER_KG_K * sum(plan.oven.laminates_kg)),
        )  # fmt: skip
        self.kind, self.at_s = befell[0] if befell else ("", 0.0)
        self.started = self.latched = False
        self.unasked_s = self.commanded_s = 0.0
        self.at_fault_c: float | None = None
        self.warmest_c = -math.inf
        """The air at the control thermometer."""
        self.paused_s = 0.0
        self.standing: set[str] = set()
        self.offs: list[tuple[float, str]] = []

    def look(self, m: Moment) -> None:
        j, limits = self.j, self.limits
        j.hottest_air_c = max(j.hottest_air_c, m.air_c)
        j.hottest_part_c = max(j.hottest_part_c, m.part_c)
        over = m.air_c > limits.air_c or m.part_c > limits.part_c
        self.warmest_c = max(self.warmest_c, m.control_c)
        hottest_c = max(m.air_c - limits.air_c, m.part_c - limits.part_c)
        own_k = m.part_c - self.warmest_c - limits.exotherm_c
        if max(hottest_c, own_k) > -THERMOMETERS_K:
            j.within = False
        if m.flows and over:
            j.over_limit_s += m.dt_s
        d = m.decision
        if d is not None:
            self._never(m.t_s, d)
            self._say(d)
        if m.t_s < self.at_s or not self.started:
            return
        if self.at_fault_c is None:
            self.at_fault_c = m.air_c
            j.over_shed_k = m.air_c - m.ambient_c
        j.rise_k = max(j.rise_k, m.air_c - self.at_fault_c)
        self._shows(m)
        if d is not None:
            self._told(m, d)
        if j.shows_s is not None and m.flows and j.trip is None:
            j.after_kj += self.plan.oven.truth.power_w * m.dt_s / 1000.0

    def _never(self, t_s: float, d: Decision) -> None:
        """What must be so at every tick, whatever is true."""
        j = self.j
        if d.heater_on and (d.trip is not None or d.phase not in UNDER_WAY):
            self._wrong(f"heat commanded while {d.phase.value}, trip {d.trip}, at {t_s:.0f} s")
        if d.heater_on and d.control_c is None:
            self._wrong(f"heat commanded without an air temperature at {t_s:.0f} s")
        if d.heater_on and d.why_off is not None:
            self._wrong(f"heat commanded against a reason at {t_s:.0f} s")
        if self.latched and d.trip is None and not any(map(_is_reset, d.events)):
            self._wrong(f"a trip was forgotten at {t_s:.0f} s")
        if d.trip is not None and not self.latched:
            said = [e for e in d.events if e.kind == "trip" and e.name == d.trip]
            if not said or not _sentence(said[0]):
                self._wrong(f"trip {d.trip} without a sentence at {t_s:.0f} s")
            elif j.trip is None:
                j.trip, j.said = d.trip, said[0].message
        self.latched = d.trip is not None

    def _wrong(self, what: str) -> None:
        if len(self.j.wrong) < 5:
            self.j.wrong.append(what)

    def _say(self, d: Decision) -> None:
        j = self.j
        for e in d.events:
            if e.kind == "night":
                self.started = self.started or e.name == "started"
                j.outcome = e.name
        if d.phase in UNDER_WAY:
            if d.control_c is not None and d.setpoint_c is not None and d.phase is not Phase.COOL:
                over_k = d.control_c - self.highest_c
                j.overshoot_k = max(j.overshoot_k, over_k)
            why = _why(d)
            if why is not None and self.started:
                if why not in j.whys:
                    j.whys.append(why)
                if self.paused_s == 0.0:
                    j.pauses += 1
                self.paused_s += 2.0
                j.pauses_s += 2.0
            else:
                self.paused_s = 0.0

    def _shows(self, m: Moment) -> None:
        """Whether the first fault can be known of yet."""
        j = self.j
        if j.shows_s is not None:
            return
        if self.kind in SHOWS_UNASKED:
            self.unasked_s += m.dt_s if m.flows and not m.relay_on else 0.0
            if self.unasked_s >= UNASKED_S:
                j.shows_s = m.t_s
        elif self.kind in SHOWS_COMMANDED:
            self.commanded_s += m.dt_s if m.relay_on else 0.0
            if self.commanded_s >= COMMANDED_S:
                j.shows_s = m.t_s
        elif self.kind == "contactor-welded":
            return
        else:
            j.shows_s = m.t_s

    def _told(self, m: Moment, d: Decision) -> None:
        j = self.j
        stopped = d.trip is not None or (d.phase in UNDER_WAY and _why(d) is not None)
        warned = any(
            e.kind in ("alarm", "trip") and e.state == "unacknowledged" and e.name not in BESIDE
            for e in d.events
        )
        told = stopped or (self.kind in WARNED_IS_TOLD and warned)
        since_s = 0.0 if j.shows_s is None else m.t_s - j.shows_s
        if told and j.told_s is None:
            j.told_s = since_s
        if stopped and j.off_s is None and not m.flows and not m.relay_on:
            j.off_s = since_s


def _is_reset(event: Event) -> bool:
    return event.kind == "command" and event.name == "reset" and event.state == "done"


def _why(d: Decision) -> str | None:
    """Why heat is kept from a night that would have it; None where it may heat, and for what is
    so at every night's beginning."""
    if d.why_off is None:
        return None
    code, fields = d.why_off
    said = " ".join((code.value, *fields.values()))
    usual = code.value in ("contactor-open", "starting", "not-armed") or "first-pulse" in said
    return None if usual else said


def _sentence(event: Event) -> bool:
    return event.message.endswith(".") and len(event.message) > 20


def judged(
    plan: Plan, index: int, befell: list[tuple[str, float]], moments: Iterator[Moment]
) -> Judged:
    """The verdict on a night."""
    judge = Judge(plan, index, befell)
    for moment in moments:
        judge.look(moment)
    judge.j.overshoot_k = max(judge.j.overshoot_k, -99.0)
    return judge.j
