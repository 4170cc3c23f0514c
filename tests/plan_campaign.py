"""Is the stated probability true? Nights with hidden truths, by another program.

python -m tests.plan_campaign            three levels of difficulty, 400 nights each, and more
python -m tests.plan_campaign makers 24  drawn nights, whose resin is any maker's, or off the centre
python -m tests.plan_campaign advise     --advise against a grid of 2000 profiles, minutes
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np

from nightcure.cure.cure_clock import CureClock
from nightcure.cure.part import with_figures
from nightcure.plan.plan import Plan, plan_night
from nightcure.plan.sampling import Spreads
from nightcure.plan.tonight import Tonight, falling_to, tonight
from nightcure.profile import Profile, load_profile, parse_profile
from nightcure.simulate.scenario import PARTS_FILE
from tests.nights import SETTINGS, changed
from tests.plan.foreign_night import goal_times_s

#: Points the share of the nights may be from the stated probability.
WITHIN = 0.05
HIDDEN, MANY = 400, 2000
#: A resin so much slower or quicker than its card has it: by half.
BY_HALF = 1.5
CARDS = ("polyester-laminating", "vinyl-ester", "epoxy-fast", "epoxy-slow")


@dataclass(frozen=True)
class Level:
    """A night to plan."""

    name: str
    tonight: Tonight
    profile: Profile


def levels() -> tuple[Level, ...]:
    """Easy, even and hard; a warm soak by time, a wait for gel and demould, a weak heater."""
    lid = load_profile(PARTS_FILE)
    shed = falling_to(2.0, 10 * 3600.0, 9.0)
    soak = parse_profile(
        {
            "name": "Lid and rim by time",
            "segments": [
                {"kind": "ramp", "to_c": 32.0, "rate_c_per_h": 15.0},
                {"kind": "soak", "at_c": 32.0, "hours": 1.5},
                {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0},
            ],
            "parts": [p.model_dump(mode="json") for p in lid.parts],
        }
    )
    weak = changed(SETTINGS, heater={"power_w": 150.0}, model={"loss_w_per_k": 4.5})
    vinyl = parse_profile(
        with_figures(
            {
                "name": "Weak heater",
                "segments": [
                    {"kind": "ramp", "to_c": 30.0, "rate_c_per_h": 15.0},
                    {"kind": "soak", "at_c": 30.0, "hours": 8.0},
                    {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0},
                ],
                "parts": [
                    {"name": "Lid", "card": "vinyl-ester", "catalyst_pct": 1.5, "resin_kg": 0.6,
                     "sensor": "Lid"},
                    {"name": "Rim", "card": "polyester-laminating", "catalyst_pct": 1.5,
                     "resin_kg": 0.4, "sensor": "Rim"},
                ],
            }
        )
    )  # fmt: skip
    frost = falling_to(-6.0, 9 * 3600.0, 1.0)
    return (
        Level("easy", tonight(SETTINGS, soak.parts, shed, "demould", 2.9 * 3600.0), soak),
        Level("even", tonight(SETTINGS, lid.parts, shed, "demould", 2.65 * 3600.0), lid),
        Level("hard", tonight(weak, vinyl.parts, frost, "demould", 4.15 * 3600.0), vinyl),
    )


def judged(level: Level, hidden: int = HIDDEN, seed: int = 20) -> tuple[Plan, float]:
    """The plan, and the share of the hidden nights that reached the goal."""
    plan = plan_night(level.tonight, level.profile, improvements=False)
    found = goal_times_s(level.tonight, level.profile, Spreads(), hidden, seed)
    return plan, float(np.mean(np.isfinite(found)))


def calibration() -> bool:
    """Print the three levels; whether all are within."""
    fine = True
    for level in levels():
        plan, share = judged(level)
        more = float(np.mean(np.isfinite(
            goal_times_s(level.tonight, level.profile, Spreads(), MANY, 21)
        )))  # fmt: skip
        fine &= abs(share - plan.probability) <= WITHIN
        print(
            f"{level.name}: stated {100 * plan.probability:.1f} % (standard error "
            f"{100 * plan.standard_error:.1f}); of {HIDDEN} hidden nights {100 * share:.1f} %, of "
            f"{MANY} others {100 * more:.1f} %"
        )
    return fine


def drawn(index: int) -> Level:
    """A night nobody chose: one card or two, any shed, soak and deadline that make sense."""
    rng = np.random.default_rng([30, index])
    pick = [CARDS[i] for i in rng.choice(len(CARDS), 2, replace=False)]
    cards = pick if rng.random() < 0.4 else [pick[0], pick[0]]
    mixed = rng.uniform(0.0, 1.0)
    soak_c = float(np.round(rng.uniform(26.0, 45.0), 1))
    parts = [
        {
            "name": name,
            "card": card,
            "resin_kg": round(float(rng.uniform(0.1, 0.7)), 2),
            "start_h": round(float(-mixed), 2),
            "before_c": round(float(rng.uniform(15.0, 22.0)), 1),
            "sensor": name,
            **({} if card.startswith("epoxy") else {"catalyst_pct": float(rng.choice([1.5, 2.0]))}),
        }
        for name, card in zip(("Lid", "Rim"), cards, strict=True)
    ]
    rate = float(np.round(rng.uniform(7.0, 14.0), 1))
    profile = parse_profile(
        with_figures(
            {
                "name": f"Drawn {index}",
                "segments": [
                    {"kind": "ramp", "to_c": soak_c, "rate_c_per_h": rate},
                    {"kind": "soak", "at_c": soak_c, "hours": round(rng.uniform(1.0, 9.0), 1)},
                    {"kind": "cool", "rate_c_per_h": 20.0, "below_c": 25.0},
                ],
                "parts": parts,
            }
        )
    )
    first_c = float(rng.uniform(0.0, 14.0))
    shed = falling_to(first_c - float(rng.uniform(2.0, 9.0)), 10 * 3600.0, first_c)
    figures = [p.figures for p in profile.parts if p.figures is not None]
    needs_s = max(CureClock(f).needs_s("demould", soak_c) or 0.0 for f in figures)
    up_s = 3600.0 * (soak_c - first_c) / rate
    deadline_s = 0.7 * up_s + needs_s * float(np.exp(rng.uniform(np.log(0.7), np.log(1.8))))
    return Level(
        f"drawn {index}: {' and '.join(dict.fromkeys(cards))}, {soak_c:g} °C",
        tonight(SETTINGS, profile.parts, shed, "demould", min(deadline_s, 20 * 3600.0)), profile,
    )  # fmt: skip


@dataclass(frozen=True)
class Judged:
    """One night's plan against hidden nights, by whose resin it was; shares of them."""

    plan: Plan
    found: float
    """In time, of nights with any maker's resin."""
    slower: float
    quicker: float
    """In time, where the resin is slower or quicker than its card by half."""
    within: tuple[float, float, float]
    """Of any maker's, the slower, the quicker: share within the plan's 10-90 % range."""

    @property
    def off(self) -> float:
        """The stated probability less the share that was found."""
        return self.plan.probability - self.found

    @property
    def told_wide(self) -> bool:
        """Off the centre the odds lie between those told for a like, a slow and a quick resin."""
        odds = self.plan.makers
        assert odds is not None
        told = (odds.like, odds.slow, odds.quick)
        low, high = min(told) - WITHIN, max(told) + WITHIN
        return all(low <= share <= high for share in (self.slower, self.quicker))


