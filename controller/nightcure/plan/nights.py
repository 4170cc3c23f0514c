"""Many nights run through the regulator and the cure clock at once.

The oven is stepped exactly (`oven.ensemble`), the loop's own parts as they act on average over a
step of about 20 s. Every array is (nights, profiles): the same nights for each profile, so that
profiles are compared in the same weather.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from ..cure.clock_figures import MILESTONES, Milestone
from ..oven.arrays import Array
from ..oven.ensemble import Ensemble
from ..oven.thermal import AIR, FIRST_MOULD, Network
from ..profile import Profile, goes_by_glass, knows
from ..settings import Role
from .clocks import Clocks
from .course import Courses, Glasses
from .night_results import MILD_C, Nights, Tally
from .regulate import FeedForward, Modulator, lagged, looks_of, regulated, regulator_for, step_of
from .sampling import SampledParameters
from .surely import SURE, later
from .tonight import Tonight, mould_sensors
from .trips import Trips

#: The clocks are read so often, s.
CLOCK_S = 20.0
#: A probe's own time constant in air and on a part, as in `simulate.virtual`.
AIR_PROBE_S, PART_PROBE_S = 15.0, 30.0


def horizon_s(tonight: Tonight, profiles: Sequence[Profile]) -> float:
    """How long to look: past the deadline and past every profile's own end."""
    limit = tonight.settings.limits
    ends = max(p.planned_s(tonight.shed.values_c[0], limit.ramp_c_per_h) for p in profiles)
    return max(tonight.deadline_s, min(ends, limit.longest_night_h * 3600.0)) + 3.0 * 3600.0


def run_nights(
    tonight: Tonight,
    sampled: SampledParameters,
    profiles: Sequence[Profile],
    horizon: float | None = None,
    keep: bool = False,
) -> Nights:
    """Run every drawn night through every profile.

    Args:
        profiles: of one regulator, the oven's own or the one they ask for in its place.
        horizon: seconds to look ahead; `horizon_s` if None.
        keep: keep the series of the first profile.

    Raises:
        ValueError: the profiles ask for different regulators.
    """
    night = _Night(tonight, sampled, profiles)
    end_s = horizon_s(tonight, profiles) if horizon is None else horizon
    return night.run(end_s, keep)


def networks_of(tonight: Tonight, sampled: SampledParameters) -> list[Network]:
    """The believed oven as each night has it."""
    base = tonight.network()
    heated = (base.air_wall_w_per_k, base.wall_ambient_w_per_k)
    skin = heated[0] * heated[1] / (heated[0] + heated[1])
    out = []
    for loss, air, mould, surface, power in zip(
        sampled.loss_times, sampled.air_capacity_times, sampled.mould_capacity_times,
        sampled.mould_surface_times, sampled.power_times, strict=True,
    ):  # fmt: skip
        wanted = min(skin * float(loss), 0.95 * heated[0])
        out.append(
            replace(
                base,
                power_w=base.power_w * float(power),
                leak_w_per_k=base.leak_w_per_k * float(loss),
                wall_ambient_w_per_k=heated[0] * wanted / (heated[0] - wanted),
                air_capacity_j_per_k=base.air_capacity_j_per_k * float(air),
                wall_capacity_j_per_k=base.wall_capacity_j_per_k * float(air),
                moulds=tuple(
                    replace(
                        m,
                        capacity_j_per_k=m.capacity_j_per_k * float(mould),
                        air_w_per_k=m.air_w_per_k * float(surface),
                    )
                    for m in base.moulds
                ),
            )
        )
    return out


