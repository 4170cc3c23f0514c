"""The survey on ovens that are not ours: made-up boxes of nine nodes, solved by scipy.

python -m tests.survey_campaign                everything, some minutes on two cores
python -m tests.survey_campaign logs 20        a sample of one kind, see `made`
python -m tests.survey_campaign boxes          gains from surveys, rehearsed: five boxes, one table
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from nightcure.errors import BadInput
from nightcure.survey.identified import Value
from nightcure.survey.log import Log
from nightcure.survey.survey import survey
from tests.foreign_oven import Array, ForeignOven, foreign_oven, heated_to_s, noted

#: Kind -> largest error of the loss asked for, in how many of 100.
ASKED = {
    "logs": (0.05, 95), "notes": (0.25, 90), "brief": (None, None),
    "gaps": (None, None), "door": (None, None), "sight": (None, None),
}  # fmt: skip
#: In so many of 100 the interval holds the truth; the median error; how many may be refused.
COVERED, BIAS, REFUSED = 90, 0.03, 20


@dataclass(frozen=True)
class Outcome:
    """One survey against the truth."""

    error: float
    """Of the loss, logarithm of found over true; likewise of the slowest time constant."""
    slow_error: float
    inside: bool
    slow_inside: bool
    half: float
    """Half-width of the loss's stated interval, relative."""
    says_longer: bool
    says_ambient: bool


def made(kind: str, seed: int) -> tuple[ForeignOven, Log, float | None]:
    """A box by chance, its log, and the shed's temperature as it was stated.

    logs: 20 s samples, 0.0625 °C, noise 0.1 °C, one heat and one cool-down, ambient noted.
    notes: a dozen rows of whole degrees over the slow time constant, half of it heated, no ambient.
    brief: the same over 30 minutes.
    gaps: as logs, with one to three gaps of 10 to 60 min, and a shed that was stated once and falls
        by up to 6 K.
    door: as logs, and somebody opens a door for 1 to 5 min, by which 3 to 20 times the loss goes.
    sight: as logs, switched in windows of 20 to 120 s, and the air's thermometer shows 1 to 10 % of
        what the heater is above the air.
    """
    rng = np.random.default_rng(seed)
    oven = foreign_oven(rng)
    slow_s = oven.slow_s()
    hot_s = heated_to_s(oven, 80.0, 8.0)
    if kind in ("notes", "brief"):
        whole_s = round((slow_s if kind == "notes" else 1800.0) / 60.0) * 60.0
        heat_s = round(min(0.5 * whole_s, max(hot_s, 120.0)) / 60.0) * 60.0
        rows_s = np.unique(np.round(np.linspace(0.0, whole_s, 12) / 60.0) * 60.0)
        n = noted(oven, rng, rows_s, 0.0, heat_s, rounding_c=1.0)
        switched = np.array([0.0, heat_s])
        log = Log(n.time_s, n.air_c, switched, np.array([1.0, 0.0]), power_w=oven.power_w)
        return oven, log, None
    heat_s = round(min(rng.uniform(0.8, 1.5) * slow_s, hot_s) / 20.0) * 20.0
    rows_s = np.arange(0.0, heat_s + rng.uniform(1.5, 3.0) * slow_s, 20.0)
    door, sight, window_s, drift_c = None, 0.0, 0.0, 3.0
    if kind == "door":
        open_s, from_s = rng.uniform(60.0, 300.0), rng.uniform(0.05, 0.85) * rows_s[-1]
        by = np.exp(rng.uniform(np.log(3.0), np.log(20.0)))
        door = from_s, from_s + open_s, float(oven.loss_w_per_k * by)
    elif kind == "sight":
        sight = float(np.exp(rng.uniform(np.log(0.01), np.log(0.1))))
        window_s = float(rng.choice([20.0, 40.0, 60.0, 120.0]))
    elif kind == "gaps":
        drift_c = 6.0
    n = noted(
        oven, rng, rows_s, 0.0, heat_s, drift_c=drift_c, door=door, seen=sight, window_s=window_s
    )
    heat_time_s, heat = n.time_s, n.on.astype(float)
    if kind == "sight":
        heat_time_s = np.append(np.arange(0.0, heat_s, window_s / 2.0), heat_s)
        heat = np.append((np.arange(len(heat_time_s) - 1) % 2 == 0).astype(float), 0.0)
    if kind != "gaps":
        log = Log(n.time_s, n.air_c, heat_time_s, heat, None, n.ambient_c, oven.power_w)
        return oven, log, None
    keep = _with_gaps(rows_s, rng)
    switched = np.array([0.0, heat_s])
    log = Log(
        n.time_s[keep], n.air_c[keep], switched, np.array([1.0, 0.0]), power_w=oven.power_w
    )  # fmt: skip
    return oven, log, float(n.ambient_c[0])


