"""What would raise the odds most: one change at a time, in the same nights."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ..cure.card import load_card
from ..cure.part import Part
from ..errors import BadInput
from ..oven.installation import most_power_w
from ..profile import Profile, Soak
from .night_results import Nights
from .pool import Job, WorkerPool
from .sampling import SampledParameters, Spreads, draw
from .shapes import room_of
from .tonight import Shed, Tonight, planned

#: How much each is changed by.
LESS_LOSS, MORE_POWER, EARLIER_S, HOTTER_K, LONGER_H = 0.75, 1.5, 3600.0, 3.0, 1.0
MORE_CATALYST_PCT = 0.5
#: Where so many nights meet the goal there is nothing worth raising.
ENOUGH = 0.98
#: A stronger heater is spoken of where this one gives all it has for so long, s.
SATURATED_S = 1200.0


@dataclass(frozen=True)
class Improvement:
    """A change and what it does to the odds."""

    what: str
    probability: float
    gain: float
    """Of the probability, against the same nights without the change."""

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "what": self.what,
            "probability": round(self.probability, 4),
            "probability_gain": round(self.gain, 4),
        }


def tried(
    workers: WorkerPool, changes: Sequence[tuple[str, Job]], base: float
) -> tuple[Improvement, ...]:
    """The improvements by their effect, the strongest first."""
    found = workers.run([job for _, job in changes])
    improvements = []
    for (what, job), nights in zip(changes, found, strict=True):
        chance = float(np.mean(nights.met(job.tonight.deadline_s)))
        improvements.append(Improvement(what, chance, chance - base))
    return tuple(sorted(improvements, key=lambda improvement: -improvement.gain))


def improvements_of(
    tonight: Tonight,
    sampled: SampledParameters,
    spreads: Spreads,
    seed: int,
    profile: Profile,
    found: Nights,
) -> list[tuple[str, Job]]:
    """The changes that can be made tonight or before the next night.

    Args:
        truths: the nights to try them in.
        spreads, seed: where the nights came from, to draw them again for another mix.
        found: how it goes without any change.
    """

    def job(t: Tonight, p: Profile, nights: SampledParameters = sampled) -> Job:
        return Job(t, nights, (p,), t.deadline_s + 60.0)

    out = [
        (
            f"a quarter less loss ({LESS_LOSS * tonight.facts.loss_w_per_k:.1f} W/K: another "
            f"layer of board, taped joints)",
            job(_with_facts(tonight, loss=LESS_LOSS), profile),
        ),
        ("starting an hour earlier", job(_earlier(tonight), _longer(profile, 1.0))),
    ]
    hotter = _hotter(tonight, profile)
    if hotter is not None:
        out.append((f"a soak {HOTTER_K:g} °C hotter", job(tonight, hotter)))
    steeper = _steeper(tonight, profile)
    if steeper is not None:
        rate = max(s.rate_c_per_h for s in steeper.segments if s.kind == "ramp")
        out.append((f"ramps of {rate:g} °C/h, the steepest allowed here", job(tonight, steeper)))
    over_s = float(np.nanmedian(found.over_s)) if not np.isnan(found.over_s).all() else np.inf
    if over_s < tonight.deadline_s - 1800.0:
        out.append(("a soak an hour longer", job(tonight, _longer(profile, LONGER_H))))
    more_w = MORE_POWER * tonight.facts.power_w
    if float(np.median(found.full_s)) > SATURATED_S and _bears(tonight, more_w):
        out.append(
            (
                f"a heater of {more_w:.0f} W",
                job(_with_facts(tonight, power=MORE_POWER), profile),
            )
        )
    mixed = _more_catalyst(tonight)
    if mixed is not None:
        what, other = mixed
        parts = tuple(p.part for p in other.parts)
        more = profile.model_copy(update={"parts": parts})
        again = draw(other, spreads, len(found.goal_s), seed)[: sampled.nights]
        out.append((what, job(other, more, again)))
    limits = tonight.settings.limits
    return [(what, j) for what, j in out if not j.profiles[0].refusals(limits, to_start=False)]


def _with_facts(tonight: Tonight, loss: float = 1.0, power: float = 1.0) -> Tonight:
    """Another oven, its settings told so: what it is and what the controller believes."""
    f, s = tonight.facts, tonight.settings
    facts = replace(f, loss_w_per_k=loss * f.loss_w_per_k, power_w=power * f.power_w)
    model = s.model.model_copy(update={"loss_w_per_k": loss * s.model.loss_w_per_k})
    heater = s.heater.model_copy(update={"power_w": power * s.heater.power_w})
    settings = s.model_copy(update={"model": model, "heater": heater})
    return replace(tonight, facts=facts, settings=settings)


def _earlier(tonight: Tonight) -> Tonight:
    """The same night begun an hour earlier, in the shed as it is at the start."""
    minutes = round(EARLIER_S / 60.0)
    shed = Shed((tonight.shed.values_c[0],) * minutes + tonight.shed.values_c)
    return replace(
        tonight, shed=shed, deadline_s=tonight.deadline_s + EARLIER_S,
        start_of_day_s=tonight.start_of_day_s - EARLIER_S,
    )  # fmt: skip


def _longer(profile: Profile, hours: float) -> Profile:
    """The last soak so much longer."""
    at = max(i for i, s in enumerate(profile.segments) if isinstance(s, Soak))
    soak = profile.segments[at]
    assert isinstance(soak, Soak)
    longer = soak.model_copy(update={"hours": min(soak.hours + hours, 72.0)})
    segments = (*profile.segments[:at], longer, *profile.segments[at + 1 :])
    return profile.model_copy(update={"segments": segments})


def _bears(tonight: Tonight, power_w: float) -> bool:
    """Whether a heater stuck on could not cook the box, or two cut-outs stand between."""
    warmest_c = tonight.settings.installation.warmest_c
    two = tonight.settings.limits.cut_outs >= 2
    return two or power_w <= most_power_w(tonight.facts.loss_w_per_k, warmest_c)


def _hotter(tonight: Tonight, profile: Profile) -> Profile | None:
    """Everything at the highest soak's warmth a little hotter; None where nothing allows it."""
    highest_c = profile.highest_c
    if highest_c + HOTTER_K > room_of(tonight).warmest_c:
        return None
    segments = []
    for s in profile.segments:
        key = "at_c" if s.kind == "soak" else "to_c" if s.kind == "ramp" else ""
        if key and getattr(s, key) == highest_c:
            s = s.model_copy(update={key: highest_c + HOTTER_K})
        segments.append(s)
    return profile.model_copy(update={"segments": tuple(segments)})