def by_makers(level: Level, hidden: int = HIDDEN, nights: int = 300, seed: int = 40) -> Judged:
    """A plan on generic cards, judged by nights of any maker's resin and of resins off centre.

    Another `seed` draws other hidden nights.
    """
    plan = plan_night(level.tonight, level.profile, nights=nights, improvements=False)
    low_s, _, high_s = plan.quantiles_s(plan.nights.goal_s)
    end_s = level.tonight.deadline_s + 3600.0 * 3.0
    off = np.repeat([BY_HALF, 1.0 / BY_HALF], hidden)
    asked = (level.tonight, level.profile, Spreads())
    any_s = goal_times_s(*asked, hidden, seed, end_s=end_s)
    off_s = goal_times_s(*asked, len(off), seed + 1, maker_times=off, end_s=end_s)
    shares, within = [], []
    for goal_s in (any_s, off_s[:hidden], off_s[hidden:]):
        shares.append(float(np.mean(goal_s <= level.tonight.deadline_s)))
        # What is later than was looked at is later than the range only if the range ends before.
        late_s = min(np.inf if high_s is None else high_s, end_s)
        inside = (goal_s >= (low_s or 0.0)) & (goal_s <= late_s)
        if high_s is None or high_s > end_s:
            inside |= np.isinf(goal_s)
        within.append(float(np.mean(inside)))
    return Judged(plan, shares[0], shares[1], shares[2], (within[0], within[1], within[2]))


def makers(count: int) -> bool:
    """Print drawn nights and what came of them; whether the odds are true within a few points."""
    every = []
    for index in range(count):
        level = drawn(index)
        j = by_makers(level, seed=1000 + 2 * index)  # the same for all would share its luck
        every.append(j)
        odds = j.plan.makers
        assert odds is not None
        print(
            f"{level.name}: stated {100 * j.plan.probability:.0f}, found {100 * j.found:.0f}; "
            f"told {100 * odds.like:.0f} like, {100 * odds.slow:.0f} slow, {100 * odds.quick:.0f} "
            f"quick: slower by half {100 * j.slower:.0f}, quicker {100 * j.quicker:.0f}"
            f"{'' if j.told_wide else ', NOT WITHIN'}; in the 10-90 % range "
            f"{' '.join(f'{100 * w:.0f}' for w in j.within)}",
            flush=True,
        )
    off = np.array([j.off for j in every])
    within = np.mean([j.within for j in every], axis=0)
    print(
        f"{count} nights of {HIDDEN}: stated less found {100 * off.mean():+.1f} points, "
        f"{100 * np.abs(off).mean():.1f} without sign, {100 * np.abs(off).max():.1f} at most; off "
        f"the centre told wide in {sum(j.told_wide for j in every)} of {count}; the 10-90 % range "
        f"holds {100 * within[0]:.0f} of 100, {100 * within[1]:.0f} slower by half, "
        f"{100 * within[2]:.0f} quicker"
    )
    return bool(np.abs(off).mean() <= 0.03 and all(j.told_wide for j in every))


def main() -> int:
    """1 if something is not as asked."""
    if "advise" in sys.argv[1:]:
        from tests.plan.grid import tell

        return 0 if tell() else 1
    if "makers" in sys.argv[1:]:
        return 0 if makers(int(sys.argv[2]) if len(sys.argv) > 2 else 24) else 1
    return 0 if calibration() else 1


if __name__ == "__main__":
    sys.exit(main())
