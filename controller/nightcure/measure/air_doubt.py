"""Does the air's thermometer hang in the oven's air? The thermometers against each other.

Thresholds are what an oven of this kind can physically do, generously (common practice, no
source). What is in doubt here is settled by a pulse of heat (`guard.heat_check`).
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from ..settings import Role, Thermometer

#: Air this far below every part (heat flows from air to parts), or two air sensors this far
#: apart, for so long: one of them does not measure the oven's air ...
DISAGREES_C, DISAGREES_S = 8.0, 120.0
#: ... but air sensors that have all warmed since the night began, the coldest by this share of what
#: the warmest did, are in one badly stirred box.
WARMED_SHARE = 0.2
#: In a pause of heat, and until the air has caught up again, the air of a light box lies well below
#: its parts; a sensor outside, or a box wide open, further still. So do two air sensors that were
#: apart under heat and came together without it: badly stirred air, which the heater parts again.
PAUSED_DISAGREES_C = 16.0
#: The doubt ends once the coldest air has risen so far from its lowest, as it does when the box is
#: shut. Parts that cool down to a sensor hanging outside end no doubt. Two air sensors that were
#: only apart from each other (a warm corner under full heat) end it when they agree again.
RISEN_C = 3.0
#: It ends, too, where the air answers a pulse of heat, and is doubted again only when it is further
#: off than then by so much.
ANSWERED_MARGIN_C = 4.0
#: Heavy moulds lag far behind air that is let cool, in a ramp down, or in a soak that was lowered;
#: only air this far below the setpoint as well would be heated for.
AMISS_C = 2.0
#: After the door was shut on warm moulds the air needs this long to catch up with them.
SETTLE_S = 600.0


class AirDoubt:
    """Whether the air that is measured may not be the oven's. `look` once a tick."""

    def __init__(self, thermometers: Sequence[Thermometer]) -> None:
        self._air = tuple(i for i, t in enumerate(thermometers) if t.role is Role.AIR)
        self._parts = tuple(
            i for i, t in enumerate(thermometers) if t.role in (Role.PART, Role.MOULD)
        )
        self._heated_s = 0.0
        self._unpaused_s = SETTLE_S
        """Since heat was held off last."""
        self._first_c: dict[int, float] = {}
        """What each air sensor showed first in this night."""
        self._sure()

    def _sure(self) -> None:
        """No doubt, and nothing learned of this night yet."""
        self._apart_c = self._below_c = DISAGREES_C
        """How far apart two air sensors may be in this night, and the air below every part."""
        self._over()

    def _over(self) -> None:
        """A doubt has ended."""
        self._apart_s = self._below_s = 0.0
        self._lowest_c: float | None = None
        """While the air is in doubt, the coldest it was."""
        self._heard = 0
        """And of how many air sensors at most."""
        self._by_parts = False
        """And whether the parts were warmer."""

    @property
    def stands(self) -> bool:
        """The air is in doubt."""
        return self._lowest_c is not None

    def look(
        self,
        believed: Sequence[float | None],
        dt_s: float,
        watched: bool,
        cooling_to_c: float | None,
        self_heat_k: Mapping[int, float],
        paused: bool,
        answered: bool,
        halted: bool,
    ) -> None:
        """One tick. A sensor that says nothing speaks neither for the air nor against it.

        Args:
            believed: by thermometer, °C; None where it is not believed.
            watched: a night that heats or cools; else everything begins anew.
            cooling_to_c, self_heat_k, paused, answered, halted: see `Screening.judge`.
        """
        self._heated_s = self._heated_s + dt_s if watched else 0.0
        self._unpaused_s = 0.0 if paused else self._unpaused_s + dt_s
        if self._heated_s < SETTLE_S:
            self._sure()
            self._first(believed, watched)
            return
        air = [c for i in self._air if (c := believed[i]) is not None]
        parts = [c - self_heat_k.get(i, 0.0) for i in self._parts if (c := believed[i]) is not None]
        apart_k = max(air) - min(air) if len(air) > 1 else 0.0
        below_k = min(parts) - min(air) if air and parts else 0.0
        if answered and self.stands:
            self._apart_c = max(self._apart_c, apart_k + ANSWERED_MARGIN_C)
            self._below_c = max(self._below_c, below_k + ANSWERED_MARGIN_C)
            self._over()
        if halted and not self.stands:
            return
        if len(air) > 1:
            apart = apart_k > self._apart_c and not self._warmed(believed)
            self._apart_s = self._apart_s + dt_s if apart else 0.0
        if air and parts:
            # As the air catches up, less is allowed again.
            self._below_c = max(min(self._below_c, below_k + ANSWERED_MARGIN_C), DISAGREES_C)
            lately_paused = self._unpaused_s < SETTLE_S
            below = below_k > max(self._below_c, PAUSED_DISAGREES_C if lately_paused else 0.0)
            below &= cooling_to_c is None or min(air) < cooling_to_c - AMISS_C
            self._below_s = self._below_s + dt_s if below else 0.0
        if air:
            self._doubt(min(air), len(air))

    def _first(self, believed: Sequence[float | None], watched: bool) -> None:
        """Keep what each air sensor shows as a night begins."""
        if not watched:
            self._first_c = {}
        for i in self._air:
            if (c := believed[i]) is not None and watched:
                self._first_c.setdefault(i, c)

    def _warmed(self, believed: Sequence[float | None]) -> bool:
        """Whether the coldest air has warmed with the warmest, and hangs in the same box."""
        risen_k = [
            c - self._first_c[i]
            for i in self._air
            if (c := believed[i]) is not None and i in self._first_c
        ]
        return len(risen_k) > 1 and min(risen_k) > WARMED_SHARE * max(risen_k) > 0.0

    def _doubt(self, coldest_c: float, heard: int) -> None:
        """The air cannot be the oven's, or has shown that it is."""
        disagrees = self._apart_s > DISAGREES_S or self._below_s > DISAGREES_S
        if self._lowest_c is None and not disagrees:
            return
        lowest_c = coldest_c if self._lowest_c is None else min(self._lowest_c, coldest_c)
        # With one of them silent the warmer one alone would seem to have risen.
        most = max(self._heard, heard)
        risen = heard == most and coldest_c >= lowest_c + RISEN_C
        self._by_parts = self._by_parts or self._below_s > DISAGREES_S
        over = self._apart_s == self._below_s == 0.0 and (risen or not self._by_parts)
        if not over:
            self._lowest_c, self._heard = lowest_c, most
            return
        if not self._by_parts:
            self._apart_c = max(self._apart_c, PAUSED_DISAGREES_C)
        self._over()

    def resume(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot on a board whose time began anew: only a doubt outlasts that, and
        what the night began with."""
        if state.get("lowest_c") is not None:
            self.restore({**state, "unpaused_s": self._unpaused_s})
        self._first_c = dict(state.get("first_c", []))

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        own = {k[1:]: v for k, v in vars(self).items() if k not in ("_air", "_parts")}
        return {**own, "first_c": [list(pair) for pair in self._first_c.items()]}

    def restore(self, state: dict[str, Any]) -> None:
        """Go on from a snapshot; an older one has less."""
        older = {"by_parts": state.get("lowest_c") is not None}
        for name, value in self.snapshot().items():
            setattr(self, f"_{name}", state.get(name, older.get(name, value)))
        self._first_c = dict(self._first_c)
