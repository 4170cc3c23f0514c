"""The box has been said to be open: no heat until it is shut, or its wet resin has gelled.

After a look the night goes on by itself once the air shows that the box is shut, or after an hour;
whether it is shut then is settled by the check of the heat. After wet resin was laid the heat stays
off until a person confirms that it has gelled with the box open, or the profile's declared ducted
air keeps its vapour below the limit.
"""

from __future__ import annotations

from typing import Any

from ..cure.box_air import vapour_in
from ..cure.vapour import VAPOUR_MOST_PCT
from ..errors import BadInput
from ..profile import Profile
from ..tick import OffCode, WhyOff
from ..units import show_duration

#: The air has fallen so far, K, where the box was opened, and risen so far where it was shut again.
FALLEN_K, RISEN_K = 2.0, 2.0
#: A rise counts once it has stood for so long, s.
STANDS_S = 60.0
#: Air that has not fallen by so much of the way to the shed within so long (s) is in a shut box: an
#: open one loses it in minutes (common practice, no source).
OPEN_SHARE, NOT_OPENED_S = 0.4, 600.0
#: It is waited so long at the most, s: for somebody who looks, and for resin that is laid and gels.
LOOK_S, LAY_S = 3600.0, 8.0 * 3600.0


class BoxOpen:
    """Whether the box was said to be open, and what for."""

    STATE = ("open", "laying", "since_s", "from_c", "lowest_c", "risen_s")

    def __init__(self) -> None:
        self.end()

    def end(self) -> None:
        """The night is over, or the box shut."""
        self.open = self.laying = False
        self.since_s = self.risen_s = 0.0
        self.from_c: float | None = None
        self.lowest_c: float | None = None

    @property
    def why_off(self) -> WhyOff | None:
        """What keeps the heat off; None where nothing does."""
        if not self.open:
            return None
        return WhyOff(OffCode.WET_RESIN if self.laying else OffCode.BOX_OPEN)

    def opened(self, laying: bool, control_c: float | None) -> str:
        """The box is being opened; the sentence that says what follows."""
        self.since_s = self.risen_s = 0.0
        if not self.open:
            self.from_c = self.lowest_c = control_c
        self.open, self.laying = True, laying or self.laying
        if self.laying:
            return (
                "The heater is off, and stays off until you confirm that the resin has gelled with "
                "the box open and the box is shut."
            )
        return (
            "The heater is off; the night goes on by itself once the box is shut, and in "
            f"{show_duration(LOOK_S)} at the latest."
        )

    def shut(self, aired: bool, profile: Profile) -> str:
        """The box is shut. Raises BadInput where the heat must stay off."""
        if not self.open:
            raise BadInput("The box was not said to be open.")
        if self.laying and not aired and not ducted_air_suffices(profile):
            raise BadInput(
                "Wet resin was laid: the heat stays off until it has gelled with the box open; "
                "confirm that, or declare ducted air under [box] that keeps its vapour at or below "
                f"{VAPOUR_MOST_PCT:g} % of the lower explosive limit."
            )
        self.end()
        return "The night goes on."

    def look(self, gap_s: float, control_c: float | None, ambient_c: float) -> str | None:
        """A tick; a sentence where a box that was only looked into is taken for shut."""
        if not self.open:
            return None
        self.since_s += gap_s
        if self.laying:
            return None
        if self.since_s > LOOK_S:
            self.end()
            return "The box was opened an hour ago: the night goes on."
        if control_c is None:
            return None
        self.from_c = control_c if self.from_c is None else self.from_c
        lowest_c = control_c if self.lowest_c is None else min(self.lowest_c, control_c)
        self.lowest_c = lowest_c
        fell_k, above_k = self.from_c - lowest_c, self.from_c - ambient_c
        self.risen_s = self.risen_s + gap_s if control_c > lowest_c + RISEN_K else 0.0
        shut = fell_k > FALLEN_K and self.risen_s > STANDS_S
        kept = above_k > 3.0 * FALLEN_K and fell_k < OPEN_SHARE * above_k
        if not (shut or (kept and self.since_s > NOT_OPENED_S)):
            return None
        self.end()
        return "The box is shut again: the night goes on."

    def given_up(self) -> str | None:
        """Why nobody waits any longer, a sentence; None while it is waited."""
        if not self.laying or self.since_s <= LAY_S:
            return None
        longest = show_duration(LAY_S)
        return f"Ended without heat: for {longest} the resin was not said to be aired."

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        return {name: getattr(self, name) for name in self.STATE}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; one of an earlier version has none."""
        self.end()
        for name, value in state.items():
            setattr(self, name, value)


def ducted_air_suffices(profile: Profile) -> bool:
    """Whether declared air changes keep the vapour of all its resin, wet, within the limit."""
    box = profile.box
    if box is None or box.air_changes_per_h <= 0.0 or not profile.parts:
        return False
    if any(p.figures is None for p in profile.parts):
        return False
    wet = box.model_copy(update={"evaporated_pct": None, "wet": "laid-up", "breathes": None})
    return vapour_in(wet, profile.parts, profile.highest_c).percent_lel <= VAPOUR_MOST_PCT
