"""The survey on ovens that are not ours: 100 made-up boxes of nine nodes, solved by scipy.

python -m tests.survey_campaign              everything, some minutes on two cores
python -m tests.survey_campaign logs 20      a sample of one part: logs, notes, brief
python -m tests.survey_campaign boxes        gains from surveys, rehearsed: five boxes, one table
"""

from __future__ import annotations

import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial

import numpy as np

from nightcure.survey.log import Log
from nightcure.survey.survey import survey
from tests.foreign_oven import ForeignOven, foreign_oven, heated_to_s, noted

#: Kind -> largest error of the loss asked for, in how many of 100.
ASKED = {"logs": (0.05, 95), "notes": (0.25, 90), "brief": (None, None)}
COVERED = 90, 99


@dataclass(frozen=True)
class Outcome:
    """One survey against the truth."""

    error: float
    """Of the loss, relative."""
    inside: bool
    half: float
    """Half-width of the stated interval, relative."""
    says_longer: bool
    says_ambient: bool


def made(kind: str, seed: int) -> tuple[ForeignOven, Log]:
    """A box by chance and its log.

    logs: 20 s samples, 0.0625 °C, noise 0.1 °C, one heat and one cool-down, ambient noted.
    notes: a dozen rows of whole degrees over the slow time constant, half of it heated, no ambient.
    brief: the same over 30 minutes.
    """
    rng = np.random.default_rng(seed)
    oven = foreign_oven(rng)
    slow_s = oven.slow_s()
    hot_s = heated_to_s(oven, 80.0, 8.0)
    if kind == "logs":
        heat_s = round(min(rng.uniform(0.8, 1.5) * slow_s, hot_s) / 20.0) * 20.0
        rows_s = np.arange(0.0, heat_s + rng.uniform(1.5, 3.0) * slow_s, 20.0)
        n = noted(oven, rng, rows_s, 0.0, heat_s)
        return oven, Log(
            n.time_s, n.air_c, n.time_s, n.on.astype(float), None, n.ambient_c, oven.power_w
        )
    whole_s = round((slow_s if kind == "notes" else 1800.0) / 60.0) * 60.0
    heat_s = round(min(0.5 * whole_s, max(hot_s, 120.0)) / 60.0) * 60.0
    rows_s = np.unique(np.round(np.linspace(0.0, whole_s, 12) / 60.0) * 60.0)
    n = noted(oven, rng, rows_s, 0.0, heat_s, rounding_c=1.0)
    switched = np.array([0.0, heat_s])
    return oven, Log(n.time_s, n.air_c, switched, np.array([1.0, 0.0]), power_w=oven.power_w)


def one(kind: str, seed: int) -> Outcome:
    """Survey box `seed`."""
    oven, log = made(kind, seed)
    found = survey(log)
    loss, true = found.loss_w_per_k, oven.loss_w_per_k
    assert loss is not None
    return Outcome(
        loss.value / true - 1.0,
        loss.low <= true <= loss.high,
        (loss.high / loss.low) ** 0.5 - 1.0,
        any("more, as often as so far, for ±15 %" in s for s in found.unknown),
        any("No ambient was noted" in s for s in found.assumed),
    )


def run(kind: str, count: int) -> list[Outcome]:
    """Seeds 0 to count - 1, on all cores."""
    with ProcessPoolExecutor() as pool:
        return list(pool.map(partial(one, kind), range(count), chunksize=5))


def tell(kind: str, outcomes: list[Outcome]) -> bool:
    """Print the tally; whether it is what was asked for."""
    count = len(outcomes)
    errors = np.array([o.error for o in outcomes])
    inside = sum(o.inside for o in outcomes)
    within, least = ASKED[kind]
    half = 100 * np.median([o.half for o in outcomes])
    print(
        f"{kind}: {count} boxes; loss off by {100 * np.sqrt(np.mean(errors**2)):.1f} % rms, at "
        f"most {100 * np.abs(errors).max():.1f} %; interval ±{half:.1f} % "
        f"(median) holds the truth in {inside}"
    )
    fine = COVERED[0] * count <= 100 * inside <= COVERED[1] * count
    if within is not None and least is not None:
        good = int(np.sum(np.abs(errors) <= within))
        print(f"  within {100 * within:.0f} %: {good}")
        fine &= 100 * good >= least * count
    if kind != "logs":
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
