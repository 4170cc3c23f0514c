"""Boxes that age, night after night: is the oven that is learned the oven that is there?

python -m tests.oven_campaign 20            boxes, ten nights each; loss +3 % a week
python -m tests.oven_campaign 20 3 --json   three nights each, a line a night

Ovens of two structures (`tests.campaign.ovens`), half of them of another than the controller's
model; the model in oven.toml is off by what a survey is off by. Every night has another shed and
another profile, and starts from what the nights before have shown.
"""

from __future__ import annotations

import math
import sys
from collections.abc import Iterator
from dataclasses import replace
from typing import Any

import numpy as np

from nightcure.oven.thermal import Network
from nightcure.settings.oven_evidence import Learned, OvenEvidence
from nightcure.simulate.zoned import ZonedOven
from tests import row_campaign
from tests.campaign.night import Plan, moments
from tests.campaign.ovens import Draw, DrawnOven, drawn_oven
from tests.campaign.plans import drawn_profile, falling
from tests.nights import changed

DAY_S, WEEKLY = 86400.0, 1.03
Z80 = 1.2815515655446004
NAMES = ("loss_w_per_k", "air_j_per_k", "mould_j_per_k")


def aged(plant: Network | ZonedOven, times: float) -> Network | ZonedOven:
    """With a loss of so many times: gaps, which let air through."""
    if isinstance(plant, ZonedOven):
        more = plant.loss_w_per_k * (times - 1.0)
        return replace(plant, draught_w_per_k=plant.draught_w_per_k + more)
    return replace(plant, leak_w_per_k=plant.leak_w_per_k + plant.loss_w_per_k * (times - 1.0))


def box(index: int) -> tuple[Draw, DrawnOven]:
    """An oven, surveyed as well as one evening does, no laminate in it."""
    d = Draw(77, index)
    oven = drawn_oven(d, changed_since=False, errors=False)
    heater = {"power_w": oven.truth.power_w, "window_s": 20.0, "min_on_s": 2.0, "min_off_s": 2.0}
    t = oven.truth
    model = {
        "loss_w_per_k": t.loss_w_per_k * d.about(1.0, 0.15, 0.6, 1.6),
        "air_capacity_j_per_k": t.air_j_per_k * d.about(1.0, 0.25, 0.5, 2.0),
        "mould_capacity_j_per_k": t.mould_j_per_k * d.about(1.0, 0.25, 0.5, 2.0),
        "mould_lag_s": t.mould_lag_s * d.about(1.0, 0.25, 0.5, 2.0),
    }
    return d, replace(oven, settings=changed(oven.settings, heater=heater, model=model))


def series(index: int, nights: int) -> Iterator[dict[str, Any]]:
    """The nights of one box, each with what was believed before it and what was so."""
    d, oven = box(index)
    model = oven.settings.model
    learned, wall_s = Learned(model), 0.0
    for night in range(nights):
        wall_s += DAY_S
        learned.passes(wall_s)
        before = learned.oven()
        times = WEEKLY ** (night / 7.0) * math.exp(0.03 * float(d.rng.standard_normal()))
        t = oven.truth
        true = (t.loss_w_per_k * times, t.air_j_per_k, t.mould_j_per_k)
        plant = aged(oven.plant, times)
        while True:
            shed = falling(d)
            start_c = shed(0.0) + d.between(0.0, 4.0)
            course_c = [shed(h * 3600.0) for h in range(14)]
            profile = drawn_profile(d, oven, min(course_c), start_c, 6.0, max(course_c))
            if profile is not None:
                break
        profile = profile.model_copy(update={"oven": before})
        plan = Plan(replace(oven, plant=plant), profile, shed, start_c,
                    int(d.rng.integers(2**31)), 14 * 3600.0)  # fmt: skip
        found, said = None, ""
        for m in moments(plan):
            if m.decision is None:
                continue
            for e in m.decision.evidence:
                found = OvenEvidence.from_json(e.found) if e.kind == "oven" else found
            for event in m.decision.events:
                said = event.message if event.name == "oven-changed" else said
        figures = (
            before.loss_w_per_k, before.air_capacity_j_per_k, before.mould_capacity_j_per_k
        )  # fmt: skip
        yield {
            "box": index, "night": night, "oven": oven.kind, "said": said,
            "off": [math.log(a / b) for a, b in zip(figures, true, strict=True)],
            "sd": [math.sqrt(before.log_covariance[i][i]) for i in range(3)],
            "found": None if found is None else [*found.pull, *found.information],
            "model": [model.loss_w_per_k, model.air_capacity_j_per_k, model.mould_capacity_j_per_k],
            "true": list(true),
        }  # fmt: skip
        if found is not None:
            learned.see(found)


def tell(rows: list[dict[str, Any]]) -> Iterator[str]:
    """Night by night."""
    for night in sorted({r["night"] for r in rows}):
        some = [r for r in rows if r["night"] == night]
        line = f"night {night + 1:2d} of {len(some)} boxes:"
        for i, name in enumerate(("loss", "quick", "moulds")):
            off = np.array([r["off"][i] for r in some])
            sd = np.array([r["sd"][i] for r in some])
            held = 100.0 * np.mean(np.abs(off) <= Z80 * sd)
            line += (
                f"  {name} off {100 * np.median(np.abs(off)):.0f} %, bias "
                f"{100 * np.median(off):+.0f} %, 80 % range x{np.median(np.exp(Z80 * sd)):.2f} "
                f"holds {held:.0f} %;"
            )
        yield line
    yield f"said to have changed: {sum(bool(r['said']) for r in rows)} of {len(rows)} nights"


def rows_of(boxes: int, nights: int, first: int) -> Iterator[dict[str, Any]]:
    """Every night of so many boxes."""
    for index in range(first, first + boxes):
        yield from series(index, nights)


if __name__ == "__main__":
    sys.exit(row_campaign.run(rows_of, tell, 20, 10, 0))
