"""The box's air while the resin in it cures: how wet the parts are, how the box breathes, what
vapour follows; and how damp it is. Plan, page, record and command all ask here.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Annotated, Literal

from pydantic import Field

from ..settings import Section
from ..units import TemperatureUnit
from .clock_figures import Emitter
from .dew_point import Moisture, Surface, moisture
from .part import Part
from .vapour import VAPOUR_MOST_PCT, Vapour, default_evaporated_pct, in_the_box

Wet = Literal["laid-up", "gelled", "hard"]
Breathes = Literal["taped", "ordinary", "vent"]

#: Of what a lay-up loses over lay-up and cure, what is still to come once the box is shut. Nearly
#: all of it goes while the resin is liquid, most while it is rolled out (Säämänen and others,
#: Appl. Occup. Environ. Hyg. 6:790, 1991); the fifteenth and its tenth are common practice, no
#: source, and on the careful side.
LEFT: dict[Wet, float] = {"laid-up": 1.0, "gelled": 1.0 / 15.0, "hard": 1.0 / 150.0}
#: Air changes an hour of a box that is warm inside (common practice, no source). Open vent: a hole
#: of 40 mm low and one high, 0.5 m apart, draw 1.7 m³/h at 25 K (0.6 A sqrt(2 g h dT/T)).
CHANGES_PER_H: dict[Breathes, float] = {"taped": 0.04, "ordinary": 0.8, "vent": 4.0}
WET_WORDS: dict[Wet, str] = {
    "laid-up": "just laid up",
    "gelled": "gelled and aired",
    "hard": "hard",
}
BREATHES_WORDS: dict[Breathes, str] = {
    "taped": "taped tight",
    "ordinary": "in an ordinary box",
    "vent": "with its vent open",
}


class Box(Section):
    """The box's air, for the vapour in it. In a file:

    [box]
    volume_m3 = 0.43
    wet = "gelled"       # when the door closes: laid-up, gelled (and aired), hard
    breathes = "vent"    # taped, ordinary, vent (one hole low, one high, left open)
    humidity_pct = 70.0  # what a hygrometer shows where the parts are laid up
    """

    volume_m3: Annotated[float, Field(ge=0.01, le=1000)]
    wet: Wet | None = None
    """How wet the parts are when the door closes; just laid up if left out."""
    breathes: Breathes | None = None
    """How the box breathes. Only an open vent is counted on, and for resin that has gelled: nobody
    has measured a leak, and what was just laid up needs air that was measured."""
    air_changes_per_h: Annotated[float, Field(ge=0, le=10_000)] = 0.0
    """Fresh air that is ducted through it and was measured, box volumes an hour."""
    evaporated_pct: Annotated[float, Field(ge=0, le=100)] | None = None
    """Of the styrene, what evaporates in the closed box, where somebody knows it; else by `wet`."""
    humidity_pct: Annotated[float, Field(ge=1, le=100)] | None = None
    """Relative humidity of the air in which the parts are laid up and the moulds stand, %."""
    over_h: Annotated[float, Field(ge=0.05, le=72)] = 1.0
    i_accept_vapour_above_25_percent: bool = False
    """Of earlier profiles; it allows nothing any more."""

    @property
    def counted_changes_per_h(self) -> float:
        """The fresh air that is counted on, box volumes an hour."""
        gelled = self.wet in ("gelled", "hard")
        vent = CHANGES_PER_H["vent"] if gelled and self.breathes == "vent" else 0.0
        return max(self.air_changes_per_h, vent)


def moisture_of(
    box: Box | None, parts: Sequence[Part], air_c: float, surfaces: Sequence[Surface],
    units: TemperatureUnit = "C",
) -> Moisture | None:  # fmt: skip
    """Whether moulds and parts are dry enough to be laid up; None where nobody told the humidity,
    or everything is hard.

    Args:
        air_c: where the humidity was read.
        surfaces: the moulds and parts by their thermometers.
    """
    if box is None or box.humidity_pct is None or box.wet == "hard" or not parts:
        return None
    epoxy = any(p.figures is not None and p.figures.monomer_pct == 0.0 for p in parts)
    return moisture(air_c, box.humidity_pct, surfaces, epoxy, units)


def gives_off(parts: Sequence[Part]) -> list[str]:
    """The names of the parts whose resin gives off styrene."""
    return [p.name for p in parts if p.figures is not None and p.figures.monomer_pct]


def vapour_in(box: Box, parts: Sequence[Part], air_c: float) -> Vapour:
    """The vapour of all parts together, as if they were laid up at once, at `air_c`."""
    return _at(box, parts, air_c, box.counted_changes_per_h)


def left_pct(monomer_pct: float, kind: Emitter, wet: Wet) -> float:
    """The share of the monomer (%) that evaporates once the box is shut."""
    return default_evaporated_pct(monomer_pct, kind) * LEFT[wet]


def _at(box: Box, parts: Sequence[Part], air_c: float, changes_per_h: float) -> Vapour:
    styrene_g = 0.0
    for part in parts:
        f = part.figures
        if f is not None and f.monomer_pct:
            share_pct = box.evaporated_pct
            if share_pct is None:
                share_pct = left_pct(f.monomer_pct, f.emits_as, box.wet or "laid-up")
            styrene_g += part.resin_kg * 0.1 * f.monomer_pct * share_pct
    return in_the_box(styrene_g, box.volume_m3, air_c, changes_per_h, box.over_h)


def vapour_sentence(box: Box, parts: Sequence[Part], air_c: float) -> str:
    """What vapour there may be, for whoever tells it; empty where no resin gives any off."""
    if not gives_off(parts):
        return ""
    v = vapour_in(box, parts, air_c)
    said = (
        f"Vapour: up to {v.styrene_g:.1f} g of styrene in {box.volume_m3:g} m³, "
        f"{v.percent_lel:.0f} % of the lower explosive limit, {v.ppm:.0f} ppm when the door opens; "
        f"an estimate that certifies nothing."
    )
    if box.wet is None or box.air_changes_per_h:
        return said
    shares = ", ".join(
        f"{BREATHES_WORDS[how]} {_at(box, parts, air_c, per_h).percent_lel:.0f} %"
        for how, per_h in CHANGES_PER_H.items()
    )
    return f"{said} By how the box breathes: {shares}; only an open vent or ducted air counts."


def vapour_refusal(
    box: Box, parts: Sequence[Part], air_c: float, most_pct: float = VAPOUR_MOST_PCT
) -> str:
    """Why no night starts so, with the smallest change that lifts it; empty where it may."""
    v = vapour_in(box, parts, air_c)
    if v.percent_lel <= most_pct:
        return ""
    duct = f"duct {v.ventilation_m3_per_h:.1f} m³/h of fresh air through the box"
    above = f"{v.percent_lel:.0f} % of the lower explosive limit, above the {VAPOUR_MOST_PCT:g} % "
    if box.evaporated_pct is None and box.wet in (None, "laid-up"):
        minutes = max(1.0, 60.0 * box.over_h * most_pct / _at(box, parts, air_c, 0.0).percent_lel)
        return (
            f"{above}ovens are kept under: do not start. Just laid up, the resin reaches that in "
            f"about {minutes:.0f} min in a shut box, whatever it leaks. Let it gel with the box "
            f"open and air first, or {duct}."
        )
    vented = box.model_copy(update={"breathes": "vent"})
    act = duct
    if vapour_in(vented, parts, air_c).percent_lel <= most_pct:
        act = f"open the vent (a hole low and one high), or {duct}"
    elif box.evaporated_pct is None and box.wet == "gelled":
        act = f"let it harden outside, lay up less at a time, or {duct}"
    return f"{above}ovens are kept under: do not start. {act[0].upper()}{act[1:]}."
