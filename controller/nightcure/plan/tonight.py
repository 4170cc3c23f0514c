"""Tonight as it is believed to be: oven, parts, shed, start, deadline and what must be reached."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import get_args

import numpy as np

from ..cure.card import load_card
from ..cure.clock_figures import Milestone
from ..cure.part import Part
from ..errors import BadInput
from ..oven.arrays import Array
from ..oven.thermal import Mould, Network, network_from_model
from ..profile import knows
from ..settings import Role, Settings
from ..units import show_duration

#: A mould's lag behind the air where the oven's model says nothing (common practice, no source).
MOULD_LAG_S = 1200.0
#: Gel time goes with catalyst share to minus this, where no card says (common practice, no source).
CATALYST_POWER = 1.0
#: The shed is sampled so often, s.
AMBIENT_EVERY_S = 60.0
#: Nights longer than this are no nights.
LONGEST_H = 72.0
DAY_S = 86400.0


@dataclass(frozen=True)
class PlannedPart:
    """A part and how its gel answers to the catalyst: gel time ~ share ** -catalyst_power."""

    part: Part
    catalyst_power: float = 0.0


@dataclass(frozen=True)
class OvenFacts:
    """What the oven is believed to be; medians of the ensemble. Units in the names."""

    loss_w_per_k: float
    air_capacity_j_per_k: float
    mould_capacity_j_per_k: float
    mould_lag_s: float
    heater_lag_s: float
    power_w: float


@dataclass(frozen=True)
class Shed:
    """The shed's temperature, every minute from the start on; the last one holds."""

    values_c: tuple[float, ...]

    def at(self, times_s: Array) -> Array:
        """°C at times (s of the night), any shape."""
        grid = AMBIENT_EVERY_S * np.arange(len(self.values_c))
        result: Array = np.interp(times_s, grid, self.values_c)
        return result

    def __call__(self, t_s: float) -> float:
        """°C at one time, as `simulate.rehearse` asks for it."""
        share = min(max(t_s, 0.0) / AMBIENT_EVERY_S, len(self.values_c) - 1.0)
        i = min(int(share), len(self.values_c) - 2)
        a, b = self.values_c[i], self.values_c[i + 1]
        return a + (share - i) * (b - a)


@dataclass(frozen=True)
class Tonight:
    """Everything a plan starts from."""

    settings: Settings
    parts: tuple[PlannedPart, ...]
    facts: OvenFacts
    shed: Shed
    goal: Milestone
    deadline_s: float
    """After the start."""
    start_of_day_s: float = 20.0 * 3600.0
    """The start by the wall clock, s after midnight; only to show times."""
    surely: bool = False
    """The night is started on what is believed of its resins, as every night from the page: what
    waits for gel or demould waits until that has surely come (`plan.surely`)."""
    notes: tuple[str, ...] = ()
    """What else is to be said of where it starts from, a sentence each."""

    def network(self) -> Network:
        """The believed oven with tonight's moulds in it."""
        f, sensors = self.facts, mould_sensors(self.settings)
        names = tuple(self.settings.thermometers[i].name for i in sensors) or ("mould",)
        lag_s = f.mould_lag_s or MOULD_LAG_S
        network = network_from_model(
            f.loss_w_per_k, f.air_capacity_j_per_k, f.mould_capacity_j_per_k, lag_s,
            f.heater_lag_s, f.power_w, names,
        )  # fmt: skip
        stated: dict[str, float] = {}
        for p in self.parts:
            if p.part.mould_j_per_k is not None:
                on = p.part.sensor if p.part.sensor in names else names[0]
                stated[on] = stated.get(on, 0.0) + p.part.mould_j_per_k
        share = f.mould_capacity_j_per_k / len(names)
        capacities = [stated.get(name, share) for name in names]
        lag_s = max(lag_s, 60.0)
        moulds = [Mould(n, c, c / lag_s) for n, c in zip(names, capacities, strict=True) if c > 0.0]
        return replace(network, moulds=tuple(moulds))


def mould_sensors(settings: Settings) -> tuple[int, ...]:
    """Positions of the thermometers that sit on moulds or parts."""
    return settings.indices(Role.PART, Role.MOULD)


def facts_of(settings: Settings) -> OvenFacts:
    """The oven as oven.toml has it."""
    m = settings.model
    return OvenFacts(
        m.loss_w_per_k, m.air_capacity_j_per_k, m.mould_capacity_j_per_k, m.mould_lag_s,
        m.heater_lag_s, settings.heater.power_w,
    )  # fmt: skip


