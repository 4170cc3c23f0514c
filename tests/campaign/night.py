"""One night of the real loop on a drawn oven, with what befalls it: faults, cuts, stalls, people.

What happens to the heater is the plant's; the daemon's part (snapshots every ten seconds and with
every event, the dead-man, the clock after a cut) is played here as the daemon has it.
"""

from __future__ import annotations

import json
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from nightcure.cure.part import Part
from nightcure.loop.commands import ALL_CONFIRMED
from nightcure.loop.loop import Loop
from nightcure.profile import Profile
from nightcure.settings import Role, Thermometer
from nightcure.simulate.faults import FaultAt
from nightcure.simulate.resin import Resins
from nightcure.simulate.virtual import VirtualOven
from nightcure.tick import Command, Decision, Phase, TickInputs
from tests.campaign.ovens import DrawnOven

EVENING_S = 1_763_064_000.0
SNAPSHOT_EVERY_S = 10.0
#: From the mains' return to the first tick.
BOOT_S = 40.0
#: Names of the moulds, for what cures in them.
MOULDS = tuple(Thermometer(id=f"28-{i:012x}", role=Role.MOULD, name=f"mould {i}") for i in (1, 2))
#: Phases in which nothing more is to come.
OVER = (Phase.DONE, Phase.IDLE, Phase.TRIPPED)
#: Watched after a trip: what flows then is told by itself.
AFTER_TRIP_S = 600.0


class Cut(NamedTuple):
    """The mains fail.

    `clock`: right (a battery), late (set right some minutes after), wrong (it goes on from the last
    time that was saved).
    """

    at_s: float
    for_s: float
    clock: str
    saved_s_ago: float = 0.0
    set_right_s: float = math.inf
    """After the boot."""


class Stall(NamedTuple):
    """No tick for so long; the dead-man is at work."""

    at_s: float
    for_s: float


class Asked(NamedTuple):
    """Somebody asks for something."""

    at_s: float
    word: str
    args: dict[str, Any]


class Silence(NamedTuple):
    """The ledger takes nothing, and may give no commands either (removed)."""

    at_s: float
    for_s: float
    no_inbox: bool


@dataclass(frozen=True)
class Plan:
    """A night as it was drawn."""

    oven: DrawnOven
    profile: Profile
    ambient_c: Callable[[float], float]
    start_c: float
    seed: int
    most_s: float
    faults: tuple[FaultAt, ...] = ()
    cuts: tuple[Cut, ...] = ()
    stalls: tuple[Stall, ...] = ()
    silences: tuple[Silence, ...] = ()
    clock_steps: tuple[tuple[float, float], ...] = ()
    """When, and by how much (s)."""
    asked: tuple[Asked, ...] = ()
    resin: tuple[Part, ...] = ()
    """What cures in the oven, on the card or not."""
    heat_times: float = 1.0


@dataclass(slots=True)
class Moment:
    """What was true over one step, and what the controller said if it ticked."""

    t_s: float
    dt_s: float
    decision: Decision | None
    relay_on: bool
    contactor_on: bool
    flows: bool
    air_c: float
    part_c: float
    heater_c: float
    control_c: float
    ambient_c: float


@dataclass
class Controller:
    """The controller's memory across restarts, as far as the ledger keeps it."""

    plan: Plan
    loop: Loop = field(init=False)
    state: str | None = None
    at_s: float = -math.inf

    def __post_init__(self) -> None:
        self.loop = Loop(self.plan.oven.settings)

    def keep(self, t_s: float, events: bool) -> None:
        """The daemon's snapshot, of which only the last one before a cut is ever read."""
        if events or t_s - self.at_s >= SNAPSHOT_EVERY_S:
            self.at_s = t_s
            latest_s = t_s + SNAPSHOT_EVERY_S + sum(s.for_s for s in self.plan.stalls)
            if any(t_s < cut.at_s <= latest_s for cut in self.plan.cuts):
                self.state = json.dumps(self.loop.snapshot())

    def start_again(self) -> None:
        """A new process finds what the last one left."""
        self.loop = Loop(self.plan.oven.settings)
        if self.state is not None:
            self.loop.resume(json.loads(self.state))


