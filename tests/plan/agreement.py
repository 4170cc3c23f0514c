"""The vectorised nights against the real Loop: the same night twice, by two programs.

python -m tests.plan.agreement          50 nights, two minutes on two cores
python -m tests.plan.agreement 7        one night, told
python -m tests.plan.agreement 50 100   others; from 50 on with limits, minimum times, regulators
python -m tests.plan.agreement 1000 1010  post-cures below the parts' glass transition

Bang-bang's swing hangs on the thermometers' noise: the Loop with another noise is up to 0.24 K and
two minutes from itself (night 29). There it is the mean of so many Loops that is compared with.

A soak that counts only just within its band, since the parts' glass transition holds it there, ends
up to twenty minutes apart (night 1002): by a tenth of a kelvin.

A strong heater's night begins with a pulse of heat (`guard.heat_check`), which the arrays leave
out: it is compared from a quarter of an hour on.
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from nightcure.cure.card import load_card
from nightcure.cure.part import with_figures
from nightcure.guard.heat_check import PULSE_FIRST_K
from nightcure.oven.arrays import Array
from nightcure.plan.night_results import Nights
from nightcure.plan.nights import networks_of, run_nights
from nightcure.plan.sampling import Spreads, draw
from nightcure.plan.tonight import OvenFacts, Tonight, facts_of, falling_to, tonight
from nightcure.plan.trips import NAMES
from nightcure.profile import Profile, parse_profile
from nightcure.settings import Settings, outrun_k
from nightcure.simulate.rehearse import Rehearsal, rehearse
from nightcure.tick import Decision, Phase, TickInputs
from tests.nights import SETTINGS, changed

NIGHTS = 50
#: From this one on.
BELOW_TG = 1000
#: Of a bang-bang night, Loops each with a noise of its own.
LOOPS = 6
CARDS = ("polyester-laminating", "vinyl-ester", "epoxy-slow", "polyester-laminating")
#: What is asked: K and s.
MOST_K, MOST_S = 0.2, 120.0
#: The same temperature counts if it comes within so long (a part's probe alone lags by 30 s).
SHIFT_S = 60.0
#: The pulse that a strong heater begins with is over, and its trace gone, s.
PULSE_OVER_S = 900.0


@dataclass
class Apart:
    """How far the two are from one another in one night."""

    seed: int
    air_k: float = 0.0
    part_k: float = 0.0
    milestone_s: float = 0.0
    energy_share: float = 0.0
    milestones: int = 0
    waited_s: float = 0.0
    saturated_s: float = 0.0
    outcome: str = ""
    regulator: str = ""
    own_heat_k: float = 0.0
    """The most a part was hotter than the air."""
    what: list[str] = field(default_factory=list)


def a_night(seed: int) -> tuple[Tonight, Profile]:
    """An oven, a profile and parts by chance: cold sheds, weak heaters, every kind of segment."""
    rng = np.random.default_rng(seed)
    power_w = float(rng.uniform(200.0, 450.0))
    loss = float(rng.uniform(2.5, 5.5))
    kind = "bang-bang" if seed % 6 == 5 else "pid"
    window_s = [20.0, 20.0, 10.0, 40.0, 120.0][seed % 5]
    settings: Settings = changed(
        SETTINGS,
        heater={"power_w": power_w, "window_s": window_s, "min_on_s": 2.0, "min_off_s": 2.0},
        model={
            "loss_w_per_k": loss,
            "air_capacity_j_per_k": float(rng.uniform(3000.0, 8000.0)),
            "mould_capacity_j_per_k": float(rng.uniform(8000.0, 40000.0)),
            "mould_lag_s": float(rng.uniform(700.0, 2500.0)),
            "heater_lag_s": float(rng.uniform(100.0, 300.0)),
        },
        regulator={"kind": kind, "feed_forward": bool(rng.random() < 0.8)},
    )
    lowest_c = float(rng.uniform(-8.0, 8.0))
    evening_c = lowest_c + float(rng.uniform(2.0, 9.0))
    card = CARDS[seed % 4]
    steepest = load_card(card).ramp_c_per_h
    rate = float(rng.uniform(8.0, 20.0 if steepest is None else steepest.value))
    warm_c = float(rng.uniform(24.0, 45.0))
    segments: list[dict[str, Any]] = []
    if rng.random() < 0.5:
        segments.append({"kind": "ramp", "to_c": float(rng.uniform(17.0, 22.0)),
                         "rate_c_per_h": rate})  # fmt: skip
        segments.append({"kind": "ramp", "to_c": warm_c, "rate_c_per_h": rate,
                         "wait_for": "gelled", "wait_at_most_h": 2.5})  # fmt: skip
    else:
        segments.append({"kind": "ramp", "to_c": warm_c, "rate_c_per_h": rate})
    until = {"until": "demould"} if rng.random() < 0.5 else {}
    segments.append({"kind": "soak", "at_c": warm_c, "hours": float(rng.uniform(2, 6)), **until})
    segments.append({"kind": "cool", "rate_c_per_h": 20.0, "below_c": 22.0})
    share = {} if card.startswith("epoxy") else {"catalyst_pct": float(rng.uniform(1.6, 2.0))}
    data = {
        "name": f"Night {seed}",
        "lag_c": float(rng.uniform(2.0, 6.0)),
        "band_c": float(rng.uniform(1.0, 3.0)),
        "segments": segments,
        "box": {"volume_m3": 0.43, "evaporated_pct": 0.2},
        "parts": [
            {"name": name, "card": card, "resin_kg": float(rng.uniform(0.2, 0.7)),
             "sensor": name, "start_h": start_h, **share}
            for name, start_h in (("Lid", 0.0), ("Rim", 0.5))
        ],
    }  # fmt: skip
    more = np.random.default_rng((seed, 1))
    if seed >= BELOW_TG:
        until = {"until_tg_c": warm_c + float(more.uniform(10.0, 20.0))}
        data["segments"] = [
            {"kind": "ramp", "to_c": warm_c, "rate_c_per_h": rate,
             "tg_margin_k": float(more.uniform(10.0, 16.0))},
            {"kind": "soak", "at_c": warm_c, "hours": 5.0, **(until if seed % 2 else {})},
            data["segments"][-1],
        ]  # fmt: skip
        for part in data["parts"]:
            part |= {"start_h": -float(more.uniform(16.0, 60.0)), "before_c": 20.0}
    elif seed >= NIGHTS:
        if more.random() < 0.2:
            data["regulator"] = "pid" if kind == "bang-bang" else "bang-bang"
        limits: dict[str, float] = {}
        if more.random() < 0.3:
            limits["part_c"] = warm_c + float(more.uniform(2.0, 10.0))
        if more.random() < 0.3:
            limits["longest_heater_on_h"] = float(more.uniform(0.5, 3.0))
        shortest_s = float(more.choice([2.0, 4.0, 8.0])) if window_s > 10.0 else 2.0
        settings = changed(settings, limits=limits,
                           heater={"min_on_s": shortest_s, "min_off_s": shortest_s})  # fmt: skip
    profile = parse_profile(with_figures(data))
    f = facts_of(settings)
    facts = OvenFacts(
        f.loss_w_per_k * float(rng.uniform(0.8, 1.25)),
        f.air_capacity_j_per_k * float(rng.uniform(0.8, 1.25)),
        f.mould_capacity_j_per_k * float(rng.uniform(0.8, 1.25)),
        f.mould_lag_s,
        f.heater_lag_s,
        f.power_w * float(rng.uniform(0.9, 1.05)),
    )
    shed = falling_to(lowest_c, float(rng.uniform(6.0, 11.0)) * 3600.0, evening_c)
    return tonight(settings, profile.parts, shed, "demould", 12 * 3600.0, facts=facts), profile


@dataclass
class Looped:
    """A night by the real Loop: figures, believed temperatures tick by tick."""

    night: Rehearsal
    time_s: Array
    temps_c: dict[str, Array]
    heated_until_s: float
    waited_s: float

    def mean_c(self, name: str, at_s: float, span_s: float) -> float:
        """A temperature's mean over so long about a time."""
        ends = (at_s - 0.5 * span_s, at_s + 0.5 * span_s)
        first, last = np.searchsorted(self.time_s, ends)
        return float(np.mean(self.temps_c[name][first : last + 1]))


