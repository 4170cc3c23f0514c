"""The plan's own process: what `plan_job` asks on standard input, the answer on standard output."""

from __future__ import annotations

import json
import sys
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import numpy as np

from nightcure.errors import NightcureError
from nightcure.ledger.reader import LedgerReader
from nightcure.oven.arrays import Array
from nightcure.plan.advise import advise
from nightcure.plan.answer import course_of
from nightcure.plan.from_nights import as_started, from_nights
from nightcure.plan.makers import MakerOdds
from nightcure.plan.plan import Plan, plan_night
from nightcure.plan.sampling import Spreads
from nightcure.plan.tonight import Tonight, facts_of, falling_to, tonight
from nightcure.profile import Profile, parse_profile
from nightcure.report.standing import standing_sentences
from nightcure.settings import Settings

#: Points of a curve, about; and how long after deadline and goal it goes on, s.
POINTS, AFTER_S = 100, 1800.0
#: The page's search for a profile runs in fewer nights than the command's: somebody waits for it.
SEARCH_NIGHTS = 16


def main() -> None:
    """Answer with the plan, or with `refused`: sentences."""
    asked = json.load(sys.stdin)
    try:
        answer = advised(asked) if asked.get("advise") else told(planned(asked))
    except NightcureError as error:
        answer = {"refused": str(error).splitlines()}
    json.dump(answer, sys.stdout)


def planned(asked: dict[str, Any]) -> Plan:
    """The plan, worked out in this thread alone, so that one core is busy.

    Raises:
        BadInput: an impossible deadline, a goal that no card knows, or a profile that is refused.
    """
    night, profile, spreads = _night(asked)
    with ThreadPoolExecutor(1) as one:
        return plan_night(night, profile, spreads=spreads, nights=asked["nights"], executor=one)


def _night(asked: dict[str, Any]) -> tuple[Tonight, Profile, Spreads]:
    settings = Settings.model_validate(asked["settings"])
    profile = parse_profile(asked["profile"])
    shed = falling_to(asked["lowest_c"], asked["lowest_s"], asked["evening_c"])
    facts, spreads = from_nights(profile.oven, facts_of(settings), Spreads())
    night = tonight(
        settings, profile.parts, shed, asked["goal"], asked["deadline_s"], asked["start_s"], facts
    )
    standing = []
    if settings.ledger.exists():
        reader = LedgerReader(settings.ledger)
        standing = standing_sentences(reader, settings.name, profile.parts, settings.units)
    return as_started(night, profile.oven, standing), profile, spreads


def advised(asked: dict[str, Any]) -> dict[str, Any]:
    """Three profiles for the same parts in the same night, each with its plan.

    Raises:
        BadInput: as `planned`.
    """
    night, profile, spreads = _night(asked)
    with ThreadPoolExecutor(1) as one:
        found = advise(
            night, spreads=spreads, nights=asked["nights"], search_nights=SEARCH_NIGHTS,
            box=profile.box, executor=one,
        )  # fmt: skip
    return {
        "advice": [
            {
                "kind": a.kind,
                "sure": a.sure,
                "course": course_of(a.plan.profile),
                "profile": a.plan.profile.model_dump(mode="json"),
                "plan": told(a.plan),
            }
            for a in found
        ]
    }


def told(plan: Plan) -> dict[str, Any]:
    """The plan as `models.plan_models.Plan` has it."""
    weak = plan.weak_point()
    whole = plan.as_json()
    kept = (
        *("probability", "standard_error", "goal", "deadline_s", "energy_kwh", "milestones"),
        *("warnings", "levers", "nights", "cost", "currency", "too_much_at_once"),
        *MakerOdds.KEYS,
    )
    return {
        "answer": whole["answer"].removesuffix(weak).strip(),
        "weak_point": weak,
        **{key: whole[key] for key in kept},
        "curves": curves(plan),
    }


def curves(plan: Plan) -> dict[str, Any]:
    """Air, parts and shed with 10, 50 and 90 % of the nights, to a while after the deadline."""
    series = plan.nights.series
    assert series is not None
    late_s = plan.quantiles_s(plan.nights.goal_s)[2] or 0.0
    end = int(np.searchsorted(series.time_s, max(plan.tonight.deadline_s, late_s) + AFTER_S))
    rows = slice(0, end, max(end // POINTS, 1))
    names = [p.part.name for p in plan.tonight.parts]
    lines = [("air", series.air_c), *zip(names, series.parts_c, strict=True)]
    return {
        "time_s": series.time_s[rows].tolist(),
        "lines": [_line(n, v[rows]) for n, v in [*lines, ("shed", series.ambient_c)]],
    }


def _line(name: str, values_c: Array) -> dict[str, Any]:
    points = np.round(np.percentile(values_c, (10, 50, 90), axis=1), 2).tolist()
    return {"name": name, **dict(zip(("p10_c", "p50_c", "p90_c"), points, strict=True))}


if __name__ == "__main__":
    main()
