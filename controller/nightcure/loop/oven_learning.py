"""What a night has shown of the oven, for the next one, and what is said of it."""

from __future__ import annotations

from ..heat.heating import Heating
from ..profile import Profile
from ..settings import Model
from ..settings.oven_evidence import Learned
from ..tick import Event, Evidence, Phase


class OvenLearning:
    """From a night's start, which may be from learned figures, to its end, which shows others."""

    def __init__(self, model: Model) -> None:
        self._model = model
        self._fresh: list[Evidence] = []

    def begins(self, profile: Profile) -> list[Event]:
        """At a start: that the heat is reckoned from learned figures, and which."""
        oven, model = profile.oven, self._model
        if oven is None or not oven.nights:
            return []
        one = oven.nights == 1
        nights = "one earlier night has" if one else f"{oven.nights} earlier nights have"
        capacity = oven.air_capacity_j_per_k + oven.mould_capacity_j_per_k
        stated = model.air_capacity_j_per_k + model.mould_capacity_j_per_k
        message = (
            f"The heat is reckoned from what {nights} shown: the box loses "
            f"{oven.loss_w_per_k:.2g} W/K and takes up {capacity / 1000.0:.0f} kJ/K (oven.toml: "
            f"{model.loss_w_per_k:.2g} W/K, {stated / 1000.0:.0f} kJ/K)."
        )
        return [Event("note", "oven-learned", message)]

    def ends(
        self, profile: Profile, phase: Phase, heating: Heating, shed_known: bool
    ) -> list[Event]:
        """At a night's end: keep what it showed; a sentence where the oven is no more what it was.

        A night that tripped, or was started by an earlier version, shows nothing; nor does one
        whose shed no thermometer shows: its loss cannot be told from another shed.
        """
        if profile.oven is None or phase is Phase.TRIPPED or not shed_known:
            return []
        found = heating.evidence()
        if found is None:
            return []
        self._fresh.append(Evidence("", "oven", found._asdict()))
        before = Learned.of(profile.oven, self._model)
        before.see(found)
        if before.jump is None:
            return []
        percent, more = round(100.0 * abs(before.jump - 1.0)), before.jump > 1.0
        message = (
            f"The box has lost {percent} % {'more' if more else 'less'} heat than in the nights "
            f"before: {'look at lid, tape and door.' if more else 'was it sealed?'}"
        )
        return [Event("note", "oven-changed", message)]

    def taken(self) -> list[Evidence]:
        """What a night that ended at this tick has shown; once."""
        fresh, self._fresh = self._fresh, []
        return fresh
