"""What if: the rebuilt night with something changed, regulated by the real loop.

Kept as recorded: the commands and when they came, power cuts, what the wire found wrong with the
thermometers, and the heat flow that the oven's model does not explain (a resin's own heat is in it,
so that it does not follow a part that is warmer or colder than it was).
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

import numpy as np

from ..ledger.reader import LedgerReader
from ..loop.loop import Loop
from ..oven.arrays import Array
from ..oven.thermal import AIR, FIRST_MOULD, HEATER, step_matrices
from ..record.codec import decode_inputs
from ..record.night import Night
from ..settings import Role, Settings
from ..tick import Command, Phase, Reading, TickInputs
from .changes import DOOR_W_PER_K, Changes
from .rebuilt import Rebuilt

#: DS18B20 at 12 bit (manufacturer's data sheet), and its noise as in the virtual oven.
QUANTUM_C, NOISE_C = 0.0625, 0.03


@dataclass
class Curves:
    """A night's curves in lists of equal length, and what happened in it."""

    time_s: list[float] = field(default_factory=list)
    air_c: list[float] = field(default_factory=list)
    parts_c: dict[str, list[float]] = field(default_factory=dict)
    setpoint_c: list[float] = field(default_factory=list)
    heat: list[float] = field(default_factory=list)
    """Share of the heater's power from each point to the next."""
    phase: list[str] = field(default_factory=list)
    waiting: list[bool] = field(default_factory=list)
    outcome: str = "open"
    trip: str | None = None
    events: list[tuple[float, str]] = field(default_factory=list)
    power_w: float = 0.0


class RecordedTick(NamedTuple):
    """What is kept of a recorded tick when its readings are replaced."""

    t_s: float
    wall_s: float
    readings: tuple[Reading, ...]
    commands: tuple[Command, ...]
    resumed: bool
    stop_pressed: bool


def recorded_ticks(reader: LedgerReader, night: Night) -> Iterator[RecordedTick]:
    """Every tick of a night with its time in it."""
    for t_s, row in zip(night.time_s, reader.ticks(night.number), strict=False):
        inputs, resumed_from = decode_inputs(row.mono_s, row.wall_s, row.inputs)
        yield RecordedTick(t_s, row.wall_s, inputs.readings, inputs.commands,
                           resumed_from is not None, inputs.stop_pressed)  # fmt: skip


def recorded_curves(night: Night) -> Curves:
    """The night as it was."""

    def known(values: Sequence[float | None]) -> list[float]:
        return [float("nan") if value is None else value for value in values]

    return Curves(
        time_s=night.time_s,
        air_c=known(night.control_c),
        parts_c={
            night.thermometers[i]["name"]: known(night.thermometer_c(i))
            for i in night.indices(Role.PART, Role.MOULD)
        },
        setpoint_c=known(night.setpoint_c),
        heat=[float(on) for on in night.heater],
        phase=night.phase,
        waiting=["wait" in decision for decision in night.decision],
        outcome=night.row.outcome or "open",
        power_w=float(night.settings["heater"]["power_w"]),
    )


def what_if(
    rebuilt: Rebuilt,
    settings: Settings,
    changes: Changes,
    ticks: Iterator[RecordedTick],
    on_progress: Callable[[float], None] | None = None,
) -> Curves:
    """Run the rebuilt night again, changed.

    Args:
        settings: those of the recorded night.
        ticks: of the recorded night.
        on_progress: told the night's time (s) now and then.

    Raises:
        BadInput: the changed settings are not possible.
    """
    changed = changes.settings(settings)
    plant = _Plant(rebuilt, changed, changes)
    loop = Loop(changed)
    curves = Curves(power_w=changed.heater.power_w)
    curves.parts_c = {name: [] for name in rebuilt.parts}
    tick_s = changed.timing.tick_s
    heater_on = contactor_on = False
    t_s, started = 0.0, False
    for tick in _and_on(ticks, tick_s, changed.limits.longest_night_h * 3600.0 + 7200.0):
        plant.run(tick.t_s, heater_on and contactor_on, tick_s)
        t_s = tick.t_s
        if tick.resumed:
            state = json.loads(json.dumps(loop.snapshot()))
            loop = Loop(changed)
            loop.resume(state)
        commands = tuple(_changed(c, changes) for c in tick.commands)
        readings = plant.sense(t_s, tick.readings)
        d = loop.tick(TickInputs(t_s, tick.wall_s, readings, commands, 0.0, 0.0, tick.stop_pressed))
        heater_on, contactor_on = d.heater_on, d.contactor_on or changed.contactor is None
        _note(curves, t_s, d, plant, heater_on and contactor_on)
        if on_progress is not None and len(curves.time_s) % 500 == 0:
            on_progress(t_s)
        started = started or d.phase in (Phase.RAMP, Phase.SOAK, Phase.COOL)
        if started and d.phase in (Phase.DONE, Phase.IDLE, Phase.TRIPPED):
            break
        if not started and t_s > 60.0:
            break
    return curves


