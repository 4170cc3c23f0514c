"""What somebody without a controller does: one good heat, everything sealed, and wait.

The box is the network of its sizes; the shed is as cold as the night's lowest throughout. Beside it
the same box held at one temperature, which is what regulating would change.
"""

from __future__ import annotations

from typing import Any, NamedTuple

import numpy as np

from ..cure.clock_figures import ClockFigures
from ..cure.history import History, run_clock
from ..oven.thermal import AIR, FIRST_MOULD, HEATER, Network, step
from ..units import show_duration

STEP_S = 30.0
#: One heat lasts no longer than this, h; then the box is left to cool.
LONGEST_HEAT_H = 6.0
#: So long it is watched, h, and so long a regulated night heats.
WATCHED_H, HELD_H = 48.0, 12.0
#: Warm enough for a resin to go on, °C (common practice, no source).
WARM_C = 25.0


class Course(NamedTuple):
    """One night of the box."""

    minutes: list[float]
    air_c: list[float]
    part_c: list[float]
    heated_s: float
    highest_air_c: float
    warm_s: float
    """The part above `WARM_C`."""
    reached_s: dict[str, float]
    """Milestones of the likely track, s after the heat began; negative: before."""
    energy_kwh: float


class OneHeat(NamedTuple):
    """Both courses, and what they come to."""

    alone: Course
    held: Course
    sentences: tuple[str, ...]

    def as_json(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "alone": self.alone._asdict(),
            "held": self.held._asdict(),
            "sentences": list(self.sentences),
        }


def one_heat(
    network: Network,
    ambient_c: float,
    heat_to_c: float,
    hold_c: float,
    figures: ClockFigures | None,
    before_s: float = 2.0 * 3600.0,
    before_c: float = 20.0,
) -> OneHeat:
    """One heat against a held night.

    Args:
        network: the box with its moulds and its heater's power.
        ambient_c: the shed, throughout.
        heat_to_c: the air at which the one heat ends.
        hold_c: what a regulated night holds.
        figures: of the resin on the slowest mould; None: no resin is named.
        before_s: the resin was mixed so long before the box was shut ...
        before_c: ... and stood at this.
    """
    before: History = [(0.0, before_c), (before_s, before_c)] if before_s > 0.0 else []
    alone = _course(network, ambient_c, heat_to_c, None, figures, before)
    held = _course(network, ambient_c, hold_c, HELD_H, figures, before)
    return OneHeat(alone, held, tuple(_told(network, alone, held, heat_to_c, hold_c, figures)))


def _course(
    network: Network,
    ambient_c: float,
    to_c: float,
    held_h: float | None,
    figures: ClockFigures | None,
    before: History,
) -> Course:
    """Full power until the air is at `to_c`; then off for good, or held there for `held_h`."""
    nodes = len(network.capacities)
    state = np.full(nodes, ambient_c)
    off, on = np.zeros(nodes), np.zeros(nodes)
    on[HEATER] = network.power_w
    slowest = _slowest(network)
    air, part = [ambient_c], [ambient_c]
    heated_s = heating_s = 0.0
    arrived = False
    for i in range(int(WATCHED_H * 3600.0 / STEP_S)):
        t_s = i * STEP_S
        if held_h is None:
            arrived = arrived or state[AIR] >= to_c or t_s >= LONGEST_HEAT_H * 3600.0
            heat = not arrived
        else:
            heat = state[AIR] < to_c and t_s < held_h * 3600.0
        state = step(network, state, STEP_S, ambient_c, on if heat else off)
        heated_s += STEP_S if heat else 0.0
        if heat:
            heating_s = t_s + STEP_S
        air.append(float(state[AIR]))
        part.append(float(state[slowest]))
    began_s = before[-1][0] if before else 0.0
    after = [(began_s + i * STEP_S + (0.01 if before else 0.0), c) for i, c in enumerate(part)]
    reached = {}
    if figures is not None:
        for when in run_clock(figures, [*before, *after]).whens():
            if when.at_s is not None and when.at_s <= after[-1][0]:
                reached[when.name] = when.at_s - began_s
    every = slice(0, None, 20)  # ten minutes
    return Course(
        minutes=[i * STEP_S / 60.0 for i in range(len(air))][every],
        air_c=[round(c, 2) for c in air[every]],
        part_c=[round(c, 2) for c in part[every]],
        heated_s=heating_s,
        highest_air_c=max(air),
        warm_s=STEP_S * sum(c >= WARM_C for c in part),
        reached_s={str(k): v for k, v in reached.items()},
        energy_kwh=heated_s * network.power_w / 3.6e6,
    )


def _slowest(network: Network) -> int:
    """The mould that warms last; the air where there is none."""
    lags = [m.capacity_j_per_k / m.air_w_per_k for m in network.moulds]
    return FIRST_MOULD + lags.index(max(lags)) if lags else AIR


def _told(
    network: Network,
    alone: Course,
    held: Course,
    heat_to_c: float,
    hold_c: float,
    figures: ClockFigures | None,
) -> list[str]:
    what = network.moulds[_slowest(network) - FIRST_MOULD].name if network.moulds else "the air"
    took = show_duration(60.0 * round(alone.heated_s / 60.0))
    if alone.highest_air_c < heat_to_c:
        first = (
            f"{network.power_w:g} W do not bring the air to {heat_to_c:g} °C in "
            f"{LONGEST_HEAT_H:g} h; it stands at {alone.highest_air_c:.0f} °C then."
        )
    else:
        first = f"One heat to {heat_to_c:g} °C with {network.power_w:g} W takes {took}."
    warm = show_duration(60.0 * round(alone.warm_s / 60.0))
    if alone.warm_s < 60.0:
        first += f" {what} never gets to {WARM_C:g} °C."
    else:
        first += f" Sealed and left, {what} is above {WARM_C:g} °C for {warm} in all."
    said = [first]
    if figures is not None:
        said.append(_cured(alone, "Left alone"))
        said.append(_cured(held, f"Held at {hold_c:g} °C for {HELD_H:g} h"))
        if figures.generic:
            said.append("The card stands for a kind of resin; yours may take thrice as long.")
    said.append(
        f"The one heat takes {alone.energy_kwh:.2f} kWh, the held night {held.energy_kwh:.2f} kWh."
    )
    said.append(
        "Nothing watches the one heat: stay beside it until the heater is unplugged, and never "
        "with a resin that has not gelled and aired."
    )
    return said


def _cured(course: Course, how: str) -> str:
    def at(name: str) -> str:
        s = course.reached_s[name]
        return (
            "before the box is shut" if s <= 0.0 else f"after {show_duration(60 * round(s / 60))}"
        )

    if "gelled" not in course.reached_s:
        return f"{how} it does not gel within two days."
    gelled = f"{how} it gels {at('gelled')}"
    if "demould" not in course.reached_s:
        return f"{gelled} and is not hard enough to leave its mould within two days."
    hard = f"{gelled}, is hard enough to leave its mould {at('demould')}"
    if "full" not in course.reached_s:
        return f"{hard} and is not as cured as it gets within two days."
    return f"{hard} and as cured as it gets {at('full')}."
