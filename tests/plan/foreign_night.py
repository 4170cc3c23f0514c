"""Nights by another program: Runge-Kutta over the oven's equations, with draws of its own.

Nothing here is taken from `nightcure.plan` but the spreads' numbers and the believed figures: the
oven's balance is written out node by node and integrated by the classical fourth-order method
(10 s steps), the regulator is a continuous PI(D) with feed-forward, the cure is Arrhenius'
integral with the card's rows interpolated here, the nights come from plain random numbers.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from nightcure.cure.clock_figures import ClockFigures
from nightcure.plan.sampling import Spreads
from nightcure.plan.tonight import Tonight
from nightcure.profile import Cool, Profile, Ramp, Soak

R = 8.314462618
Z95 = 1.6449
STEP_S = 10.0


def goal_times_s(
    t: Tonight,
    profile: Profile,
    spreads: Spreads,
    count: int,
    seed: int,
    maker_times: Any = None,
    end_s: float | None = None,
) -> np.ndarray[Any, Any]:
    """When the last part reaches tonight's goal, s; infinite where not by the end or too hot.

    Args:
        maker_times: resins on generic cards take so many times as long as their cards have it, one
            number or one a night; drawn for each night and card if None.
        end_s: the deadline if None.
    """
    end_s = t.deadline_s if end_s is None else end_s
    rng = np.random.default_rng(seed)
    s = t.settings
    n = count

    def normal() -> Any:
        return rng.standard_normal(n)

    base = t.network()
    k = np.exp(spreads.loss * normal())
    c_air = np.exp(spreads.capacity * normal())
    c_mould = np.exp(spreads.capacity * normal())
    power = t.facts.power_w * np.exp(spreads.power * normal())
    colder = spreads.ambient_c * normal()
    air_off = spreads.sensor_c * normal()
    part_off = [spreads.sensor_c * normal() for _ in base.moulds]
    resins: dict[str, tuple[Any, ...]] = {}
    clocks: list[_Resin] = []
    likely: list[_Resin] = []
    for p in t.parts:
        f = p.part.figures
        assert f is not None
        if p.part.card not in resins:
            maker = np.ones(n)
            if f.generic:
                drawn = np.exp(spreads.maker * normal())
                maker = maker * (drawn if maker_times is None else maker_times)
            resins[p.part.card] = (*(normal() for _ in range(4)), maker)
        z_gel, z_cure, z_eg, z_ec, maker = resins[p.part.card]
        slow = maker * np.exp(-p.catalyst_power * spreads.catalyst * normal())
        start_s = 3600.0 * p.part.start_h
        clocks.append(
            _Resin(f, start_s, _band(spreads.card * z_gel, f.gel_band) * slow, slow,
                   spreads.card * z_cure, spreads.gel_kj_per_mol * z_eg,
                   spreads.cure_kj_per_mol * z_ec)
        )  # fmt: skip
        one, nil = np.ones(n), np.zeros(n)
        likely.append(_Resin(f, start_s, one, one, nil, nil, nil))
    for r, p in zip([*clocks, *likely], [*t.parts, *t.parts], strict=True):
        stood_c = t.shed(0.0) + colder if p.part.before_c is None else np.full(n, p.part.before_c)
        for now in np.arange(r.start_s, 0.0, STEP_S):
            r.go(now, min(STEP_S, -now), stood_c)
    names = [m.name for m in base.moulds]
    sits = [names.index(p.part.sensor or names[0]) for p in t.parts]

    # The oven: heater, air, wall, moulds.
    caps = np.array(
        [np.full(n, base.heater_capacity_j_per_k), base.air_capacity_j_per_k * c_air,
         base.wall_capacity_j_per_k * c_air,
         *(m.capacity_j_per_k * c_mould for m in base.moulds)]
    )  # fmt: skip
    film, skin0 = base.air_wall_w_per_k, base.wall_ambient_w_per_k
    through = k * film * skin0 / (film + skin0)
    skin = film * through / (film - through)
    leak = base.leak_w_per_k * k

    def balance(temp: Any, heater_w: Any, shed_c: Any, moulds_w: Any) -> Any:
        flow = np.zeros_like(temp)
        to_air = base.heater_air_w_per_k * (temp[0] - temp[1])
        flow[0] = heater_w - to_air
        to_wall = film * (temp[1] - temp[2])
        flow[1] = to_air - to_wall - leak * (temp[1] - shed_c)
        flow[2] = to_wall - skin * (temp[2] - shed_c)
        for i, m in enumerate(base.moulds):
            q = m.air_w_per_k * (temp[1] - temp[3 + i])
            flow[1] -= q
            flow[3 + i] = q + moulds_w[i]
        return flow / caps

    def shed(at_s: float) -> Any:
        return t.shed(at_s) + colder

    temp = np.tile(shed(0.0), (len(caps), 1))
    g, m = s.regulator, s.model
    course = _Course(profile, s.limits.ramp_c_per_h, temp[1] + air_off)
    integral, filtered = np.zeros(n), temp[1] + air_off
    probe_air = temp[1].copy()
    probes = [temp[3 + i].copy() for i in range(len(base.moulds))]
    mould_rate = np.zeros(n)
    waits = any(getattr(x, "wait_for", None) or getattr(x, "until", None) for x in profile.segments)
    saturated = np.zeros(n)
    h = STEP_S
    too_hot = np.zeros(n, dtype=bool)
    for i in range(int(np.ceil(end_s / h))):
        now = i * h
        read_air = probe_air + air_off
        read = [p + o for p, o in zip(probes, part_off, strict=True)]

        def there(name: str) -> Any:
            done = np.ones(n, dtype=bool)
            for r in likely:
                if r.tells(name):
                    done &= np.isfinite(r.came[name])
            return done

        too_hot |= read_air > s.limits.air_c
        for reading in read:
            too_hot |= reading > s.limits.part_c
        before = course.setpoint.copy()
        course.go(h, profile, read_air, read, shed(now), there)
        rate = (course.setpoint - before) / h
        mould_rate += (rate - mould_rate) * (1.0 - np.exp(-h / m.mould_lag_s))
        ahead = course.setpoint + course.slope * m.heater_lag_s
        ahead = np.where(course.ramp & (course.slope > 0), np.minimum(ahead, course.target), ahead)
        forward = m.loss_w_per_k * (ahead - shed(now))
        forward += m.air_capacity_j_per_k * rate + m.mould_capacity_j_per_k * mould_rate
        new = filtered + (read_air - filtered) * (1.0 - np.exp(-h / max(g.filter_s, 1e-6)))
        speed, filtered = (new - filtered) / h, new
        error = course.setpoint - filtered
        free = error * saturated <= 0.0
        integral += np.where(free, g.gain_w_per_k / g.integral_s * error * h, 0.0)
        integral = np.clip(integral, -s.heater.power_w, s.heater.power_w)
        wanted = g.gain_w_per_k * (error - g.derivative_s * speed) + integral
        wanted = wanted + (forward if g.feed_forward else 0.0)
        saturated = np.sign((wanted >= s.heater.power_w) * 1.0 - (wanted <= 0.0))
        duty = np.clip(wanted / s.heater.power_w, 0.0, 1.0) * ~course.done * ~too_hot
        moulds_w = [np.zeros(n) for _ in base.moulds]
        for r, p, at in zip(clocks, t.parts, sits, strict=True):
            moulds_w[at] = moulds_w[at] + p.part.resin_kg * r.watts_per_kg
        heat, w0, w1 = duty * power, shed(now), shed(now + h)
        half = 0.5 * (w0 + w1)
        k1 = balance(temp, heat, w0, moulds_w)
        k2 = balance(temp + 0.5 * h * k1, heat, half, moulds_w)
        k3 = balance(temp + 0.5 * h * k2, heat, half, moulds_w)
        k4 = balance(temp + h * k3, heat, w1, moulds_w)
        past = temp
        temp = temp + h / 6.0 * (k1 + 2 * k2 + 2 * k3 + k4)
        probe_air += (temp[1] - probe_air) * (1.0 - np.exp(-h / 15.0))
        for j in range(len(probes)):
            probes[j] += (temp[3 + j] - probes[j]) * (1.0 - np.exp(-h / 30.0))
        for r, at in zip(clocks, sits, strict=True):
            r.go(now, h, 0.5 * (past[3 + at] + temp[3 + at]))
        if waits:
            for r, at in zip(likely, sits, strict=True):
                r.go(now, h, probes[at] + part_off[at])
    telling = [r.came[t.goal] for r in clocks if r.tells(t.goal)]
    last = np.max(telling, axis=0)
    return np.where((last <= end_s) & ~too_hot, last, np.inf)


def _band(z: Any, band: Any) -> Any:
    """Two half log-normals that meet at the likely value; early and late are 5 and 95 %."""
    early, middle, late = (np.log(x) for x in band)
    return np.exp(middle + np.where(z < 0, (middle - early) / Z95, (late - middle) / Z95) * z)


class _Resin:
    """Share of the gel, then minutes at the reference temperature."""

    def __init__(self, f: ClockFigures, start_s: float, gel_times: Any, slow: Any, z: Any,
                 gel_kj: Any, cure_kj: Any) -> None:  # fmt: skip
        self.f, self.start_s, self.gel_times = f, start_s, gel_times
        self.gel_kj, self.cure_kj = gel_kj, f.cure_kj_per_mol + cure_kj
        self.tref = f.reference_c + 273.15
        self.marks = {
            name: _band(z, band) * slow
            for name, band in (("laminate-opens", f.opens_min), ("demould", f.demould_min),
                               ("full", f.full_min))
            if band is not None
        }  # fmt: skip
        self.share, self.minutes = np.zeros_like(z), np.zeros_like(z)
        self.came: dict[str, Any] = {
            name: np.full(z.shape, np.inf) for name in ("gelled", *self.marks)
        }
        self.watts_per_kg: Any = np.zeros_like(z)
        self.gel_ref_min = float(np.exp(self._log_gel(np.array([self.tref]))[0]))

    def tells(self, name: str) -> bool:
        return name in self.came

    def _log_gel(self, kelvin: Any) -> Any:
        rows = np.array(self.f.gel_min)
        inverse = 1.0 / (rows[::-1, 0] + 273.15)
        log = np.interp(1.0 / kelvin, inverse, np.log(rows[::-1, 1]))
        hot = rows[-1, 0] + 273.15
        beyond = self.f.cure_kj_per_mol * 1000.0 / R * (1.0 / np.maximum(kelvin, hot) - 1.0 / hot)
        return log + beyond

    def go(self, now: float, h: float, part_c: Any) -> None:
        if now + h <= self.start_s:
            return
        kelvin = part_c + 273.15
        apart = 1.0 / kelvin - 1.0 / self.tref
        gel_min = np.exp(self._log_gel(kelvin) + self.gel_kj * 1000.0 / R * apart) * self.gel_times
        pace = np.where(part_c < self.f.gel_min[0][0], 0.0, 1.0 / (60.0 * gel_min))
        cure = np.exp(-self.cure_kj * 1000.0 / R * apart) / 60.0
        cure = np.where(part_c < self.f.lowest_c, 0.0, cure)
        liquid = self.share < 1.0
        after = np.where(liquid, self.share + pace * h, self.share)
        fresh = liquid & (after >= 1.0)
        over = np.where(fresh, (after - 1.0) / np.maximum(pace, 1e-12), np.where(liquid, 0.0, h))
        self.came["gelled"] = np.where(fresh, now + h - over, self.came["gelled"])
        self.share = np.minimum(after, 1.0)
        before, self.minutes = self.minutes, self.minutes + cure * over
        for name, mark in self.marks.items():
            hit = (before < mark) & (self.minutes >= mark)
            late = (self.minutes - mark) / np.maximum(cure, 1e-12)
            self.came[name] = np.where(hit, now + h - late, self.came[name])
        heat = self.f.self_heat
        if heat is not None:
            a, b = (np.sqrt(x / (1.0 - x)) for x in (heat.seed, heat.gel_degree))
            u = a + (b - a) * (self.share + self.minutes / (self.gel_ref_min * self.gel_times))
            du = (b - a) * np.where(self.share < 1.0, pace,
                                    cure / (self.gel_ref_min * self.gel_times))  # fmt: skip
            self.watts_per_kg = heat.heat_j_per_kg_resin * 2 * u / (1 + u * u) ** 2 * du


class _Course:
    """Ramps that wait, soaks that count in their band, a cool-down."""

    def __init__(self, profile: Profile, soak_ramp: float, start_c: Any) -> None:
        self.setpoint = start_c.copy()
        self.at = np.zeros(len(start_c), dtype=int)
        self.count = np.zeros(len(start_c))
        self.slope, self.target = np.zeros(len(start_c)), start_c.copy()
        self.ramp = np.zeros(len(start_c), dtype=bool)
        self.done = np.zeros(len(start_c), dtype=bool)
        self.soak_ramp = soak_ramp

    def go(self, h: float, profile: Profile, air: Any, parts: Any, shed_c: Any, there: Any) -> None:
        self.slope = np.zeros_like(self.setpoint)
        self.ramp[:] = False
        behind = np.max([self.setpoint - p for p in parts], axis=0)
        at = self.at.copy()
        for i, x in enumerate(profile.segments):
            here = at == i
            if not here.any():
                continue
            move = np.zeros_like(self.setpoint)
            if isinstance(x, Ramp):
                free = here & (np.abs(self.setpoint - air) * np.sign(x.to_c - self.setpoint)
                               * np.sign(self.setpoint - air) <= profile.lag_c)  # fmt: skip
                if x.wait_for:
                    holds = here & ~there(x.wait_for) & (self.count < 3600.0 * x.wait_at_most_h)
                    self.count += h * holds
                    self.count[here & ~holds] = np.inf
                    free &= ~holds
                rate = x.rate_c_per_h / 3600.0
                move = np.clip(x.to_c - self.setpoint, -rate * h, rate * h) * free
                self.setpoint = self.setpoint + move
                self.slope[free] = (np.sign(x.to_c - self.setpoint) * rate)[free]
                self.target[here], self.ramp[here] = x.to_c, True
                ended = here & (np.abs(self.setpoint - x.to_c) < 1e-9)
            elif isinstance(x, Soak):
                rate = self.soak_ramp / 3600.0
                self.setpoint += np.clip(x.at_c - self.setpoint, -rate * h, rate * h) * here
                # What is warmer than the soak keeps no clock waiting.
                inside = (behind <= profile.band_c) & (x.at_c - air <= profile.band_c)
                self.count += h * (here & (inside | (x.until is not None)))
                ended = here & (self.count >= 3600.0 * x.hours)
                if x.until:
                    ended |= here & there(x.until)
            else:
                assert isinstance(x, Cool)
                self.setpoint -= here * x.rate_c_per_h / 3600.0 * h
                self.slope[here] = -x.rate_c_per_h / 3600.0
                hottest = np.max([air, *parts], axis=0)
                ended = here & (hottest < np.maximum(x.below_c, shed_c + 2.0))
            self.at = self.at + ended
            self.count = np.where(ended, 0.0, self.count)
        self.done = self.at >= len(profile.segments)
