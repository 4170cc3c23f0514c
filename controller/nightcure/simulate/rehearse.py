"""Rehearse a night: the real Loop against the virtual oven, in one process, as fast as it goes."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from ..loop.commands import ALL_CONFIRMED
from ..loop.loop import Loop
from ..oven.thermal import Network, network_from_model
from ..profile import Profile
from ..settings import Role, Settings
from ..tick import Command, Decision, PartCure, Phase, TickInputs
from .faults import FaultAt
from .resin import Resins
from .virtual import VirtualOven
from .zoned import ZonedOven

#: Wall time of a rehearsal's start: 20:00 UTC on a November evening.
EVENING_S = 1_763_064_000.0
#: Seconds between the points kept for a plot.
PLOT_EVERY_S = 30.0
#: A soak's parts are judged once they have had so long to even out.
EVEN_OUT_S = 7200.0
#: After a trip the oven is watched this long for power that still flows.
AFTER_TRIP_S = 30.0


@dataclass
class Figures:
    """A rehearsed night in numbers; `as_json` is what `--json` prints."""

    outcome: str = "done"
    trip: str | None = None
    overshoot_c: float | None = None
    soak_min_error_c: float | None = None
    soak_max_error_c: float | None = None
    mean_abs_error_c: float | None = None
    part_max_c: float | None = None
    part_ripple_c: float | None = None
    """Furthest any part strays from its own mean once a soak is 2 h old."""
    relay_switches: int = 0
    energy_kwh: float = 0.0
    night_s: float = 0.0
    wall_s: float = 0.0
    alarms: list[dict[str, Any]] = field(default_factory=list)
    fault_to_off_s: float | None = None
    milestones: list[dict[str, Any]] = field(default_factory=list)
    """Of every part on a resin card: `part`, `name`, `at_s`, `low_s`, `high_s` of the night."""
    heater_still_on: bool = False
    """Power still flowed after the end: only a contactor or the plug can stop a welded relay."""

    def as_json(self) -> dict[str, Any]:
        """Plain values, rounded to what they are good for."""
        return {k: round(v, 4) if isinstance(v, float) else v for k, v in vars(self).items()}


@dataclass
class Rehearsal:
    """What a rehearsal leaves: figures, events and thinned series for a plot."""

    figures: Figures
    events: list[tuple[float, str, str]]
    series: dict[str, list[float]]


class _Score:
    """Running figures of a night."""

    def __init__(self, settings: Settings, profile: Profile) -> None:
        self.parts = settings.indices(Role.PART, Role.MOULD)
        self.highest_c = profile.highest_c
        self.figures = Figures()
        self._errors = 0
        self._error_sum_c = 0.0
        self._soak_s = 0.0
        self._even: dict[tuple[int, int], list[float]] = {}

    def add(self, d: Decision, dt_s: float) -> None:
        f = self.figures
        for i in self.parts:
            part_c = d.believed[i]
            if part_c is not None and (f.part_max_c is None or part_c > f.part_max_c):
                f.part_max_c = part_c
        if d.control_c is None or d.setpoint_c is None or d.phase is Phase.COOL:
            return
        over_c = d.control_c - self.highest_c
        if f.overshoot_c is None or over_c > f.overshoot_c:
            f.overshoot_c = over_c
        error_c = d.control_c - d.setpoint_c
        self._errors += 1
        self._error_sum_c += abs(error_c)
        if d.phase is not Phase.SOAK or d.waiting:
            self._soak_s = self._soak_s if d.phase is Phase.SOAK else 0.0
            return
        self._soak_s += dt_s
        if f.soak_min_error_c is None or error_c < f.soak_min_error_c:
            f.soak_min_error_c = error_c
        if f.soak_max_error_c is None or error_c > f.soak_max_error_c:
            f.soak_max_error_c = error_c
        if self._soak_s > EVEN_OUT_S and d.segment is not None:
            for i in self.parts:
                part_c = d.believed[i]
                if part_c is not None:
                    self._even.setdefault((d.segment, i), []).append(part_c)

    def close(self) -> Figures:
        f = self.figures
        if self._errors:
            f.mean_abs_error_c = self._error_sum_c / self._errors
        for values in self._even.values():
            mean_c = sum(values) / len(values)
            stray_c = max(max(values) - mean_c, mean_c - min(values))
            f.part_ripple_c = max(f.part_ripple_c or 0.0, stray_c)
        return f


class _Series:
    """What is kept for a plot, a point every `PLOT_EVERY_S`."""

    def __init__(self, settings: Settings) -> None:
        named = (t.name for t in settings.thermometers)
        self._names = ("time_s", "setpoint_c", "duty", *named)
        self._next_s = 0.0
        self.kept: dict[str, list[float]] = {name: [] for name in self._names}

    def look(self, t_s: float, d: Decision) -> bool:
        """Whether this tick is one of the points."""
        if t_s < self._next_s:
            return False
        self._next_s += PLOT_EVERY_S
        values = (t_s, d.setpoint_c, d.duty, *d.believed)
        for name, value in zip(self._names, values, strict=True):
            self.kept[name].append(float("nan") if value is None else value)
        return True


def _night_s(faults: Sequence[FaultAt], t_s: float) -> tuple[float, float]:
    """Wall time, and for how long the ledger has taken nothing, as the faults have them (s)."""
    wall_s, silent_s = EVENING_S + t_s, 0.0
    for f in faults:
        if f.name == "clock-step" and t_s >= f.at_s:
            wall_s += 3600.0
        elif f.name == "ledger-full" and f.active(t_s):
            silent_s = t_s - f.at_s
    return wall_s, silent_s


def network_for(settings: Settings) -> Network:
    """A virtual oven for any oven.toml, from its [model] section."""
    m = settings.model
    names = tuple(settings.thermometers[i].name for i in settings.indices(Role.PART, Role.MOULD))
    return network_from_model(
        m.loss_w_per_k,
        m.air_capacity_j_per_k,
        m.mould_capacity_j_per_k,
        m.mould_lag_s,
        m.heater_lag_s,
        settings.heater.power_w,
        names or ("mould",),
    )


def rehearse(
    settings: Settings,
    profile: Profile,
    network: Network | ZonedOven,
    ambient_c: Callable[[float], float],
    faults: Sequence[FaultAt] = (),
    seed: int = 0,
    on_tick: Callable[[TickInputs, Decision], None] | None = None,
    on_progress: Callable[[float], None] | None = None,
    heat_times: float = 1.0,
) -> Rehearsal:
    """Run one night to its end or its trip.

    Args:
        network: the virtual oven, which need not be what the settings believe.
        ambient_c: °C at a time (s) of the night.
        on_tick: sees every tick's inputs and decision.
        on_progress: told the night's time (s) now and then.
        heat_times: the parts' heat of cure in the virtual oven, against what their cards say.

    Returns:
        The figures; a refused start is `outcome` "refused" with the sentence among the events.
    """
    began_s = time.perf_counter()
    loop = Loop(settings)
    oven = VirtualOven(network, settings.thermometers, ambient_c, seed, faults)
    resins = Resins(
        profile.parts, settings.thermometers, len(oven.moulds_c), heat_times, oven.nodes_per_mould
    )
    cured: tuple[PartCure, ...] = ()
    score = _Score(settings, profile)
    tick_s = settings.timing.tick_s
    events: list[tuple[float, str, str]] = []
    series = _Series(settings)
    args = {"profile": profile.model_dump(mode="json"), **ALL_CONFIRMED}
    start = Command(1, "start", args, "rehearsal")
    commands: tuple[Command, ...] = (start,)
    figures = score.figures
    t_s, tripped_s, off_s = 0.0, None, 0.0
    while True:
        wall_s, ledger_silent_s = _night_s(faults, t_s)
        inputs = TickInputs(t_s, wall_s, tuple(oven.sense(t_s)), commands, ledger_silent_s)
        d = loop.tick(inputs)
        commands = ()
        cured = d.cure or cured
        if on_tick is not None:
            on_tick(inputs, d)
        if d.events:
            told = [e for e in d.events if e.kind != "command" or e.state == "refused"]
            events += [(t_s, e.name, e.message) for e in told]
            figures.alarms += [
                {"name": e.name, "time_s": t_s}
                for e in told
                if e.kind in ("alarm", "trip") and e.state == "unacknowledged"
            ]
        if d.phase in (Phase.RAMP, Phase.SOAK, Phase.COOL):
            score.add(d, tick_s)
        if series.look(t_s, d) and on_progress is not None:
            on_progress(t_s)
        if d.phase is Phase.IDLE:
            figures.outcome = "refused"
            break
        moulds_w = resins.step(t_s, tick_s, oven.moulds_c) if profile.parts else ()
        oven.step(tick_s, d.heater_on, d.contactor_on or settings.contactor is None, moulds_w)
        if d.heater_on or d.contactor_on or oven.heating:
            off_s = t_s + tick_s
        if d.phase is Phase.DONE:
            break
        if d.phase is Phase.TRIPPED:
            tripped_s = t_s if tripped_s is None else tripped_s
            if not oven.heating or t_s - tripped_s > AFTER_TRIP_S:
                break
        t_s += tick_s
    score.close()
    figures.milestones = [{"part": c.name, **w._asdict()} for c in cured for w in c.milestones]
    if tripped_s is not None:
        figures.outcome, figures.trip = "tripped", d.trip
        first_fault_s = min((f.at_s for f in faults), default=off_s + 1.0)
        if first_fault_s <= off_s and not oven.heating:
            figures.fault_to_off_s = off_s - first_fault_s
    figures.heater_still_on = oven.heating
    figures.relay_switches = loop.switchings
    figures.energy_kwh = oven.energy_j / 3.6e6
    figures.night_s = t_s
    figures.wall_s = time.perf_counter() - began_s
    return Rehearsal(figures, events, series.kept)
