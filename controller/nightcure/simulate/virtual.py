"""The virtual oven: a thermal model with sensors, a relay and faults, stepped in time.

Deterministic for a seed. It knows nothing of how it is watched: `rehearse` takes its readings
directly, the demo puts them on a 1-Wire-like tree and watches the heater's pin.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Callable, Sequence
from typing import NamedTuple

import numpy as np

from ..oven.thermal import Array, Network
from ..settings import Role, Thermometer
from ..tick import Fault, Reading
from .body import Body, Held
from .faults import FaultAt
from .lumped import LumpedOven
from .zoned import ZonedBody, ZonedOven

#: Noise is drawn in blocks of so many readings.
BLOCK = 4096

#: DS18B20 at 12 bit (manufacturer's data sheet).
QUANTUM_C = 0.0625
#: Its noise, one standard deviation; sensors differ within the range (from memory).
NOISE_C = 0.03
NOISE_RANGE_C = (0.003, 0.06)
#: A probe's own time constant in moving air and bonded to a part (common practice, no source).
AIR_PROBE_S, PART_PROBE_S = 15.0, 30.0

WIRE_FAULTS = {"sensor-missing": Fault.MISSING, "sensor-crc": Fault.CRC}


class Probe(NamedTuple):
    """One thermometer at its place: lag, noise, error and delay."""

    lag_s: float
    noise_c: float = NOISE_C
    error_c: float = 0.0
    """What it shows too much, beside the offset that its settings correct."""
    delay_s: float = 0.0


def usual_probes(thermometers: Sequence[Thermometer]) -> list[Probe]:
    """Probes alike but for what they hang in."""
    bonded = Role.PART, Role.MOULD
    return [Probe(PART_PROBE_S if t.role in bonded else AIR_PROBE_S) for t in thermometers]


class VirtualOven:
    """An oven in software.

    Args:
        network: the oven: the survey's network, or one of another structure.
        thermometers: as in the settings; the first air sensor is the control sensor, part and
            mould sensors sit on the moulds in turn.
        ambient_c: °C of the shed at a time (s) of the night.
        seed: of the sensors' noise.
        faults: switched on at their times.
        start_c: every node's temperature at first; the ambient's if None.
        probes: how each thermometer sees; all alike if None.
    """

    def __init__(
        self,
        network: Network | ZonedOven,
        thermometers: Sequence[Thermometer],
        ambient_c: Callable[[float], float],
        seed: int = 0,
        faults: Sequence[FaultAt] = (),
        start_c: float | None = None,
        probes: Sequence[Probe] | None = None,
    ) -> None:
        self.body: Body = (
            ZonedBody(network) if isinstance(network, ZonedOven) else LumpedOven(network)
        )
        self.ambient_at = ambient_c
        self.faults = tuple(faults)
        self.t_s = 0.0
        self.energy_j = 0.0
        first_c = ambient_c(0.0) if start_c is None else start_c
        self.body.state_c = np.full(len(self.body.state_c), first_c)
        self._points_c = self.body.points_c()
        """As they are now; reckoned once a step, for all who look."""
        self._probes = tuple(usual_probes(thermometers) if probes is None else probes)
        self._random = np.random.default_rng(seed)
        self._noise: list[list[float]] = []
        self._places: list[int | None] = []
        """Where each thermometer is; None: in the shed."""
        self._offsets_c: list[float] = []
        counted: dict[Role, int] = {}
        for t, probe in zip(thermometers, self._probes, strict=True):
            kind = Role.PART if t.role is Role.MOULD else t.role
            number = counted[kind] = counted.get(kind, -1) + 1
            shed = t.role is Role.AMBIENT
            self._places.append(None if shed else self.body.place(t.role, number))
            self._offsets_c.append(t.offset_c - probe.error_c)
        self._control = next(i for i, t in enumerate(thermometers) if t.role is Role.AIR)
        self._probes_c = [first_c] * len(self._places)
        self._late = {
            i: deque([(-math.inf, first_c)]) for i, p in enumerate(self._probes) if p.delay_s
        }
        """Of every probe that shows late: when and what it will have shown, °C, oldest first."""
        self._keeps: dict[float, list[float]] = {}
        self._frozen_c: dict[int, float | None] = {}
        self.heating = False
        """Whether power flows into the heater."""

    @property
    def state_c(self) -> Array:
        """Temperature of every node, °C; set as a whole."""
        return self.body.state_c

    @state_c.setter
    def state_c(self, value: Array) -> None:
        self.body.state_c = value
        self._points_c = self.body.points_c()

    @property
    def moulds_c(self) -> list[float]:
        """Temperature of every place where a part may lie."""
        return [self._points_c[node] for node in self.body.parts]

    @property
    def air_c(self) -> float:
        """The hottest air, °C."""
        return max(self._points_c[self.body.air])

    @property
    def heater_c(self) -> float:
        """The heater's body, °C."""
        return self._points_c[0]

    @property
    def nodes_per_mould(self) -> int:
        """How many of `moulds_c` belong to one mould."""
        return self.body.nodes_per_mould

    @property
    def control_c(self) -> float:
        """What a perfect thermometer in the control sensor's place would show."""
        return self._points_c[self._places[self._control] or 0]

    def ambient_c(self) -> float:
        """The shed's temperature now, faults included."""
        drop_k = 0.0
        for f in self.faults:
            if f.name == "ambient-drop" and f.active(self.t_s):
                drop_k = min(50.0, (self.t_s - f.at_s) / 3600.0 * 50.0)
        return self.ambient_at(self.t_s) - drop_k

    def active(self) -> set[str]:
        """Names of the faults that are on now."""
        return {f.name for f in self.faults if f.active(self.t_s)} if self.faults else set()

    def _active(self) -> dict[str, FaultAt]:
        return {f.name: f for f in self.faults if f.active(self.t_s)} if self.faults else {}

    def step(
        self,
        dt_s: float,
        heater_on: bool,
        contactor_on: bool = True,
        moulds_w: Sequence[float] = (),
        fan_on: bool = True,
    ) -> None:
        """Let `dt_s` pass with relay, contactor and fan as commanded.

        `moulds_w`: the heat (W) that what lies in each place of `moulds_c` gives off, if anything.
        """
        on = self._active()
        closed = (heater_on or "relay-welded" in on) and "relay-stuck-open" not in on
        self.heating = closed and (contactor_on or "contactor-welded" in on)
        power_w = 0.0
        if self.heating:
            weak = on.get("heater-weak")
            power_w = self.body.power_w * (1.0 if weak is None else weak.sized(0.2))
        ambient_c = self.ambient_c() if on else self.ambient_at(self.t_s)
        if "exotherm" in on:
            moulds_w = self._with_exotherm(on["exotherm"].sized(400.0), moulds_w)
        self.energy_j += power_w * dt_s
        door_w_per_k = on["door-open"].sized(60.0) if "door-open" in on else 0.0
        held = Held(power_w, ambient_c, moulds_w, door_w_per_k, fan_on)
        self.body.step(dt_s, held)
        self.t_s += dt_s
        keeps = self._keeps.get(dt_s)
        if keeps is None:
            keeps = [math.exp(-dt_s / p.lag_s) for p in self._probes]
            self._keeps[dt_s] = keeps
        points_c = self._points_c = self.body.points_c()
        probes_c = self._probes_c
        out = None
        if "sensor-out-of-box" in on:
            out = on["sensor-out-of-box"].at_sensor(self._control)
        for i, (place, keep) in enumerate(zip(self._places, keeps, strict=True)):
            target_c = ambient_c if place is None or i == out else points_c[place]
            probes_c[i] = target_c + keep * (probes_c[i] - target_c)
        for i, late in self._late.items():
            late.append((self.t_s, probes_c[i]))
            seen_s = self.t_s - self._probes[i].delay_s
            while len(late) > 1 and late[1][0] <= seen_s:
                late.popleft()

    def _with_exotherm(self, more_w: float, moulds_w: Sequence[float]) -> Sequence[float]:
        """Heat of the parts with `more_w` on the first mould."""
        places = len(self.body.parts)
        heat_w = [*moulds_w, *[0.0] * (places - len(moulds_w))]
        for i in range(min(self.body.nodes_per_mould, places)):
            heat_w[i] += more_w / self.body.nodes_per_mould
        return heat_w

    def sense(self, now_s: float | None = None) -> list[Reading]:
        """What every probe says now, in the thermometers' order, quantised.

        `now_s`: the board's time; the oven's own if None.
        """
        taken_s = self.t_s if now_s is None else now_s
        if not self._noise:
            drawn = self._random.standard_normal((BLOCK, len(self._places)))
            self._noise = (drawn * [p.noise_c for p in self._probes]).tolist()
        noise_c = self._noise.pop()
        shown_c = [c - o for c, o in zip(self._probes_c, self._offsets_c, strict=True)]
        for i, late in self._late.items():
            shown_c[i] = late[0][1] - self._offsets_c[i]
        on = self._active()
        if on:
            self._disturb(on, shown_c, noise_c)
        said = [
            Reading(round((c + n) / QUANTUM_C) * QUANTUM_C, taken_s)
            for c, n in zip(shown_c, noise_c, strict=True)
        ]
        if on:
            self._silence(on, said)
        else:
            self._frozen_c.clear()
        return said

    def _disturb(self, on: dict[str, FaultAt], shown_c: list[float], noise_c: list[float]) -> None:
        """Faults of what a sensor sees."""
        for name, f in on.items():
            k = f.at_sensor(self._control)
            if name == "sensor-jump":
                shown_c[k] += f.sized(-10.0)
            elif name == "sensor-drift":
                shown_c[k] += f.sized(-5.0) * (self.t_s - f.at_s) / 3600.0
            elif name == "sensor-noisy":
                noise_c[k] *= f.sized(2.0) / self._probes[k].noise_c
            elif name == "sensors-swapped" and len(shown_c) > 1:
                other = (k + 1) % len(shown_c)
                shown_c[k], shown_c[other] = shown_c[other], shown_c[k]

    def _silence(self, on: dict[str, FaultAt], said: list[Reading]) -> None:
        """Faults of what a sensor puts on the wire."""
        for name, f in on.items():
            k = f.at_sensor(self._control)
            if name in WIRE_FAULTS:
                said[k] = said[k]._replace(value_c=None, fault=WIRE_FAULTS[name])
            elif name == "sensor-power-on-85":
                said[k] = said[k]._replace(value_c=85.0, fault=None)
            elif name == "sensor-frozen":
                value_c = self._frozen_c.setdefault(k, said[k].value_c)
                said[k] = said[k]._replace(value_c=value_c, fault=None)
        if "sensor-frozen" not in on:
            self._frozen_c.clear()