def _steeper(tonight: Tonight, profile: Profile) -> Profile | None:
    """Every ramp upwards as steep as oven and cards allow; None where they are already."""
    most = room_of(tonight).steepest_c_per_h
    segments = [
        s.model_copy(update={"rate_c_per_h": most})
        if s.kind == "ramp" and s.rate_c_per_h < 0.9 * most
        else s
        for s in profile.segments
    ]
    changed = tuple(segments) != profile.segments
    return profile.model_copy(update={"segments": tuple(segments)}) if changed else None


def _more_catalyst(tonight: Tonight) -> tuple[str, Tonight] | None:
    """Every mix with half a per cent more, as far as its card's table goes."""
    parts = []
    said = ""
    for p in tonight.parts:
        part = p.part
        if part.catalyst_pct is None or part.start_h < 0.0:
            parts.append(p)
            continue
        try:
            card = load_card(part.card)
            most = max(r.catalyst_pct for r in card.gel if r.catalyst_pct is not None)
            share = min(part.catalyst_pct + MORE_CATALYST_PCT, most)
            if share <= part.catalyst_pct + 0.05:
                parts.append(p)
                continue
            data = {**part.model_dump(), "catalyst_pct": share, "figures": card.figures(share)}
            parts.append(planned(Part.model_validate(data)))
            said = said or f"{share:g} % catalyst instead of {part.catalyst_pct:g} %"
        except (BadInput, ValueError):
            parts.append(p)
    return (said, replace(tonight, parts=tuple(parts))) if said else None
