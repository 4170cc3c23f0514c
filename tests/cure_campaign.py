"""How well is the demould foretold? Hidden nights on another plant (`tests.curing_nights`), the
same ones for the card's clock, for laminate and mould as two temperatures, with the part's own
heat, with a gel cup, and with both.

python -m tests.cure_campaign 300            nights, from seed 9000 on
python -m tests.cure_campaign 100 heatless   resins that give off no heat: is any seen?
python -m tests.cure_campaign 300 --json     one line a night, to be kept
python -m tests.cure_campaign told < FILE    what lines that were kept say
"""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from typing import Any

import numpy as np

from nightcure.cure.belief import AHEAD_MIN, Belief, Believed
from nightcure.cure.cure_clock import CureClock
from nightcure.cure.factors import card_prior
from nightcure.cure.gel_cup import CupStart, GelCup
from nightcure.cure.hypotheses import Hypotheses
from nightcure.cure.mould_law import MouldLaw
from tests import row_campaign
from tests.curing_nights import HiddenNight, cup_gels_min, hidden_night, night_before

FIRST = 9000
HOWS = ("dry", "wet", "wrong")
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


def laws(seed: int, fresh: Callable[..., Belief], heatless: bool) -> dict[str, MouldLaw | None]:
    """What earlier nights have shown of the mould: one whose part was cured before (`dry`), one in
    which another batch cured (`wet`); and the dry one of another oven altogether (`wrong`)."""
    found: dict[str, MouldLaw | None] = {}
    for how in HOWS:
        if how == "wrong" and seed % 3:  # of every third night only, to save time
            continue
        night = night_before(seed + 1 if how == "wrong" else seed, how == "wet" and not heatless)
        belief = fresh()
        if how != "wet":
            belief.unmeasured(3 * 1440.0, 20.0)
        for row in zip(night.part_c, night.air_c, night.duty, strict=True):
            belief.minute(*row, good=True)
        found[how] = belief.mould_law(None, "Lid", "Lid", night.told.mould_j_per_k)
    return found


def judged(seed: int, heatless: bool = False) -> dict[str, Any] | None:
    """One night by every route; None where its part never came out of the mould."""
    night = hidden_night(seed, heatless)
    if not math.isfinite(night.demould_min):
        return None
    told, cup = night.told, cup_of(night, seed)
    prior = card_prior(told.figures)

    def weighs(h: Hypotheses) -> list[float]:
        return cup.log_likelihoods([g for g, _, _ in h.cells])

    def fresh(law: MouldLaw | None = None) -> Belief:
        return Belief(told.figures, prior, told.resin_kg, told.mould_j_per_k, told.power_w,
                      told.thickness_mm, law)  # fmt: skip

    belief, clock = fresh(), CureClock(told.figures)
    in_time: tuple[Believed, Believed] | None = None
    said_min: float | None = None
    asked = 0
    knowing = {how: fresh(law) for how, law in laws(seed, fresh, heatless).items()}
    known_in_time: dict[str, tuple[Believed, Believed]] = {}
    for minute, row in enumerate(zip(night.part_c, night.air_c, night.duty, strict=True), 1):
        belief.minute(*row, good=True)
        for one in knowing.values():
            one.minute(*row, good=True)
        clock.advance(60.0 * minute, 60.0, row[0])
        if in_time is None and clock.reached("demould"):
            ahead = night.part_c[minute :: int(AHEAD_MIN)]
            in_time = belief.answer(None, ahead), belief.answer(weighs, ahead)
            known_in_time = {
                how: (b.answer(None, ahead), b.answer(weighs, ahead)) for how, b in knowing.items()
            }
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
    for how, one in knowing.items():
        late, late_both = one.answer(), one.answer(weighs)
        found[f"law_{how}"] = {
            "heat": off(late.demould_min[1], true), "both": off(late_both.demould_min[1], true),
            "holds": late.demould_min[0] <= true <= late.demould_min[2],
            "both_holds": late_both.demould_min[0] <= true <= late_both.demould_min[2],
            "seen": late.heat_seen, "evidence": late.evidence,
            "late_early": late.demould_min[2] < true,
        }  # fmt: skip
        if known_in_time:
            timely, timely_both = known_in_time[how]
            found[f"law_{how}"]["in_time"] = {
                "heat": off(timely.demould_min[1], true),
                "both": off(timely_both.demould_min[1], true), "seen": timely.heat_seen,
                "holds": timely.demould_min[0] <= true <= timely.demould_min[2],
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
    return _ratio([r[what][route] for r in rows], [r[what]["card"] for r in rows])


def _median(rows: list[dict[str, Any]], key: str) -> float:
    return float(np.median([r[key] for r in rows]))


def _ratio(ours: list[float], cards: list[float]) -> str:
    a, b = np.array(ours), np.array(cards)
    rng = np.random.default_rng(1)
    picks = rng.integers(len(a), size=(2000, len(a)))
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
    for how in HOWS:
        known = [r for r in rows if f"law_{how}" in r]
        some = [r[f"law_{how}"] for r in known]
        for when, told in (
            ("", some), (" in time", [r["in_time"] for r in some if "in_time" in r]),
        ):  # fmt: skip
            yield (
                f"mould's law from a {how} night{when}: heat {_median(told, 'heat'):.3f}, both "
                f"{_median(told, 'both'):.3f}, seen {share(r['seen'] for r in told)}, 80 % holds "
                f"{share(r['holds'] for r in told)}"
            )
        worst = [r[f"law_{how}"]["heat"] > r["demould"]["warmth"] + 0.1 for r in known]
        ratios = [r[f"law_{how}"]["heat"] for r in known], [r["demould"]["card"] for r in known]
        both = [r[f"law_{how}"]["both"] for r in known]
        yield (
            f"   ratios: heat {_ratio(*ratios)}, both {_ratio(both, ratios[1])}; worse by 0.1 "
            f"{share(worst)}; evidence > 5 {share(r['evidence'] > 5.0 for r in some)}"
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


def rows_of(nights: int, first: int) -> Iterator[dict[str, Any]]:
    """What came of so many nights, those that show something."""
    for seed in range(first, first + nights):
        found = judged(seed, "heatless" in sys.argv)
        if found is not None:
            yield found


if __name__ == "__main__":
    sys.exit(row_campaign.run(rows_of, tell, 100, FIRST))
