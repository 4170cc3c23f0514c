"""What a night has shown of the oven, for the next one, and what is said of it."""

from __future__ import annotations

from collections.abc import Callable
from typing import TypeVar

from ..heat.heating import Heating
from ..profile import Profile
from ..settings import Model
from ..settings.learned_oven import LearnedOven
from ..settings.oven_evidence import Learned, loss_changed
from ..tick import Event, Evidence, Phase

T = TypeVar("T")


def if_it_can_be_reckoned(found: Callable[[], T], nothing: T) -> tuple[T, list[Event]]:
    """What a night has shown; `nothing` and a sentence where the sums do not come out.

    A night ends, above all when somebody stops it, whatever can be learned of it.
    """
    try:
        return found(), []
    except (ArithmeticError, ValueError):
        message = (
            "What this night has shown cannot be reckoned, and nothing of it is kept for the next "
            "ones; were the oven's settings changed amid it?"
        )
        return nothing, [Event("note", "not-learned", message)]


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
        oven = profile.oven
        if oven is None or phase is Phase.TRIPPED or not shed_known:
            return []
        nothing: float | None = None
        jump, notes = if_it_can_be_reckoned(lambda: self._seen(oven, heating), nothing)
        return notes if jump is None else [_changed(jump)]

    def _seen(self, oven: LearnedOven, heating: Heating) -> float | None:
        """Keep what the night showed; by how much the loss has jumped, where it has."""
        found = heating.evidence()
        if found is None:
            return None
        before = Learned.of(oven, self._model)
        before.see(found)
        self._fresh.append(Evidence("", "oven", found._asdict()))
        return before.jump

    def taken(self) -> list[Evidence]:
        """What a night that ended at this tick has shown; once."""
        fresh, self._fresh = self._fresh, []
        return fresh


def _changed(jump: float) -> Event:
    return Event("note", "oven-changed", loss_changed(jump, "in the nights before"))