def looped(t: Tonight, profile: Profile, noise: int) -> Looped:
    """The night by the Loop, its thermometers with a noise of their own."""
    rows: list[tuple[float, ...]] = []
    until_s = waited_s = 0.0

    def see(inputs: TickInputs, d: Decision) -> None:
        nonlocal until_s, waited_s
        if d.phase in (Phase.IDLE, Phase.DONE, Phase.TRIPPED):
            return
        waited_s += 2.0 * (d.waiting and d.phase is Phase.RAMP)
        until_s = inputs.mono_s if d.phase is not Phase.COOL else until_s
        rows.append((inputs.mono_s, *(np.nan if c is None else c for c in d.believed[:3])))

    network = networks_of(t, draw(t, Spreads.none(), 1))[0]
    night = rehearse(t.settings, profile, network, t.shed, (), noise, see)
    values = np.array(rows).T
    temps_c = dict(zip(("Air", "Lid", "Rim"), values[1:], strict=True))
    return Looped(night, values[0], temps_c, until_s, waited_s)


def both(seed: int) -> tuple[Tonight, Nights, list[Looped], str]:
    """The night by both, and by which regulator; see `LOOPS`."""
    t, profile = a_night(seed)
    assert profile.refusals(t.settings.limits) == (), profile.refusals(t.settings.limits)
    regulator = profile.regulator or t.settings.regulator.kind
    noises = range(1 if regulator == "pid" else LOOPS)
    loops = [looped(t, profile, seed + 1000 * i) for i in noises]
    end_s = max(one.night.figures.night_s for one in loops) + 600.0
    nights = run_nights(t, draw(t, Spreads.none(), 1), [profile], end_s, keep=True)
    return t, nights, loops, regulator


