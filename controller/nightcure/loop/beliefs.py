"""The beliefs of a night's parts: whose answer is due, what is told of them, what is kept."""

from __future__ import annotations

from collections.abc import Sequence

from ..cure.cure_clock import When
from ..cure.own_heat import SEEN_AT_ALL_K, sight_k, sight_words
from ..tick import Event, Evidence, PartBelief
from .belief_sentences import answered, end_evidence, heat_evidence, mould_evidence
from .cups import Cups
from .part_clock import PartClock


class Beliefs:
    """Of the parts that have one; those of a night of an earlier version have none."""

    def __init__(self, parts: Sequence[PartClock], moulds: bool) -> None:
        """`moulds`: how the moulds follow the air is kept, too."""
        self._parts, self._moulds = parts, moulds

    def answers(
        self,
        cups: Cups,
        now_s: float,
        temps_c: Sequence[Sequence[float]],
        ahead: Sequence[tuple[When, ...]],
    ) -> tuple[list[Event], tuple[PartBelief, ...]]:
        """One part whose answer is due, its sentence where there is one.

        Args:
            temps_c: of each part's mould along the rest of the profile.
            ahead: each part's milestones by its card.
        """
        for i, (p, whens) in enumerate(zip(self._parts, ahead, strict=True)):
            if p.belief is not None and p.belief.due and now_s > p.start_s:
                return answered(p, cups, temps_c[i] if i < len(temps_c) else (), whens)
        return [], ()

    def cup_told(self, batch: str) -> bool:
        """Something was seen of a batch; whether any part's answer is due by it."""
        mine = [p.belief for p in self._parts if p.part.batch_name == batch]
        for belief in mine:
            if belief is not None:
                belief.stale = True
        return any(belief is not None for belief in mine)

    def told(self, cups: Cups) -> dict[str, PartBelief]:
        """What is believed of every part of which anything was said, by its name."""
        return {
            p.part.name: p.belief.told(cups.weighs(p.part.batch_name) is not None)
            for p in self._parts
            if p.belief is not None and p.belief.said is not None
        }

    def unsure(self, name: str) -> tuple[str, ...]:
        """Which milestones of a part have come by its card, and are not surely so."""
        return tuple(
            held
            for p in self._parts
            if p.part.name == name and p.belief is not None
            for held in p.belief.held
        )

    def sights(self) -> list[Event]:
        """At the start: whether each part's own heat can be seen in its mould's temperature."""
        events: list[Event] = []
        for p in self._parts:
            if p.belief is None or p.sensor is None:
                continue
            most_k = sight_k(p.clock.figures, p.part.resin_kg, p.capacity_j_per_k)
            message = (
                f"{p.part.name}'s own heat could warm its mould by {most_k:.0f} K at the most: "
                f"{sight_words(most_k)}"
            )
            if p.belief.law is not None and most_k >= SEEN_AT_ALL_K:
                nights = p.belief.law.nights
                before = "an earlier night" if nights == 1 else f"{nights} earlier nights"
                message += f", and sooner, for how its mould warms is known from {before}"
            message += "."
            events.append(Event("cure", "own-heat", message))
        return events

    def evidence(self, cups: Cups) -> list[Evidence]:
        """At the night's end: what the parts' own heat has shown, how far they came, and how their
        moulds followed air and heater."""
        found = [heat_evidence(p) for p in self._parts]
        found += [end_evidence(p, number) for number, p in enumerate(self._parts, 1)]
        if self._moulds:
            found += [mould_evidence(p, cups.weighs(p.part.batch_name)) for p in self._parts]
        return [e for e in found if e is not None]