def moments(plan: Plan, tick_s: float = 2.0) -> Iterator[Moment]:
    """Every step of the night until it is over and whatever it leaves is seen."""
    oven_drawn, settings = plan.oven, plan.oven.settings
    oven = VirtualOven(
        oven_drawn.plant, settings.thermometers, plan.ambient_c, plan.seed, plan.faults,
        plan.start_c, oven_drawn.probes,
    )  # fmt: skip
    resins = Resins(plan.resin, MOULDS, len(oven.moulds_c), plan.heat_times, oven.nodes_per_mould)
    controller = Controller(plan)
    fan_fitted = settings.fan is not None
    arguments = {"profile": plan.profile.model_dump(mode="json"), **ALL_CONFIRMED}
    waiting = [Asked(0.0, "start", arguments), *sorted(plan.asked, key=lambda a: a.at_s)]
    boots: list[tuple[float, float, Cut | None]] = [(0.0, 0.0, None)]
    """Oven time and wall error of every boot."""
    d: Decision | None = None
    number, t_s, ended_s, last_tick_s, cured_s = 0, 0.0, None, 0.0, 0.0
    moulds_w: Sequence[float] = ()
    off_until_s, powerless, first = 0.0, False, True
    cuts = list(plan.cuts)
    while t_s < plan.most_s:
        if cuts and t_s >= cuts[0].at_s:
            cut = cuts.pop(0)
            off_until_s, powerless = t_s + cut.for_s + BOOT_S, True
            boots.append((off_until_s, _wall_error_s(cut, t_s), cut))
        if powerless and t_s >= off_until_s:
            controller.start_again()
            powerless, first = False, True
        stalled = any(s.at_s <= t_s < s.at_s + s.for_s for s in plan.stalls)
        ticked = None
        if not powerless and not stalled:
            commands = []
            while waiting and waiting[0].at_s <= t_s:
                number += 1
                a = waiting.pop(0)
                commands.append(Command(number, a.word, a.args, "somebody"))
            inputs = _inputs(plan, t_s, boots[-1], oven, tuple(commands), first)
            first = False
            ticked = d = controller.loop.tick(inputs)
            last_tick_s = t_s
            if plan.cuts:
                controller.keep(t_s, bool(d.events))
        alive = d is not None and not powerless
        alive &= t_s - last_tick_s < settings.timing.dead_man_s
        relay = alive and d is not None and d.heater_on
        contactor = alive and d is not None and d.contactor_on
        if plan.resin and t_s >= cured_s:
            moulds_w = resins.step(cured_s, 10.0, oven.moulds_c)
            cured_s += 10.0
        mains = not powerless or t_s >= off_until_s - BOOT_S
        air_c, parts_c = oven.air_c, oven.moulds_c
        moment = Moment(
            t_s, tick_s, ticked, relay, contactor, False, air_c,
            max(parts_c) if parts_c else air_c, oven.heater_c, oven.control_c,
            oven.ambient_at(t_s),
        )  # fmt: skip
        closed = (contactor or settings.contactor is None) and mains
        fan = fan_fitted and alive and d is not None and d.fan_on
        before_w = oven.body.power_w
        if not mains:
            oven.body.power_w = 0.0
        oven.step(tick_s, relay, closed, moulds_w, fan)
        oven.body.power_w = before_w
        moment.flows = oven.heating and mains
        yield moment
        t_s += tick_s
        if d is not None and not powerless and not waiting:
            ended_s = None if d.phase not in OVER else t_s if ended_s is None else ended_s
            if ended_s is not None and t_s - ended_s > AFTER_TRIP_S:
                return


def _wall_error_s(cut: Cut, t_s: float) -> float:
    """How far the board's clock is behind as it boots."""
    return 0.0 if cut.clock == "right" else cut.for_s + BOOT_S + cut.saved_s_ago


def _inputs(
    plan: Plan,
    t_s: float,
    boot: tuple[float, float, Cut | None],
    oven: VirtualOven,
    commands: tuple[Command, ...],
    first: bool,
) -> TickInputs:
    booted_s, behind_s, cut = boot
    up_s = t_s - booted_s
    mono_s = round(up_s + (BOOT_S if cut is not None else 0.0), 3)
    wall_s = EVENING_S + t_s
    known = cut is None or up_s >= cut.set_right_s
    if not known:
        wall_s -= behind_s
    wall_s += sum([by_s for at_s, by_s in plan.clock_steps if t_s >= at_s])
    silent_s = inbox_s = 0.0
    for s in plan.silences:
        if s.at_s <= t_s < s.at_s + s.for_s:
            silent_s = t_s - s.at_s
            inbox_s = silent_s if s.no_inbox else 0.0
    return TickInputs(
        mono_s, wall_s, tuple(oven.sense(mono_s)), commands, silent_s, inbox_s,
        ledger_gone=inbox_s > 0.0, wall_known=known, boot=f"boot {booted_s}" if first else "",
    )  # fmt: skip
