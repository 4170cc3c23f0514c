"""How well is the demould foretold? Hidden nights on another plant (`tests.curing_nights`), the
same ones for the card's clock, for laminate and mould as two temperatures, with the part's own
heat, with a gel cup, and with both.

python -m tests.cure_campaign 300            nights, from seed 9000 on
python -m tests.cure_campaign 100 heatless   resins that give off no heat: is any seen?
python -m tests.cure_campaign 300 --json     one line a night, to be kept
"""

from __future__ import annotations

import json
import math
import sys
from collections.abc import Iterator
from typing import Any

import numpy as np

from nightcure.cure.belief import AHEAD_MIN, Belief, Believed
from nightcure.cure.cure_clock import CureClock
from nightcure.cure.factors import card_prior
from nightcure.cure.gel_cup import CupStart, GelCup
from nightcure.cure.hypotheses import Hypotheses
from tests.curing_nights import HiddenNight, cup_gels_min, hidden_night

FIRST = 9000
ROUTES = ("card", "warmth", "heat", "cup", "both")


def cup_of(night: HiddenNight, seed: int) -> GelCup:
    """A cup of the night's batch, seen to gel by somebody who looks now and then."""
    rng = np.random.default_rng([82, seed])
    grams, at_c = float(rng.uniform(20.0, 100.0)), float(rng.uniform(17.0, 23.0))
    cup = GelCup(CupStart(batch="b", figures=night.told.figures, grams=grams, stands_c=at_c))
    true_min = cup_gels_min(night.resin, grams, at_c, rng)
    seen_min = max(true_min + 2.0 * float(rng.standard_normal()), 3.0)
    for _ in range(round(6 * seen_min)):
        cup.advance(10.0, at_c)
    cup.gelled()
    return cup


def judged(seed: int, heatless: bool = False) -> dict[str, Any] | None:
    """One night by every route; None where its part never came out of the mould."""
    night = hidden_night(seed, heatless)
    if not math.isfinite(night.demould_min):
        return None
    told, cup = night.told, cup_of(night, seed)
    prior = card_prior(told.figures)

    def weighs(h: Hypotheses) -> list[float]:
        return cup.log_likelihoods([g for g, _, _ in h.cells])

    def fresh(power_w: float = told.power_w) -> Belief:
        return Belief(told.figures, prior, told.resin_kg, told.mould_j_per_k, power_w,
                      told.thickness_mm)  # fmt: skip

    belief, clock = fresh(), CureClock(told.figures)
    in_time: tuple[Believed, Believed] | None = None
    said_min: float | None = None
    asked = 0
    for minute, row in enumerate(zip(night.part_c, night.air_c, night.duty, strict=True), 1):
        belief.minute(*row, good=True)
        clock.advance(60.0 * minute, 60.0, row[0])
        if in_time is None and clock.reached("demould"):
            ahead = night.part_c[minute :: int(AHEAD_MIN)]
            in_time = belief.answer(None, ahead), belief.answer(weighs, ahead)
        if in_time is not None and said_min is None and minute >= asked:
            # As the loop says it: every quarter of an hour anew, nine times in ten.
            asked = minute + 15
            late = belief.answer(None, night.part_c[minute :: int(AHEAD_MIN)]).demould_min[2]
            if late <= minute:
                said_min = float(minute)
    with_heat, both = belief.answer(), belief.answer(weighs)
    belief._heat = None
    alone, cup_only = belief.answer(), belief.answer(weighs)
    when = {w.name: w.at_s for w in clock.whens()}
    card = {k: (when[k] or math.inf) / 60.0 for k in ("gelled", "demould")}
    true, gel = night.demould_min, night.gel_min

    def off(minutes: float, truth: float) -> float:
        return abs(math.log(min(minutes, 100_000.0) / truth))

    answers = {"warmth": alone, "heat": with_heat, "cup": cup_only, "both": both}
    found: dict[str, Any] = {
        "seed": seed,
        "demould": {"card": off(card["demould"], true),
                    **{k: off(a.demould_min[1], true) for k, a in answers.items()}},
        "gel": {"card": off(card["gelled"], gel),
                **{k: off(a.gel_min[1], gel) for k, a in answers.items()}},
        "holds": {k: a.demould_min[0] <= true <= a.demould_min[2] for k, a in answers.items()},
        "gel_holds": {k: a.gel_min[0] <= gel <= a.gel_min[2] for k, a in answers.items()},
        "band_holds": _band_holds(clock, true),
        "signed": {k: math.log(min(a.demould_min[1], 1e5) / true) for k, a in answers.items()},
        "seen": with_heat.heat_seen, "evidence": with_heat.evidence,
        "same": with_heat[:4] == alone[:4],
        "card_early": card["demould"] < true, "late_early": with_heat.demould_min[2] < true,
        "said_early": said_min is not None and said_min < true,
        "own_heat_k": night.own_heat_k, "thickness_mm": told.thickness_mm,
    }  # fmt: skip
    if in_time is not None:
        found["in_time"] = {
            "heat": off(in_time[0].demould_min[1], true),
            "both": off(in_time[1].demould_min[1], true),
            "seen": in_time[0].heat_seen,
        }
    return found