def _and_on(
    ticks: Iterator[RecordedTick], tick_s: float, longest_s: float
) -> Iterator[RecordedTick]:
    """The recorded ticks, then more of the kind until a night can be no longer."""
    last = None
    for last in ticks:
        yield last
    while last is not None and last.t_s < longest_s:
        last = RecordedTick(
            last.t_s + tick_s, last.wall_s + tick_s, last.readings, (), False, False
        )
        last = last._replace(readings=tuple(Reading(0.0, 0.0) for _ in last.readings))
        yield last


def _changed(command: Command, changes: Changes) -> Command:
    if command.word != "start" or changes.profile is None:
        return command
    args = {k: v for k, v in command.args.items() if k != "parts"}
    return command._replace(args={**args, "profile": changes.profile.model_dump(mode="json")})


def _note(curves: Curves, t_s: float, d: Any, plant: _Plant, on: bool) -> None:
    nan = float("nan")
    curves.time_s.append(t_s)
    curves.air_c.append(float(plant.state[AIR]))
    curves.setpoint_c.append(nan if d.setpoint_c is None else d.setpoint_c)
    curves.heat.append(float(on))
    curves.phase.append(d.phase.value)
    curves.waiting.append(d.waiting)
    for k, name in enumerate(plant.rebuilt.parts):
        curves.parts_c[name].append(float(plant.state[FIRST_MOULD + k]))
    curves.events += [(t_s, e.message) for e in d.events if e.kind != "command"]
    refused = [o.message for o in d.outcomes if o.outcome == "refused"]
    curves.events += [(t_s, message) for message in refused]
    for e in d.events:
        if e.kind == "night" and e.name in ("done", "stopped", "tripped"):
            curves.outcome = e.name
    if d.trip is not None:
        curves.trip = d.trip


class _Plant:
    """The changed oven, stepped exactly; its sensors by the settings."""

    def __init__(self, rebuilt: Rebuilt, settings: Settings, changes: Changes) -> None:
        self.rebuilt = rebuilt
        self._changes = changes
        self.network = changes.network(rebuilt.network)
        self._open = replace(self.network, leak_w_per_k=self.network.leak_w_per_k + DOOR_W_PER_K)
        self.state: Array = rebuilt.start_c - changes.colder_k
        self.t_s = 0.0
        self._random = np.random.default_rng(0)
        self._nodes: list[tuple[Role, int, float]] = []
        for t in settings.thermometers:
            node = {Role.AIR: AIR, Role.HEATER: HEATER}.get(t.role, -1)
            if t.role in (Role.PART, Role.MOULD):
                known = rebuilt.parts.index(t.name) if t.name in rebuilt.parts else None
                node = AIR if known is None else FIRST_MOULD + known
            self._nodes.append((t.role, node, t.offset_c))

    def run(self, until_s: float, on: bool, most_s: float) -> None:
        """Let time pass to `until_s`, the heater on for the first `most_s` of it."""
        while until_s - self.t_s > 1e-9:
            dt_s = min(until_s - self.t_s, 60.0)
            dt_s = min(dt_s, most_s) if most_s > 0 else dt_s
            door = any(d.open(self.t_s) for d in self._changes.doors)
            f, h = step_matrices(self._open if door else self.network, round(dt_s, 6))
            u = np.zeros(h.shape[1])
            u[0] = self.rebuilt.ambient_at(self.t_s) - self._changes.colder_k
            flow = self.rebuilt.flow_at(self.t_s)
            if flow is not None:
                u[1:] = flow
            u[1 + HEATER] += self.network.power_w if on and most_s > 0 else 0.0
            self.state = f @ self.state + h @ u
            self.t_s += dt_s
            most_s -= dt_s

    def sense(self, t_s: float, recorded: tuple[Reading, ...]) -> tuple[Reading, ...]:
        """What the thermometers say; what the wire found wrong with them is kept."""
        noise = self._random.normal(0.0, NOISE_C, len(self._nodes)).tolist()
        said = []
        for (role, node, offset_c), before, off_c in zip(self._nodes, recorded, noise, strict=True):
            if before.fault is not None:
                said.append(Reading(None, t_s, before.fault))
                continue
            shed_c = self.rebuilt.ambient_at(t_s) - self._changes.colder_k
            true_c = shed_c if role is Role.AMBIENT else float(self.state[node])
            value_c = round((true_c - offset_c + off_c) / QUANTUM_C) * QUANTUM_C
            said.append(Reading(value_c, t_s))
        return tuple(said)
