"""What box, heater and place mean for safety, in sentences: for setup, check and page alike.

Nothing here regulates or trips. What may not be heated at all is `settings.Limits.no_heat`.
"""

from __future__ import annotations

from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

from ..settings import MOST_CUT_OUT_C, Role, Settings
from .mains import circuit

#: A household smoke alarm works from 4 to 38 °C (its makers: 40 to 100 °F).
ALARM_FROM_C = 4.0
SUPPLY_V = {"eu": 230.0, "uk": 230.0, "us-120": 120.0, "us-240": 240.0}
ASKED = {
    "wiring": "how it is wired",
    "supply": "its mains",
    "foam": "its foam",
    "heater": "its kind of heater",
    "fan": "its fan",
    "alarm": "its smoke alarm",
    "people_sleep": "where people sleep",
}


class Rating(StrEnum):
    """How something of an oven was found."""

    OK = "ok"
    LOOK = "look at"
    WRONG = "wrong"
    """To be put right before the oven is left alone."""


class Consequence(NamedTuple):
    """What the settings mean for the box or its place."""

    rating: Rating
    sentence: str


def stuck_on_c(power_w: float, loss_w_per_k: float, warmest_c: float) -> float:
    """Where the air ends with the heater stuck on, °C, in a shed of `warmest_c`."""
    return warmest_c + power_w / loss_w_per_k


def most_power_w(loss_w_per_k: float, warmest_c: float) -> float:
    """The power that, stuck on, brings the air to `MOST_CUT_OUT_C` on the warmest day, W."""
    return max(loss_w_per_k * (MOST_CUT_OUT_C - warmest_c), 0.0)


def consequences(settings: Settings) -> tuple[Consequence, ...]:
    """What oven.toml means for box and place, the gravest first."""
    found = [*_power(settings), *_place(settings), *_fan(settings)]
    found += [Consequence(Rating.WRONG, sentence) for sentence in settings.limits.no_heat()]
    return tuple(sorted(found, key=lambda c: list(Rating).index(c.rating), reverse=True))


def _power(s: Settings) -> Iterator[Consequence]:
    box, limits, watts = s.installation, s.limits, s.heater.power_w
    stuck_c = stuck_on_c(watts, s.model.loss_w_per_k, box.warmest_c)
    most_w = most_power_w(s.model.loss_w_per_k, box.warmest_c)
    says = (
        f"Stuck on, on a day of {box.warmest_c:g} °C, {watts:g} W bring the box to {stuck_c:.0f} °C"
    )
    if stuck_c <= MOST_CUT_OUT_C and s.model.measured:
        yield Consequence(Rating.OK, f"{says}: it cannot cook the foam.")
    elif stuck_c <= MOST_CUT_OUT_C:
        yield Consequence(
            Rating.LOOK,
            f"{says}, by a loss that nobody has measured: a tighter or smaller box gets hotter. "
            f"Stay with the oven until 'nightcure survey' has found what it loses.",
        )
    elif box.wiring == "plug-in":
        yield Consequence(
            Rating.WRONG,
            f"{says}: on the path without mains wiring take {most_w:.0f} W at the most "
            f"({MOST_CUT_OUT_C:.0f} °C).",
        )
    elif limits.cut_outs < 2:
        yield Consequence(
            Rating.WRONG,
            f"{says}, and there is one cut-out: fit {most_w:.0f} W at the most, or a second "
            f"cut-out with its own sensor and contacts (limits.cut_outs = 2).",
        )
    else:
        yield Consequence(
            Rating.LOOK, f"{says}: only the two cut-outs stand between. Test both, every year."
        )
    outrun = s.outrun()
    if outrun is not None:
        yield Consequence(Rating.WRONG, outrun)
    if s.contactor is None:
        yield Consequence(
            Rating.WRONG if box.wiring == "plug-in" else Rating.LOOK,
            "There is no contactor in series: a relay that welds shut heats until the cut-out "
            "opens or you pull the plug.",
        )
    if box.supply is not None:
        c = circuit(watts, SUPPLY_V[box.supply], box.supply.startswith("us"))
        if not c.on_a_plug:
            yield Consequence(
                Rating.WRONG,
                f"{watts:g} W are {c.current_a:.0f} A, more than a household plug bears for "
                f"hours: a circuit of its own, by an electrician.",
            )


def _place(s: Settings) -> Iterator[Consequence]:
    box, limits = s.installation, s.limits
    told = {"fan"} if s.fan is not None else set()
    untold = [w for key, w in ASKED.items() if getattr(box, key) is None and key not in told]
    if "cut_out_c" not in limits.model_fields_set:
        untold.append(f"what its cut-out is set to ({limits.cut_out_c or 0:g} °C is assumed)")
    if untold:
        yield Consequence(
            Rating.LOOK,
            f"oven.toml does not tell {', '.join(untold)}: see [installation] and [limits].",
        )
    if box.people_sleep == "here":
        yield Consequence(
            Rating.WRONG,
            "People sleep in, over or beside the oven's building: no oven is left alone there. "
            "Move it, or do not heat while anybody sleeps.",
        )
    if box.alarm == "none":
        yield Consequence(
            Rating.WRONG,
            "There is no smoke alarm: fit one rated for the shed, linked to where you sleep.",
        )
    elif box.alarm == "household":
        yield Consequence(
            Rating.LOOK,
            f"A household alarm is rated from {ALARM_FROM_C:g} °C and wakes nobody "
            f"elsewhere: fit a heat and smoke alarm rated for the cold, linked to where you sleep.",
        )
    if box.heater == "other":
        yield Consequence(
            Rating.LOOK,
            "Make sure that your heater has no thermostat or switch inside, does not glow, stays "
            "under 200 °C at its surface, and that nothing can drip on it.",
        )
    if limits.cut_out_c is not None:
        yield Consequence(
            Rating.OK,
            f"The cut-out opens at {limits.cut_out_c:g} °C ± {limits.cut_out_tolerance_k:g} K, the "
            f"air trips at {limits.air_c:g} °C, the hottest soak is {limits.hottest_soak_c:g} °C.",
        )


def _fan(s: Settings) -> Iterator[Consequence]:
    if not s.has_fan:
        yield Consequence(
            Rating.LOOK,
            "No fan is declared: if there is one, feed it ahead of the heater's switches and say "
            'so (installation.fan = "always"); without one the heater is hotter and the box '
            "uneven.",
        )
    elif not s.indices(Role.HEATER):
        yield Consequence(
            Rating.LOOK,
            "A fan that stops is not found without a thermometer on the heater's shield "
            "(role = 'heater'): fit one, or a second cut-out above the heater.",
        )