def compare(seed: int) -> Apart:
    """How far apart, as means over five minutes (or five windows), no more than a minute apart.

    A bang-bang's swing has no phase that two programs could share: there hours are compared, up to
    the end of the last soak.
    """
    t, nights, loops, regulator = both(seed)
    f = loops[0].night.figures
    out = Apart(seed, waited_s=loops[0].waited_s, regulator=regulator)
    out.outcome = f"{f.outcome} {f.trip or ''}".strip()
    out.saturated_s = float(nights.full_s[0, 0])
    series = nights.series
    assert series is not None
    span_s = max(300.0, 5.0 * t.settings.heater.window_s)
    over_s = min(float(one.time_s[-1]) for one in loops)
    if regulator == "bang-bang":
        span_s, over_s = 3600.0, min(one.heated_until_s for one in loops)
    strong = outrun_k(t.settings.heater.power_w, t.settings.model) > PULSE_FIRST_K
    from_s = max(0.5 * span_s + SHIFT_S, PULSE_OVER_S if strong else 0.0)
    for name, ours in (
        ("Air", series.air_c),
        ("Lid", series.parts_c[0]),
        ("Rim", series.parts_c[1]),
    ):
        out.own_heat_k = max(out.own_heat_k, float(np.max(ours - series.air_c)))
        for i in range(1, len(series.time_s) - 1):
            at_s = float(series.time_s[i])
            if not from_s <= at_s <= over_s - 0.5 * span_s - SHIFT_S:
                continue
            mine = np.linspace(at_s - 0.5 * span_s, at_s + 0.5 * span_s, 25)
            mean_c = float(np.mean(np.interp(mine, series.time_s, ours[:, 0])))
            apart = min(
                abs(mean_c - np.mean([one.mean_c(name, at_s + shift_s, span_s) for one in loops]))
                for shift_s in (-SHIFT_S, -0.5 * SHIFT_S, 0.0, 0.5 * SHIFT_S, SHIFT_S)
            )
            key = "air_k" if name == "Air" else "part_k"
            if apart > getattr(out, key):
                setattr(out, key, float(apart))
                if apart > MOST_K:
                    out.what.append(f"{name} by {apart:.2f} K at {at_s / 3600:.2f} h")
    names = [p.part.name for p in t.parts]
    for each in zip(*(one.night.figures.milestones for one in loops), strict=True):
        m = each[0]
        ours = nights.reached_s[names.index(m["part"]), m["name"]][0, 0]
        if any(e["at_s"] is None or e["at_s"] > over_s for e in each):
            continue
        loops_s = float(np.mean([e["at_s"] for e in each]))
        late = abs(float(ours) - loops_s) if not np.isnan(ours) else float("inf")
        out.milestones += 1
        out.milestone_s = max(out.milestone_s, late)
        if late > MOST_S:
            out.what.append(f"{m['part']} {m['name']}: {ours:.0f} s against {loops_s:.0f} s")
    tripped = NAMES[nights.tripped[0, 0]]
    if tripped not in {one.night.figures.trip or "" for one in loops}:
        out.what.append(f"tripped by {tripped or 'nothing'}")
        out.milestone_s = float("inf")
    used = 3.6e6 * float(np.mean([one.night.figures.energy_kwh for one in loops]))
    out.energy_share = float(nights.energy_j[0, 0]) / used - 1.0
    return out


def main() -> int:
    """Print the nights; 1 if any is further apart than asked."""
    given = [int(a) for a in sys.argv[1:]]
    if len(given) == 1:
        print(compare(given[0]))
        return 0
    first, end = given or (0, NIGHTS)
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(compare, range(first, end)))
    for a in found:
        more = "; " + "; ".join(a.what[-3:]) if a.what else ""
        print(
            f"{a.seed:3d} {a.regulator:9s} {a.outcome:6s} air {a.air_k:.3f} K, parts "
            f"{a.part_k:.3f} K, milestones {a.milestone_s:4.0f} s of {a.milestones}, energy "
            f"{100 * a.energy_share:+.1f} %, ramp waited {a.waited_s / 60:.0f} min, full power "
            f"{a.saturated_s / 60:.0f} min, own heat {a.own_heat_k:.1f} K{more}"
        )
    fine = [max(a.air_k, a.part_k) <= MOST_K and a.milestone_s <= MOST_S for a in found]
    print(
        f"{sum(fine)} of {len(found)} nights agree; at most "
        f"{max(max(a.air_k, a.part_k) for a in found):.3f} K and "
        f"{max(a.milestone_s for a in found):.0f} s apart. The ramp waited in "
        f"{sum(a.waited_s > 0 for a in found)}, {sum('trip' in a.outcome for a in found)} tripped, "
        f"{sum(a.regulator == 'bang-bang' for a in found)} bang-bang, "
        f"{sum(a.own_heat_k > 5.0 for a in found)} with parts 5 K above the air."
    )
    return 0 if all(fine) else 1


if __name__ == "__main__":
    sys.exit(main())
