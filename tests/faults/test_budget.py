"""What the controller may cost a small board: memory, processor time, no numerics."""

from __future__ import annotations

from pathlib import Path

import psutil

from nightcure.cure.factors import card_prior
from nightcure.cure.mould_law import TERMS, MouldLaw
from nightcure.profile import Profile, parse_profile
from nightcure.settings.oven_evidence import Learned
from tests.loop.test_three_parts import three_parts
from tests.nights import SETTINGS, start
from tests.workshop import Workshop, wait_for

MOST_RESIDENT_BYTES = 60e6
#: Of one core, at a tick of 2 s.
MOST_PROCESSOR_SHARE = 0.02
#: A look ahead at the cure, once a minute, is among them.
TICKS = 34


def four_known_parts() -> Profile:
    """A night of four parts with all that earlier nights can have shown: resins, moulds, oven."""
    data = three_parts().model_dump(mode="json")
    data["parts"].append({**data["parts"][2], "name": "Hatch"})
    night = parse_profile(data)
    row = (5.0,) * TERMS
    diagonal = tuple(tuple(v * (i == k) for k, v in enumerate(row)) for i in range(TERMS))
    parts = []
    for part in night.parts:
        assert part.figures is not None
        mould = part.mould_j_per_k or SETTINGS.model.mould_capacity_j_per_k / 2.0
        law = MouldLaw(part=part.name, sensor=part.sensor or "", mould_j_per_k=mould, xx=diagonal,
                       xy=(0.1,) * TERMS, yy=0.5, weight=10.0, noise_k=0.05)  # fmt: skip
        parts.append(part.model_copy(update={"prior": card_prior(part.figures), "law": law}))
    oven = Learned(SETTINGS.model).oven().model_copy(update={"nights": 3})
    return night.model_copy(update={"parts": tuple(parts), "oven": oven})


def test_the_controller_stays_small_through_a_night_of_four_known_parts(tmp_path: Path) -> None:
    with Workshop(tmp_path) as workshop:
        process = psutil.Process(workshop.controller().pid)
        workshop.command("start", start(four_known_parts()).args)
        wait_for(lambda: len((workshop.live() or {}).get("cure", [])) == 4, 60, "four parts")
        wait_for(workshop.heater_on, 60, "it heats")
        first = workshop.live()
        assert first is not None
        assert first["tick_s"] == 2.0
        spent_s = sum(process.cpu_times()[:2])

        def ticks() -> int:
            return int((workshop.live() or first)["seq"] - first["seq"])

        wait_for(lambda: ticks() >= TICKS, 120, f"{TICKS} ticks")
        spent_s = sum(process.cpu_times()[:2]) - spent_s
        share = spent_s / (ticks() * first["tick_s"])
        assert share < MOST_PROCESSOR_SHARE, f"{100 * share:.2f} %"
        assert process.memory_info().rss < MOST_RESIDENT_BYTES
        libraries = {m.path for m in process.memory_maps()}
        assert not [path for path in libraries if "numpy" in path or "scipy" in path]