def planned(part: Part, folder: Path | None = None) -> PlannedPart:
    """A part with its card's own answer to the catalyst, read from the card where it is at hand.

    `folder`: where the profile lies that names the card.
    """
    if part.catalyst_pct is None or part.figures is None:
        return PlannedPart(part)
    try:
        card = load_card(part.card, folder)
        shares = sorted({r.catalyst_pct for r in card.gel if r.catalyst_pct is not None})
        low = max(shares[0], part.catalyst_pct / 1.2)
        high = min(shares[-1], part.catalyst_pct * 1.2)
        at_c = part.figures.reference_c
        less, more = card.gel_table(low).at(at_c), card.gel_table(high).at(at_c)
    except (BadInput, IndexError):
        return PlannedPart(part, CATALYST_POWER)
    if less is None or more is None or high <= low:
        return PlannedPart(part, CATALYST_POWER)
    return PlannedPart(part, math.log(less / more) / math.log(high / low))


def tonight(
    settings: Settings,
    parts: Sequence[PlannedPart | Part],
    ambient_c: Callable[[float], float] | Shed,
    goal: str,
    deadline_s: float,
    start_of_day_s: float = 20.0 * 3600.0,
    facts: OvenFacts | None = None,
) -> Tonight:
    """What a plan needs to know of the night, checked.

    Args:
        parts: with figures; see `cure.part.with_figures`.
        ambient_c: the shed's temperature, °C, by seconds of the night.
        goal: a milestone (`cure.clock_figures.MILESTONES`); `laminate-ready` is when the time to
            laminate upon the part begins.
        deadline_s: seconds after the start.
        facts: the oven's figures; those of oven.toml if None.

    Raises:
        BadInput: no parts, a goal that none of their cards knows, or an impossible deadline.
    """
    name = "laminate-opens" if goal == "laminate-ready" else goal
    names = get_args(Milestone)
    if name not in names:
        raise BadInput(f"the goal is '{goal}'; it should be laminate-ready, {', '.join(names)}.")
    milestone: Milestone = name  # type: ignore[assignment]
    if not math.isfinite(deadline_s) or not 0.0 < deadline_s <= LONGEST_H * 3600.0:
        raise BadInput(
            f"the deadline is {deadline_s / 3600.0:.1f} h after the start; it should lie after it, "
            f"by {LONGEST_H:.0f} h at the most."
        )
    ready = tuple(p if isinstance(p, PlannedPart) else planned(p) for p in parts)
    if not ready:
        raise BadInput(
            "no part with a resin card is known, so nothing cures; give a profile with [[parts]], "
            "or --card."
        )
    names_of = [t.name for t in settings.thermometers]
    for p in ready:
        if p.part.figures is None:
            raise BadInput(
                f"part '{p.part.name}': the numbers of its card '{p.part.card}' are not filled in; "
                f"read the profile from a file, or give the part's figures."
            )
        if p.part.sensor is not None and p.part.sensor not in names_of:
            raise BadInput(
                f"part '{p.part.name}' is on the thermometer '{p.part.sensor}', which this oven "
                f"has not; take one of {', '.join(names_of)}."
            )
    if not any(knows(p.part, milestone) for p in ready):
        cards = ", ".join(sorted({p.part.card for p in ready}))
        raise BadInput(
            f"no part's card tells '{goal}' ({cards}); take another goal, or add it to the card."
        )
    last = [3600.0 * p.part.start_h for p in ready if knows(p.part, milestone)]
    if max(last) >= deadline_s:
        raise BadInput(
            f"a part is mixed {show_duration(max(last))} after the start, which is not before the "
            f"deadline {show_duration(deadline_s)} after it; mix it earlier, or move the deadline."
        )
    shed = ambient_c if isinstance(ambient_c, Shed) else sampled(ambient_c, deadline_s + DAY_S)
    return Tonight(
        settings, ready, facts or facts_of(settings), shed, milestone, deadline_s, start_of_day_s
    )


def sampled(ambient_c: Callable[[float], float], length_s: float) -> Shed:
    """A shed from any function of time (s), for a night of `length_s`."""
    count = math.ceil(length_s / AMBIENT_EVERY_S) + 2
    return Shed(tuple(float(ambient_c(AMBIENT_EVERY_S * i)) for i in range(count)))


def falling_to(lowest_c: float, lowest_s: float, evening_c: float) -> Callable[[float], float]:
    """A night from its lowest temperature and its time (s of the night): a cosine down and up.

    Never quicker than three hours each way; from twice the fall on it stays as at the start.
    """
    fall_s = max(lowest_s, 3.0 * 3600.0)
    middle_c, half_k = 0.5 * (evening_c + lowest_c), 0.5 * (evening_c - lowest_c)

    def at(t_s: float) -> float:
        share = min(max(t_s + fall_s - lowest_s, 0.0) / fall_s, 2.0)
        return middle_c + half_k * math.cos(math.pi * share)

    return at
