"""The vectorised nights against the real Loop: the same night twice, by two programs.

python -m tests.plan.agreement        all 50 nights, about a minute on two cores
python -m tests.plan.agreement 7      one night, told
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from nightcure.cure.card import load_card
from nightcure.cure.part import with_figures
from nightcure.oven.arrays import Array
from nightcure.plan.nights import networks_of, run_nights
from nightcure.plan.spread import Spreads, draw
from nightcure.plan.tally import Nights
from nightcure.plan.tonight import OvenFacts, Tonight, facts_of, falling_to, tonight
from nightcure.profile import Profile, parse_profile
from nightcure.records import Decision, Phase, TickInputs
from nightcure.rehearse import Rehearsal, rehearse
from nightcure.settings import Settings
from tests.nights import SETTINGS, changed

NIGHTS = 50
CARDS = ("polyester-laminating", "vinyl-ester", "epoxy-slow", "polyester-laminating")
#: What is asked: K and s.
MOST_K, MOST_S = 0.2, 120.0
#: The same temperature counts if it comes within so long (a part's probe alone lags by 30 s).
SHIFT_S = 60.0


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
        "parts": [
            {"name": name, "card": card, "resin_kg": float(rng.uniform(0.2, 0.7)),
             "sensor": name, "start_h": start_h, **share}
            for name, start_h in (("Lid", 0.0), ("Rim", 0.5))
        ],
    }  # fmt: skip
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


def both(seed: int) -> tuple[Tonight, Nights, Rehearsal, dict[str, Array], float]:
    """The night by both; the Loop's believed temperatures tick by tick; for how long it waited."""
    t, profile = a_night(seed)
    assert profile.refusals(t.settings.limits) == (), profile.refusals(t.settings.limits)
    one = draw(t, Spreads.none(), 1)
    ticks: dict[str, list[float]] = {"time_s": [], "Air": [], "Lid": [], "Rim": [], "cool": []}
    waited = 0.0

    def see(inputs: TickInputs, d: Decision) -> None:
        nonlocal waited
        if d.phase in (Phase.IDLE, Phase.DONE, Phase.TRIPPED):
            return
        waited += 2.0 * (d.waiting and d.phase is Phase.RAMP)
        ticks["time_s"].append(inputs.mono_s)
        ticks["cool"].append(float(d.phase is Phase.COOL))
        for name, value in zip(("Air", "Lid", "Rim"), d.believed, strict=False):
            ticks[name].append(float("nan") if value is None else value)

    night = rehearse(t.settings, profile, networks_of(t, one)[0], t.shed, (), seed, see)
    nights = run_nights(t, one, [profile], night.figures.night_s + 600.0, keep=True)
    return t, nights, night, {k: np.array(v) for k, v in ticks.items()}, waited


def compare(seed: int) -> Apart:
    """How far apart, as means over five minutes (or five windows), no more than a minute apart.

    A bang-bang's swing has no phase that two programs could share: there hours are compared, up to
    the end of the last soak.
    """
    t, nights, night, ticks, waited = both(seed)
    f = night.figures
    out = Apart(seed, waited_s=waited, outcome=f"{f.outcome} {f.trip or ''}".strip())
    out.saturated_s = float(nights.full_s[0, 0])
    series = nights.series
    assert series is not None
    over_s = ticks["time_s"][-1]
    span_s = max(300.0, 5.0 * t.settings.heater.window_s)
    if t.settings.regulator.kind == "bang-bang":
        span_s = 3600.0
        over_s = float(ticks["time_s"][ticks["cool"] > 0][0]) if ticks["cool"].any() else over_s
    for name, ours in (
        ("Air", series.air_c),
        ("Lid", series.parts_c[0]),
        ("Rim", series.parts_c[1]),
    ):
        for i in range(1, len(series.time_s) - 1):
            at_s = float(series.time_s[i])
            if not 0.5 * span_s + SHIFT_S <= at_s <= over_s - 0.5 * span_s - SHIFT_S:
                continue
            mine = np.linspace(at_s - 0.5 * span_s, at_s + 0.5 * span_s, 25)
            mean_c = float(np.mean(np.interp(mine, series.time_s, ours[:, 0])))
            apart = min(
                abs(mean_c - _mean(ticks, name, at_s + shift_s, span_s))
                for shift_s in (-SHIFT_S, -0.5 * SHIFT_S, 0.0, 0.5 * SHIFT_S, SHIFT_S)
            )
            key = "air_k" if name == "Air" else "part_k"
            if apart > getattr(out, key):
                setattr(out, key, apart)
                if apart > MOST_K:
                    out.what.append(f"{name} by {apart:.2f} K at {at_s / 3600:.2f} h")
    names = [p.part.name for p in t.parts]
    for m in night.figures.milestones:
        ours = nights.reached_s[names.index(m["part"]), m["name"]][0, 0]
        loops = m["at_s"]
        if loops is None or loops > night.figures.night_s:
            continue
        late = abs(float(ours) - loops) if not np.isnan(ours) else float("inf")
        out.milestones += 1
        out.milestone_s = max(out.milestone_s, late)
        if late > MOST_S:
            out.what.append(f"{m['part']} {m['name']}: {ours:.0f} s against {loops:.0f} s")
    used = 3.6e6 * night.figures.energy_kwh
    out.energy_share = float(nights.energy_j[0, 0]) / used - 1.0
    return out


def _mean(ticks: dict[str, Array], name: str, at_s: float, span_s: float) -> float:
    first, last = np.searchsorted(ticks["time_s"], (at_s - 0.5 * span_s, at_s + 0.5 * span_s))
    return float(np.mean(ticks[name][first : last + 1]))


def main() -> int:
    """Print the nights; 1 if any is further apart than asked."""
    if len(sys.argv) > 1:
        print(compare(int(sys.argv[1])))
        return 0
    with ProcessPoolExecutor() as pool:
        found = list(pool.map(compare, range(NIGHTS)))
    for a in found:
        print(
            f"{a.seed:3d} {a.outcome:6s} air {a.air_k:.3f} K, parts {a.part_k:.3f} K, milestones "
            f"{a.milestone_s:4.0f} s of {a.milestones}, energy {100 * a.energy_share:+.1f} %, ramp "
            f"waited {a.waited_s / 60:.0f} min, full power {a.saturated_s / 60:.0f} min"
            f"{'; ' + '; '.join(a.what[-3:]) if a.what else ''}"
        )
    worst = max(max(a.air_k, a.part_k) for a in found), max(a.milestone_s for a in found)
    print(
        f"{NIGHTS} nights: at most {worst[0]:.3f} K and {worst[1]:.0f} s apart; the ramp waited in "
        f"{sum(a.waited_s > 0 for a in found)}"
    )
    return 0 if worst[0] <= MOST_K and worst[1] <= MOST_S else 1


if __name__ == "__main__":
    sys.exit(main())
