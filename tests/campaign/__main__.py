"""python -m tests.campaign faults 200 [--seed 0] [--first 0] [--one I] [--json]
python -m tests.campaign clean 200
python -m tests.campaign regulation 60
python -m tests.campaign switches 200

Nights by chance on all cores, the same for the same seed and number; each that failed is told with
what reproduces it alone. With --json each is written as it is done, in their order: a run that was
broken off is taken up by --first. Status 1 if anything happened that must never be.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from functools import partial

from tests.campaign import plans, regulation, switches, tables
from tests.campaign.judge import Judged, judged
from tests.campaign.night import Plan, moments

DRAWN: dict[str, Callable[[int, int], tuple[Plan, list[tuple[str, float]]]]] = {
    "faults": plans.faulted,
    "clean": plans.clean,
}


def one(what: str, seed: int, index: int, tick_s: float = 2.0) -> Judged:
    """Night `index` of a campaign, a tick every `tick_s`."""
    plan, befell = DRAWN[what](seed, index)
    try:
        return judged(plan, index, befell, moments(plan, tick_s))
    except Exception as error:
        lost = Judged(index, plan.oven.kind, [k for k, _ in befell], 0.0, True)
        lost.wrong.append(f"{type(error).__name__}: {error}")
        return lost


def run(what: str, count: int, seed: int = 0, first: int = 0) -> Iterator[Judged]:
    """So many nights, on all cores; each as soon as it and those before it are done."""
    with ProcessPoolExecutor(initializer=partial(os.nice, 5)) as pool:
        yield from pool.map(partial(one, what, seed), range(first, first + count))


def tell(what: str, seed: int, index: int) -> None:
    """One night, event by event, and its verdict."""
    plan, befell = DRAWN[what](seed, index)
    settings = plan.oven.settings
    print(f"oven {plan.oven.kind}: {plan.oven.truth}")
    print(f"  {', '.join(t.role.value for t in settings.thermometers)}; contactor "
          f"{settings.contactor is not None}, heater declared {settings.heater.power_w:.0f} W, "
          f"window {settings.heater.window_s:.0f} s")  # fmt: skip
    print(f"  believed: {settings.model}")
    print(f"asked: {[s.model_dump(exclude_defaults=True) for s in plan.profile.segments]}")
    print(f"befell: {befell} {plan.faults} {plan.cuts} {plan.stalls} {plan.silences}")
    print(f"by hand: {[(round(a.at_s), a.word) for a in plan.asked]}; resin {len(plan.resin)}")

    def shown():  # type: ignore[no-untyped-def]
        next_s = 0.0
        for m in moments(plan):
            d = m.decision
            for e in d.events if d is not None else ():
                print(f"{m.t_s:7.0f} s {e.kind} {e.name} {e.state or ''}: {e.message}")
            if m.t_s >= next_s:
                next_s += 600.0
                said = "no tick" if d is None else (
                    f"{d.phase.value} setpoint {d.setpoint_c} shown {d.control_c} duty {d.duty}"
                    f"{'' if d.why_off is None else ' off: ' + d.why_off.code.value}")  # fmt: skip
                print(f"{m.t_s:7.0f} s air {m.air_c:.1f} part {m.part_c:.1f} heater "
                      f"{m.heater_c:.0f} flows {m.flows} {said}")  # fmt: skip
            yield m

    print(json.dumps(judged(plan, index, befell, shown()).as_json(), indent=1))


def main() -> int:
    """Run, print, and fail where something must never be."""
    parser = argparse.ArgumentParser(prog="python -m tests.campaign")
    parser.add_argument("what", choices=[*DRAWN, "regulation", "switches"])
    parser.add_argument("count", type=int, nargs="?", default=200)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--first", type=int, default=0, help="number of the first night")
    parser.add_argument("--one", type=int, help="this night alone, event by event")
    parser.add_argument("--json", action="store_true", help="a line of JSON a night")
    a = parser.parse_args()
    if a.what == "switches":
        with ProcessPoolExecutor(initializer=partial(os.nice, 5)) as pool:
            return switches.main(a.count, a.seed, a.first, pool)
    if a.what == "regulation":
        if a.one is not None:
            a.first, a.count = a.one, 1
        with ProcessPoolExecutor(initializer=partial(os.nice, 5)) as pool:
            return regulation.main(a.count, a.seed, a.first, a.json, pool)
    if a.one is not None:
        tell(a.what, a.seed, a.one)
        return 0
    began_s = time.perf_counter()
    nights = []
    for j in run(a.what, a.count, a.seed, a.first):
        nights.append(j)
        if a.json:
            print(json.dumps(j.as_json()), flush=True)
    if not a.json:
        took_s = time.perf_counter() - began_s
        (tables.faults if a.what == "faults" else tables.clean)(nights, a.seed)
        print(f"{a.count} nights in {took_s:.0f} s")
    return 1 if any(j.wrong for j in nights) else 0


if __name__ == "__main__":
    sys.exit(main())
