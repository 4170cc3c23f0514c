"""The virtual oven: the thermal network with sensors, a relay and faults, stepped in time.

Deterministic for a seed. It knows nothing of how it is watched: `rehearse` takes its readings
directly, the demo puts them on a 1-Wire-like tree and watches the heater's pin.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np

from ..oven.thermal import AIR, FIRST_MOULD, HEATER, Array, Network, step_matrices
from ..settings import Role, Thermometer
from ..tick import Fault
from .faults import FaultAt

#: Noise is drawn in blocks of so many readings.
BLOCK = 4096

#: DS18B20 at 12 bit (manufacturer's data sheet).
QUANTUM_C = 0.0625
NOISE_C = 0.03
#: A probe's own time constant in moving air and bonded to a part (common practice, no source).
AIR_PROBE_S, PART_PROBE_S = 15.0, 30.0

WIRE_FAULTS = {"sensor-missing": Fault.MISSING, "sensor-crc": Fault.CRC}


class Sensed(NamedTuple):
    """What one probe puts on the wire: a quantised value (None: nothing) and what is wrong."""

    value_c: float | None
    fault: Fault | None = None


class VirtualOven:
    """An oven in software.

    Args:
        network: the oven.
        thermometers: as in the settings; the first air sensor is the control sensor, part and
            mould sensors sit on the moulds in turn.
        ambient_c: °C of the shed at a time (s) of the night.
        seed: of the sensors' noise.
        faults: switched on at their times.
        start_c: every node's temperature at first; the ambient's if None.
    """

    def __init__(
        self,
        network: Network,
        thermometers: Sequence[Thermometer],
        ambient_c: Callable[[float], float],
        seed: int = 0,
        faults: Sequence[FaultAt] = (),
        start_c: float | None = None,
    ) -> None:
        self.network = network
        self.ambient_at = ambient_c
        self.faults = tuple(faults)
        self.t_s = 0.0
        self.energy_j = 0.0
        self._open = replace(network, leak_w_per_k=network.leak_w_per_k + 60.0)
        first_c = ambient_c(0.0) if start_c is None else start_c
        self.state_c: Array = np.full(len(network.capacities), first_c)
        self._inputs = np.zeros(1 + len(self.state_c))
        self._moulds = slice(FIRST_MOULD, FIRST_MOULD + len(network.moulds))
        self._steps: dict[tuple[bool, float], tuple[Array, Array, float, float]] = {}
        self._random = np.random.default_rng(seed)
        self._noise: list[list[float]] = []
        self._nodes: list[int] = []
        self._offsets_c: list[float] = []
        moulds = 0
        for t in thermometers:
            if t.role is Role.AIR:
                self._nodes.append(AIR)
            elif t.role is Role.HEATER:
                self._nodes.append(HEATER)
            elif t.role is Role.AMBIENT:
                self._nodes.append(-1)
            else:
                on_mould = FIRST_MOULD + moulds % max(len(network.moulds), 1)
                self._nodes.append(on_mould if network.moulds else AIR)
                moulds += 1
            self._offsets_c.append(t.offset_c)
        self._control = self._nodes.index(AIR)
        self._probes_c = [first_c] * len(self._nodes)
        self._frozen_c: float | None = None
        self.heating = False
        """Whether power flows into the heater."""

    def ambient_c(self) -> float:
        """The shed's temperature now, faults included."""
        drop_k = 0.0
        for f in self.faults:
            if f.name == "ambient-drop" and f.active(self.t_s):
                drop_k = min(50.0, (self.t_s - f.at_s) / 3600.0 * 50.0)
        return self.ambient_at(self.t_s) - drop_k

    @property
    def moulds_c(self) -> list[float]:
        """Temperature of every mould with its part."""
        moulds_c: list[float] = self.state_c[self._moulds].tolist()
        return moulds_c

    def active(self) -> set[str]:
        """Names of the faults that are on now."""
        return {f.name for f in self.faults if f.active(self.t_s)} if self.faults else set()

    def step(
        self,
        dt_s: float,
        heater_on: bool,
        contactor_on: bool = True,
        moulds_w: Sequence[float] = (),
    ) -> None:
        """Let `dt_s` pass with the relay and the contactor as commanded.

        `moulds_w`: the heat (W) that what lies in each mould gives off, if anything.
        """
        on = self.active()
        closed = (heater_on or "relay-welded" in on) and "relay-stuck-open" not in on
        self.heating = closed and contactor_on
        power_w = 0.0
        if self.heating:
            power_w = self.network.power_w * (0.2 if "heater-weak" in on else 1.0)
        ambient_c = self.ambient_c() if on else self.ambient_at(self.t_s)
        u = self._inputs
        u[0] = ambient_c
        u[1 + HEATER] = power_w
        if self.network.moulds:
            u[1 + FIRST_MOULD : 1 + self._moulds.stop] = 0.0
            u[1 + FIRST_MOULD : 1 + FIRST_MOULD + len(moulds_w)] = moulds_w
            if "exotherm" in on:
                u[1 + FIRST_MOULD] += 400.0
        self.energy_j += power_w * dt_s
        f, h, keep_air, keep_part = self._step_of("door-open" in on, dt_s)
        self.state_c = f @ self.state_c + h @ u
        self.t_s += dt_s
        state = self.state_c.tolist()
        out = "sensor-out-of-box" in on
        for i, node in enumerate(self._nodes):
            shed = node < 0 or (out and i == self._control)
            keep = keep_part if node >= FIRST_MOULD else keep_air
            target_c = ambient_c if shed else state[node]
            self._probes_c[i] = target_c + keep * (self._probes_c[i] - target_c)

    def _step_of(self, door_open: bool, dt_s: float) -> tuple[Array, Array, float, float]:
        """Matrices of a step and what the probes keep of their past over it."""
        found = self._steps.get((door_open, dt_s))
        if found is None:
            f, h = step_matrices(self._open if door_open else self.network, dt_s)
            found = f, h, math.exp(-dt_s / AIR_PROBE_S), math.exp(-dt_s / PART_PROBE_S)
            self._steps[door_open, dt_s] = found
        return found

    def sense(self) -> list[Sensed]:
        """What every probe says now, in the thermometers' order."""
        if not self._noise:
            shape = BLOCK, len(self._nodes)
            self._noise = self._random.normal(0.0, NOISE_C, shape).tolist()
        said = [
            Sensed(round((c - offset_c + noise_c) / QUANTUM_C) * QUANTUM_C)
            for c, offset_c, noise_c in zip(
                self._probes_c, self._offsets_c, self._noise.pop(), strict=True
            )
        ]
        on = self.active()
        if on:
            k = self._control
            for name, fault in WIRE_FAULTS.items():
                if name in on:
                    said[k] = Sensed(None, fault)
            if "sensor-power-on-85" in on:
                said[k] = Sensed(85.0)
            if "sensor-frozen" in on:
                if self._frozen_c is None:
                    self._frozen_c = said[k].value_c
                said[k] = Sensed(self._frozen_c)
            else:
                self._frozen_c = None
        else:
            self._frozen_c = None
        return said