def _with_gaps(rows_s: Array, rng: np.random.Generator) -> Array:
    """Which rows are left."""
    keep = np.ones(len(rows_s), bool)
    for _ in range(rng.integers(1, 4)):
        from_s, long_s = rng.uniform(0.02, 0.9) * rows_s[-1], rng.uniform(600.0, 3600.0)
        keep &= ~((rows_s > from_s) & (rows_s < from_s + long_s))
    return keep


def one(kind: str, seed: int) -> Outcome | None:
    """Survey box `seed`; None where it was refused."""
    oven, log, stated_c = made(kind, seed)
    try:
        found = survey(log, stated_c)
    except BadInput:
        return None
    loss, slow = found.loss_w_per_k, found.time_constants_s[0]
    assert loss is not None

    def against(value: Value, true: float) -> tuple[float, bool]:
        return float(np.log(value.value / true)), bool(value.low <= true <= value.high)

    error, inside = against(loss, oven.loss_w_per_k)
    slow_error, slow_inside = against(slow, oven.slow_s())
    return Outcome(
        error,
        slow_error,
        inside,
        slow_inside,
        (loss.high / loss.low) ** 0.5 - 1.0,
        any("more, as often as so far, for ±15 %" in s for s in found.unknown),
        any("No ambient was noted" in s for s in found.assumed),
    )


def run(kind: str, count: int, first: int = 0) -> list[Outcome | None]:
    """So many boxes, on all cores."""
    with ProcessPoolExecutor() as pool:
        return list(pool.map(partial(one, kind), range(first, first + count), chunksize=5))


def tell(kind: str, all_of_them: list[Outcome | None]) -> bool:
    """Print the tally; whether it is what was asked for."""
    outcomes = [o for o in all_of_them if o is not None]
    count, refused = len(outcomes), len(all_of_them) - len(outcomes)
    errors = np.array([o.error for o in outcomes])
    inside = sum(o.inside for o in outcomes)
    slow_inside = sum(o.slow_inside for o in outcomes)
    bias, slow_bias = (
        float(np.median(e)) for e in (errors, [o.slow_error for o in outcomes])
    )  # fmt: skip
    half = 100 * np.median([o.half for o in outcomes])
    print(
        f"{kind}: {len(all_of_them)} boxes, {refused} refused; loss off by "
        f"{100 * np.sqrt(np.mean(errors**2)):.1f} % rms, median {100 * bias:+.1f} %, at most "
        f"{100 * np.abs(errors).max():.1f} %; interval ±{half:.1f} % (median) holds the truth in "
        f"{100 * inside / count:.1f} of 100; slowest time constant: median "
        f"{100 * slow_bias:+.1f} %, in {100 * slow_inside / count:.1f} of 100"
    )
    fine = min(inside, slow_inside) * 100 >= COVERED * count
    fine &= 100 * refused <= REFUSED * len(all_of_them)
    within, least = ASKED[kind]
    if kind != "brief":
        fine &= max(abs(bias), abs(slow_bias)) <= BIAS
    if within is not None and least is not None:
        good = int(np.sum(np.abs(errors) <= within))
        print(f"  within {100 * within:.0f} %: {good}")
        fine &= 100 * good >= least * count
    if kind in ("notes", "brief"):
        longer = sum(o.says_longer for o in outcomes if o.half > 0.15)
        wide = sum(o.half > 0.15 for o in outcomes)
        print(f"  says how much longer to note: {longer} of {wide} wider than ±15 %; "
              f"that no ambient was noted: {sum(o.says_ambient for o in outcomes)}")  # fmt: skip
        fine &= longer == wide and all(o.says_ambient for o in outcomes)
    return fine


def main() -> int:
    """Print every tally asked for; 1 if any is not what was asked for."""
    kinds = [a for a in sys.argv[1:] if not a.isdigit()] or [*ASKED, "boxes"]
    count = next((int(a) for a in sys.argv[1:] if a.isdigit()), 100)
    fine = True
    for kind in kinds:
        if kind == "boxes":
            from tests.boxes import tell_boxes

            fine &= tell_boxes()
        else:
            fine &= tell(kind, run(kind, count))
    return 0 if fine else 1


if __name__ == "__main__":
    sys.exit(main())