class _Night:
    """The state of all nights while they run."""

    def __init__(
        self, tonight: Tonight, sampled: SampledParameters, profiles: Sequence[Profile]
    ) -> None:
        self.tonight, self.sampled, self.profiles = tonight, sampled, profiles
        s = self.settings = regulated(tonight.settings, profiles)
        self.shape = sampled.nights, len(profiles)
        self.dt_s = step_of(s)
        networks = networks_of(tonight, sampled)
        self.moulds = len(networks[0].moulds)
        ensemble = Ensemble(networks, 0.0)
        self.keep, per_ambient, per_heater, self.per_node = ensemble.matrices(self.dt_s)
        self.per_ambient, self.per_heater = per_ambient[:, :, None], per_heater[:, :, None]
        self.power_w = ensemble.power_w[:, None]
        self.shift_k = sampled.ambient_k[:, None]
        first_c = tonight.shed.values_c[0] + self.shift_k
        nodes = self.keep.shape[1]
        self.state_c: Array = np.ones((sampled.nights, nodes, len(profiles))) * first_c[:, :, None]
        self._sensors()
        self._parts(first_c)
        self.air_probe_c = np.ones(self.shape) * first_c
        self.probes_c = [self.air_probe_c.copy() for _ in self.sensor_mould]
        start_c = self.air_probe_c + self.air_offset
        self.course = Courses(profiles, s.limits, start_c)
        self.feed_forward = FeedForward(s, self.dt_s)
        self.regulator = regulator_for(s, self.dt_s, start_c)
        self.modulator = Modulator(s.heater, self.dt_s, looks_of(s, self.dt_s), self.shape)
        self.trips = Trips(s, self.shape)

    def _sensors(self) -> None:
        t, s = self.sampled, self.settings
        where = mould_sensors(s)
        self.air_offset = t.air_offset_k[:, None]
        self.mould_offsets = [t.mould_offset_k[:, i : i + 1] for i in range(len(where))]
        self.sensor_mould = [i % max(self.moulds, 1) for i in range(len(where))]
        self.sensor_of = {s.thermometers[i].name: n for n, i in enumerate(where)}
        self.sees_ambient = bool(s.indices(Role.AMBIENT))

    def _parts(self, first_c: Array) -> None:
        """Each part's true clock, the controller's own where a profile waits for it."""
        t = self.tonight
        waits = any(
            getattr(s, "wait_for", None) or getattr(s, "until", None)
            for p in self.profiles
            for s in p.segments
        )
        by_glass = any(goes_by_glass(s) for p in self.profiles for s in p.segments)
        self.true: list[Clocks] = []
        self.believed: list[Clocks] = []
        self.sure: list[Clocks] = []
        """The same clocks as late as the controller must be to be sure; none where it need not."""
        self.late: list[Clocks] = []
        """As late as the cards have it, with their glass transition; none where nothing asks."""
        self.part_node: list[int] = []
        self.part_sensor: list[int | None] = []
        for i, p in enumerate(t.parts):
            figures, start_s = p.part.figures, 3600.0 * p.part.start_h
            assert figures is not None
            sensor = self.sensor_of.get(p.part.sensor or "")
            mould = self.sensor_mould[sensor] if sensor is not None else 0
            self.part_sensor.append(sensor)
            self.part_node.append(FIRST_MOULD + mould if self.moulds else AIR)
            self.true.append(Clocks(figures, self.shape, start_s, (self.sampled, i)))
            if waits or by_glass:
                self.believed.append(Clocks(figures, self.shape, start_s))
            if waits and t.surely:
                first = float(np.median(first_c))
                times = np.array([later(t, p.part, profile, first) for profile in self.profiles])
                gel, after = times.T[:, None, :]
                self.sure.append(Clocks(figures, self.shape, start_s, times=(gel, after)))
            if by_glass:
                late = figures.gel_band[2] * np.ones((1, len(self.profiles)))
                clock = Clocks(figures, self.shape, start_s, times=(late, late), vitrifies=True)
                self.late.append(clock)
        self.own_w: dict[int, Array] = {}
        self.heat_w: dict[int, Array] = {}
        """What the resins give off, W, by node."""
        self.now_s = self.clocked_s = 0.0
        self._due: dict[tuple[Clocks, Milestone], Array] = {}
        for clocks in (self.true, self.believed, self.sure, self.late):
            for clock, p in zip(clocks, t.parts, strict=False):
                if clock.start_s < 0.0:
                    stood_c = first_c if p.part.before_c is None else p.part.before_c
                    clock.before(np.ones(self.shape) * stood_c)

    # ---- the night ------------------------------------------------------------------------

    def run(self, end_s: float, keep: bool) -> Nights:
        """Step to the end."""
        dt_s, shape = self.dt_s, self.shape
        steps = math.ceil(end_s / dt_s)
        shed_c = self.tonight.shed.at(dt_s * np.arange(steps + 1, dtype=np.float64))
        per_clock = max(round(CLOCK_S / dt_s), 1)
        s = self.settings
        tally = Tally(shape, len(self.true), dt_s, keep)
        # Means over a clock's step: its ends count half.
        self.sums = [0.5 * self.state_c[:, node, :] for node in self.part_node]
        self.seen = [0.5 * self._seen(i) for i in range(len(self.believed))]
        keep_air, keep_part = lagged(AIR_PROBE_S, dt_s), lagged(PART_PROBE_S, dt_s)
        for k in range(steps):
            now_s = (k + 1) * dt_s
            self.now_s = k * dt_s
            ambient_c = shed_c[k] + self.shift_k
            told_c = ambient_c if self.sees_ambient else np.full((1, 1), s.model.assumed_ambient_c)
            control_c = self.air_probe_c + self.air_offset
            measured = [p + o for p, o in zip(self.probes_c, self.mould_offsets, strict=True)]
            duties, _ = self._duties(control_c, measured, told_c)
            share = self.modulator.on_share(duties)
            duty = duties[-1]
            self.trips.look(dt_s, control_c, measured, share)
            share = np.where(self.trips.tripped | self.course.over, 0.0, share)
            self._step(share, ambient_c)
            air_c = self.state_c[:, AIR, :]
            self.air_probe_c = air_c + keep_air * (self.air_probe_c - air_c)
            for n, mould in enumerate(self.sensor_mould):
                node_c = self.state_c[:, FIRST_MOULD + mould if self.moulds else AIR, :]
                self.probes_c[n] = node_c + keep_part * (self.probes_c[n] - node_c)
            short_k = self.course.setpoint_c - control_c
            tally.step(now_s, share, duty, self.course.over, self.course.soaking, short_k)
            parts_c = [self.state_c[:, node, :] for node in self.part_node]
            for i, part_c in enumerate(parts_c):
                self.sums[i] += part_c
                if self.believed:
                    self.seen[i] += self._seen(i)
            if (k + 1) % per_clock == 0:
                self._read_clocks(now_s, per_clock, air_c, parts_c, tally)
                if not keep and self._nothing_left():
                    break
            if keep:
                tally.series_step(now_s, [air_c, *parts_c], self._way, ambient_c)
        return self._came_of_it(tally)

    def _way(self) -> list[Array]:
        """How much of the way to the goal each part has behind it."""
        return [clock.progress(self.tonight.goal) for clock in self.true]

    def _nothing_left(self) -> bool:
        """Whether no night is heated any more and every one is past the goal."""
        if not (self.course.over | self.trips.tripped).all():
            return False
        goal = self.tonight.goal
        return all(c.reached(goal).all() for c in self.true if goal in c.names)

    def _read_clocks(
        self, now_s: float, steps: int, air_c: Array, parts_c: list[Array], tally: Tally
    ) -> None:
        """Let the resins cure for the last steps; their heat for the next."""
        self.clocked_s, span_s = now_s, steps * self.dt_s
        self._due.clear()
        base_c = np.maximum(air_c, self.course.setpoint_c)
        heat_w: dict[int, Array] = {}
        for i, (clock, p) in enumerate(zip(self.true, self.tonight.parts, strict=True)):
            half_c = 0.5 * parts_c[i]
            part_c = (self.sums[i] - half_c) / steps
            self.sums[i] = half_c
            clock.advance(now_s, span_s, part_c)
            tally.minute(i, part_c, base_c, self.course.heated)
            mixed = now_s >= clock.start_s
            if mixed and self.part_sensor[i] is not None and self.moulds:
                w = p.part.resin_kg * clock.given_j_per_kg() / span_s
                if isinstance(w, np.ndarray):
                    # It goes on as it went: what it will be until the clocks are read again.
                    node, before_w = self.part_node[i], self.own_w.get(i, w)
                    self.own_w[i] = w
                    w = np.maximum(2.0 * w - before_w, 0.0)
                    heat_w[node] = heat_w[node] + w if node in heat_w else w
            if mixed and clock.start_s >= 0.0 and not clock.figures.heat_before_gel:
                tally.early_heat |= (part_c > MILD_C) & ~clock.reached("gelled")
            if self.believed:
                half_c = 0.5 * self._seen(i)
                for seen in (self.believed, self.sure, self.late):
                    if seen:
                        seen[i].advance(now_s, span_s, (self.seen[i] - half_c) / steps)
                self.seen[i] = half_c
        self.heat_w = heat_w

    def _came_of_it(self, tally: Tally) -> Nights:
        reached_s = {
            (i, name): clock.reached_s[name]
            for i, clock in enumerate(self.true)
            for name in MILESTONES
            if name in clock.names
        }
        goal = self.tonight.goal
        # NaN where any is NaN.
        goal_s = np.maximum.reduce([c.reached_s[goal] for c in self.true if goal in c.names])
        return Nights(
            reached_s, goal_s, tally.on_steps * self.dt_s * self.power_w, tally.over_s,
            self.trips.why, tally.hottest_c, tally.above_k, tally.full_s, tally.short_k,
            tally.early_heat, tally.series(),
        )  # fmt: skip

    def _duties(
        self, control_c: Array, measured: list[Array], ambient_c: Array
    ) -> tuple[list[Array], NDArray[np.bool_]]:
        """The duties asked for over the coming step, and where the night is heated."""
        course, s = self.course, self.settings
        before_c = course.setpoint_c
        course.advance(
            self.dt_s, control_c, measured, ambient_c, self._reached, self.trips.tripped,
            self._glasses(control_c),
        )  # fmt: skip
        # What the loop holds against the reading taken now.
        first = s.timing.tick_s / self.dt_s
        setpoint_c = before_c + first * (course.setpoint_c - before_c)
        lead_w: Array = np.zeros((1, 1))
        if s.regulator.feed_forward and s.regulator.kind == "pid":
            ahead_c = course.ahead(s.model.lead_s)
            lead_w, setpoint_c = self.feed_forward.ask(setpoint_c, ahead_c, ambient_c)
        watts = self.regulator.watts(setpoint_c, control_c, lead_w)
        off = course.over | self.trips.tripped
        return [np.where(off, 0.0, w / s.heater.power_w) for w in watts], course.heated & ~off

    def _glasses(self, control_c: Array) -> Glasses | None:
        """`loop.below_glass.glasses_of`, for all nights."""
        known = [(i, found) for i, c in enumerate(self.late) if (found := c.glass_c()) is not None]
        if not known:
            return None
        warmer_k = [np.maximum(self._seen(i) - control_c, 0.0) for i, _ in known]
        return Glasses(
            np.minimum.reduce([tg for _, (tg, _) in known]),
            np.minimum.reduce([tg - k for k, (_, (tg, _)) in zip(warmer_k, known, strict=True)]),
            np.minimum.reduce([degree for _, (_, degree) in known]),
        )

    def _seen(self, part: int) -> Array:
        """The temperature the controller's clock of a part runs on."""
        n = self.part_sensor[part]
        if n is None:
            return self.air_probe_c + self.air_offset
        return self.probes_c[n] + self.mould_offsets[n]

    def _reached(self, name: Milestone) -> NDArray[np.bool_]:
        """Where every part is past a milestone, as the controller sees it."""
        there = np.ones(self.shape, dtype=bool)
        for clock, p in zip(self.believed, self.tonight.parts, strict=True):
            if knows(p.part, name):
                there &= self.due_s(clock, name) <= self.now_s + 0.5 * self.dt_s
        if name in SURE:
            for clock, p in zip(self.sure, self.tonight.parts, strict=False):
                if knows(p.part, name):
                    there &= self.due_s(clock, name) <= self.now_s + 0.5 * self.dt_s
        return there

    def due_s(self, clock: Clocks, name: Milestone) -> Array:
        """When the controller sees a milestone come; reckoned anew with every minute."""
        key = clock, name
        if key not in self._due:
            self._due[key] = clock.due_s(name, self.clocked_s)
        return self._due[key]

    def _step(self, share: Array, ambient_c: Array) -> None:
        state: Array = np.matmul(self.keep, self.state_c)
        state += self.per_ambient * ambient_c[:, :, None]
        state += self.per_heater * (share * self.power_w)[:, None, :]
        for node, w in self.heat_w.items():
            state += self.per_node[:, :, node, None] * w[:, None, :]
        self.state_c = state
