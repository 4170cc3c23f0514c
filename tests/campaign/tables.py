"""A campaign's verdicts as tables."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from nightcure.guard.resume import NOT_RESUMED
from tests.campaign.judge import Judged
from tests.campaign.plans import KINDS

#: Above it no software with one air thermometer is quick enough (its energy balance's own bound).
STRONG_K = 20.0
#: An oven whose moulds are further off its settings than by this factor does not answer as told.
MOULDS_OFF = 2.0
#: A thermometer that falls out of a box so little above its shed shows nothing of it, K.
SHOWS_K = 3.0
HEAD = (
    f"{'fault':22} {'n':>5} {'told':>5} {'min: med':>8} {'p95':>6} {'max':>6} {'off med':>8} "
    f"{'max':>6} {'kJ med':>7} {'p95':>7} {'rise p95':>8} {'hottest':>7} {'safe':>5}"
)


def faults(nights: Sequence[Judged], seed: int) -> None:
    """By fault; single ones apart from double ones, ovens that are too strong apart."""
    ran = [j for j in nights if j.outcome != "refused"]
    single = [j for j in ran if len(j.faults) == 1]
    weak = [j for j in single if j.kappa_k <= STRONG_K]
    _table("single faults, power can be cut, kappa <= 20 K", [j for j in weak if j.can_cut])
    _table("single faults, nothing can cut the power, kappa <= 20 K",
           [j for j in weak if not j.can_cut])  # fmt: skip
    strong = [j for j in single if j.kappa_k > STRONG_K]
    _table("single faults, kappa > 20 K", strong)
    _table("double faults (by the first)", [j for j in ran if len(j.faults) == 2])
    print(f"\n{len(nights) - len(ran)} nights were refused at the start; "
          f"{100.0 * np.mean([j.kappa_k > STRONG_K for j in nights]):.1f} % of ovens above kappa "
          f"20 K")  # fmt: skip
    over = [j for j in ran if j.over_limit_s > 60.0]
    print(f"power flowing above a true limit for over 60 s in {len(over)} nights")
    _within("welds told within 25 min", single, ("relay-welded",), 1500.0)
    warm = [j for j in single if j.over_shed_k >= SHOWS_K]
    _within("sensors fallen out told within 2 min", warm, ("sensor-out",), 120.0)
    cold = [j for j in single if j.over_shed_k < SHOWS_K]
    _within(f"those of a box under {SHOWS_K:g} K above its shed in 12 min", cold, ("sensor-out",),
            720.0)  # fmt: skip
    _within("outside from the start told in 12 min", single, ("sensor-out-from-start",), 720.0)
    cut = [j for j in weak if j.can_cut]
    print(f"rise <= 15 K or air < 65 °C: {_share(cut, lambda j: j.safe):.1f} % of {len(cut)} "
          f"single faults that can be cut")  # fmt: skip
    for j in [j for j in cut if not j.safe][:40]:
        print(f"  not safe: --seed {seed} --one {j.index}: {j.oven} {j.faults}, rise "
              f"{j.rise_k:.1f} K to {j.hottest_air_c:.0f} °C, told "
              f"{_minutes(j.told_s)}, {j.trip}")  # fmt: skip
    for j in [j for j in single if j.told_s is None and j.shows_s is not None][:40]:
        if j.faults[0] in ("relay-welded", "sensor-out", "sensor-out-from-start"):
            print(f"  not told: --seed {seed} --one {j.index}: {j.oven} {j.faults}, rise "
                  f"{j.rise_k:.1f} K to {j.hottest_air_c:.0f} °C, {j.after_kj:.0f} kJ")  # fmt: skip
    _never(nights, "faults", seed)


def clean(nights: Sequence[Judged], seed: int) -> None:
    """Trips and pauses that nothing explains."""
    ran = [j for j in nights if j.outcome != "refused"]
    false = [j for j in ran if j.trip is not None and j.within]
    still = [j for j in ran if not any(f.startswith(("door", "cut")) for f in j.faults)]
    plain = [j for j in still if j.surveyed and j.within]
    other = [j for j in still if j not in plain]
    paused = [j for j in plain if j.pauses_s > 0.0]
    print(f"{len(nights)} nights, {len(nights) - len(ran)} refused at the start; "
          f"{sum(j.outcome == 'done' for j in ran)} done, "
          f"{sum(j.trip is not None for j in ran)} tripped, of them {len(false)} with true air, "
          f"parts and their heat within limits")  # fmt: skip
    timeless = [j for j in false if j.trip == NOT_RESUMED and "cut-clock-wrong" in j.faults]
    rest = [j for j in false if j not in timeless]
    off = [j for j in rest if not (j.surveyed and 1 / MOULDS_OFF < j.mould_share < MOULDS_OFF)]
    print(f"of these {len(timeless)} not taken up on a board that knows no time (of "
          f"{sum('cut-clock-wrong' in j.faults for j in ran)} such), {len(off)} in ovens that "
          f"are not as their settings say, {len(rest) - len(off)} others")  # fmt: skip
    print(f"pauses of heat: {len(paused)} of {len(plain)} nights without a door, a cut or heat of "
          f"a part's own beyond its limit ({_share(plain, lambda j: j.pauses_s > 0.0):.1f} %); "
          f"{sum(j.pauses_s > 0.0 for j in other)} of {len(other)} with such heat, or in an oven "
          f"whose loss is not within 30 % of its settings'")  # fmt: skip
    for kind in (*sorted({f for j in ran for f in j.faults}), ""):
        of = [j for j in ran if kind in j.faults or (not kind and not j.faults)]
        print(f"  {kind or 'nothing':20} {len(of):5} nights, {sum(j in false for j in of):4} false "
              f"trips, {sum(j.pauses_s > 0.0 for j in of):4} with a pause, done "
              f"{sum(j.outcome == 'done' for j in of):5}")  # fmt: skip
    for j in false[:60]:
        print(
            f"  false trip: --seed {seed} --one {j.index}: {j.oven} {j.faults} {j.trip}: {j.said}"
        )
    for j in paused[:30]:
        print(f"  pause: --seed {seed} --one {j.index}: {j.oven} {j.pauses_s:.0f} s in {j.pauses}: "
              f"{', '.join(j.whys)}")  # fmt: skip
    _never(nights, "clean", seed)


def _table(title: str, nights: Sequence[Judged]) -> None:
    if not nights:
        return
    print(f"\n{title}\n{HEAD}")
    for kind in KINDS:
        of = [j for j in nights if j.faults[0] == kind]
        if not of:
            continue
        seen = [j for j in of if j.shows_s is not None]
        told = [j.told_s / 60.0 for j in seen if j.told_s is not None]
        off = [j.off_s / 60.0 for j in seen if j.off_s is not None]
        kj = [j.after_kj for j in seen]
        rise = [j.rise_k for j in of]
        print(f"{kind:22} {len(of):5} {_share(seen, lambda j: j.told_s is not None):4.0f}% "
              f"{_p(told, 50):8.1f} {_p(told, 95):6.1f} {_p(told, 100):6.1f} {_p(off, 50):8.1f} "
              f"{_p(off, 100):6.1f} {_p(kj, 50):7.0f} {_p(kj, 95):7.0f} {_p(rise, 95):8.1f} "
              f"{max(j.hottest_air_c for j in of):7.1f} "
              f"{_share(of, lambda j: j.safe):4.0f}%")  # fmt: skip


def _within(what: str, nights: Sequence[Judged], kinds: tuple[str, ...], most_s: float) -> None:
    of = [j for j in nights if j.faults[0] in kinds and j.shows_s is not None]
    quick = _share(of, lambda j: j.told_s is not None and j.told_s <= most_s)
    print(f"{what}: {quick:.1f} % of {len(of)}")


def _never(nights: Sequence[Judged], what: str, seed: int) -> None:
    wrong = [j for j in nights if j.wrong]
    print(f"what must never be: {len(wrong)} nights")
    for j in wrong:
        print(f"  python -m tests.campaign {what} --seed {seed} --one {j.index}: {j.faults}: "
              f"{'; '.join(j.wrong)}")  # fmt: skip


def _share(nights: Sequence[Judged], is_so: Callable[[Judged], bool]) -> float:
    return 100.0 * sum(map(is_so, nights)) / len(nights) if nights else float("nan")


def _p(values: Sequence[float], percent: float) -> float:
    return float(np.percentile(values, percent)) if values else float("nan")


def _minutes(seconds: float | None) -> str:
    return "never" if seconds is None else f"after {seconds / 60.0:.1f} min"