def _band_holds(clock: CureClock, true_min: float) -> bool:
    when = next(w for w in clock.whens() if w.name == "demould")
    low, high = when.low_s or math.inf, when.high_s or math.inf
    return low <= 60.0 * true_min <= high


def ratio(rows: list[dict[str, Any]], what: str, route: str) -> str:
    """Median error against the card's on the same nights, with a 95 % interval by resampling."""
    a = np.array([r[what][route] for r in rows])
    b = np.array([r[what]["card"] for r in rows])
    rng = np.random.default_rng(1)
    picks = rng.integers(len(rows), size=(2000, len(rows)))
    drawn = np.median(a[picks], axis=1) / np.median(b[picks], axis=1)
    low, high = np.quantile(drawn, (0.025, 0.975))
    return f"{np.median(a) / np.median(b):.2f} ({low:.2f}-{high:.2f})"


def tell(rows: list[dict[str, Any]]) -> Iterator[str]:
    """The table, line by line."""

    def share(values: Any) -> str:
        values = list(values)
        return f"{100.0 * sum(values) / len(values):.1f} %" if values else "-"

    yield f"{len(rows)} nights; heat seen in {share(r['seen'] for r in rows)}"
    for route in ROUTES:
        demould = [r["demould"][route] for r in rows]
        line = f"{route:7s} demould {np.median(demould):.3f} / 90 % {np.quantile(demould, 0.9):.2f}"
        if route == "card":
            yield f"{line}; its band holds {share(r['band_holds'] for r in rows)}"
            continue
        yield (
            f"{line}; ratio {ratio(rows, 'demould', route)}; 80 % holds "
            f"{share(r['holds'][route] for r in rows)}; gel ratio {ratio(rows, 'gel', route)}, "
            f"holds {share(r['gel_holds'][route] for r in rows)}; bias "
            f"{np.median([r['signed'][route] for r in rows]):+.3f}"
        )
    timely = [r for r in rows if "in_time" in r]
    heat, both = (np.median([r["in_time"][k] for r in timely]) for k in ("heat", "both"))
    yield (
        f"when the card says demould: heat {heat:.3f}, both {both:.3f}, seen "
        f"{share(r['in_time']['seen'] for r in timely)}"
    )
    worse = [r["demould"]["heat"] > r["demould"]["warmth"] + 0.1 for r in rows]
    better = [r["demould"]["heat"] < r["demould"]["warmth"] - 0.1 for r in rows]
    yield (
        f"by more than 0.1 better {share(better)}, worse {share(worse)}; unseen and not the prior "
        f"to the bit: {sum(not r['same'] for r in rows if not r['seen'])}; clearly seen (> 5) "
        f"{share(r['evidence'] > 5.0 for r in rows)}"
    )
    yield (
        f"demould too early: by the card {share(r['card_early'] for r in rows)}, by the 90 % date "
        f"{share(r['late_early'] for r in rows)}, as the loop says it "
        f"{share(r['said_early'] for r in rows)}"
    )


def main() -> int:
    """Run them."""
    numbers = [int(a) for a in sys.argv[1:] if a.isdecimal()]
    nights, first = (*numbers, *(100, FIRST)[len(numbers) :])[:2]
    rows = []
    for seed in range(first, first + nights):
        found = judged(seed, "heatless" in sys.argv)
        if found is not None:
            rows.append(found)
            if "--json" in sys.argv:
                print(json.dumps(found), flush=True)
    out = sys.stderr if "--json" in sys.argv else sys.stdout
    for line in tell(rows):
        print(line, file=out)
    return 0


if __name__ == "__main__":
    sys.exit(main())
