"""The gel cups that stand about: each of a batch, beside a thermometer, until somebody sees it gel.

They are no part of a night: a cup may be poured before it, and what it showed stays with the batch.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from pydantic import ValidationError

from ..cure.gel_cup import FORGOTTEN_S, CupStart, GelCup, GelFactor, refused_cup, stood
from ..cure.hypotheses import Hypotheses
from ..errors import BadInput, faults_as_sentences
from ..settings import Settings
from ..tick import Event, Evidence
from ..units import show_duration, show_temperature

#: So many batches at a time.
MOST = 8
#: A cup that has gelled is kept for so long, s: its batch is used up in a day.
KEPT_S = 36 * 3600.0


class Cups:
    """All cups, by batch."""

    def __init__(self, settings: Settings) -> None:
        self._settings = settings
        self._names = [t.name for t in settings.thermometers]
        self.cups: dict[str, GelCup] = {}
        self._fresh: list[Evidence] = []
        """What was seen since it was last taken, for the ledger."""
        self._changed: list[str] = []
        self._interrupted = False

    def taken(self) -> list[Evidence]:
        """What was seen, for the ledger; once."""
        fresh, self._fresh = self._fresh, []
        return fresh

    def fresh_batches(self) -> list[str]:
        """Of which batches something was told; once."""
        changed, self._changed = self._changed, []
        return changed

    def advance(
        self, dt_s: float, believed_c: tuple[float | None, ...], events: list[Event]
    ) -> None:
        """Let `dt_s` pass at what is believed of the thermometers."""
        for batch, cup in list(self.cups.items()):
            if self._interrupted and cup.gelled_min is None:
                del self.cups[batch]
                message = (
                    f"The gel cup of {batch} is given up: the controller was restarted while it "
                    f"stood, so its time is not known. Pour another."
                )
                events.append(Event("cure", "cup-given-up", message))
                continue
            cup.advance(dt_s, self._shown_c(cup, believed_c))
            if cup.after_s > (FORGOTTEN_S if cup.gelled_min is None else KEPT_S):
                del self.cups[batch]
        self._interrupted = False

    def _shown_c(self, cup: GelCup, believed_c: tuple[float | None, ...]) -> float | None:
        name = cup.start.sensor
        return cup.start.stands_c if name is None else believed_c[self._names.index(name)]

    # ---- what people tell -----------------------------------------------------------------------

    def told(self, args: dict[str, Any], believed_c: tuple[float | None, ...]) -> str:
        """Carry out a command of a cup; a sentence. Raises BadInput."""
        what = args.get("what")
        if what == "mixed":
            return self._mixed(args.get("cup"), believed_c)
        cup = self._of(args.get("batch"))
        batch = cup.start.batch
        if what == "drop":
            del self.cups[batch]
            self._changed.append(batch)
            return f"The gel cup of {batch} is forgotten, and what it had shown."
        if what == "liquid":
            self._keep(cup, cup.liquid())
            return f"{batch} is still liquid, {_since(cup)} after mixing."
        if what == "gelled":
            found = cup.gelled()
            self._keep(cup, found)
            return f"{batch} has gelled, {_since(cup)} after mixing: {self._sentence(found)}"
        raise BadInput(
            f"what is {str(what)[:40]!r}; it should be 'mixed', 'liquid', 'gelled' or 'drop'."
        )

    def _mixed(self, asked: Any, believed_c: tuple[float | None, ...]) -> str:
        try:
            start = CupStart.model_validate(asked)
        except ValidationError as error:
            raise BadInput(*faults_as_sentences(error, "cup")) from None
        if start.sensor is not None and start.sensor not in self._names:
            raise BadInput(
                f"cup: there is no thermometer '{start.sensor}'; take one of "
                f"{', '.join(self._names)}."
            )
        if (start.sensor is None) == (start.stands_c is None):
            raise BadInput("cup: name the thermometer beside it, or how warm it stands; not both.")
        if start.held == "probe" and start.sensor is None:
            raise BadInput("cup: with the probe in the cup, name that thermometer.")
        if len(self.cups) >= MOST and start.batch not in self.cups:
            raise BadInput(f"cup: {MOST} batches have a cup already; forget one of them first.")
        if refusal := refused_cup(start):
            raise BadInput(f"cup: {refusal}")
        cup = GelCup(start)
        shown_c = self._shown_c(cup, believed_c)
        if shown_c is None:
            raise BadInput(f"cup: {start.sensor} shows nothing believable now; take another.")
        if shown_c < cup.coldest_c:
            at, least = (
                show_temperature(c, self._settings.units) for c in (shown_c, cup.coldest_c)
            )
            raise BadInput(
                f"cup: it stands at {at} and the card has no gel times below {least}; take it "
                f"where it is warmer."
            )
        if start.minutes_ago:
            cup.advance(60.0 * start.minutes_ago, shown_c)
        self.cups[start.batch] = cup
        minutes = show_duration(60.0 * round(stood(start, shown_c).gels_min(1.0)))
        return (
            f"The gel cup of {start.batch} stands; by its card it gels about {minutes} after "
            f"mixing. Look at it from half that time on, and tell when it has gelled."
        )

    def _of(self, batch: Any) -> GelCup:
        if batch is None and len(self.cups) == 1:
            return next(iter(self.cups.values()))
        if not isinstance(batch, str) or batch not in self.cups:
            known = ", ".join(self.cups) or "none"
            raise BadInput(f"There is no gel cup of {str(batch)[:60]!r}; there is: {known}.")
        return self.cups[batch]

    def _keep(self, cup: GelCup, found: GelFactor) -> None:
        evidence = cup.evidence
        data = {
            "card": cup.start.card,
            **({} if evidence is None else {"gel": list(evidence)}),
            "gel_factor": [round(f, 4) for f in found[:3]],
            "cup_min": round(found.cup_min, 1),
            "mean_c": round(found.mean_c, 2),
            "gelled": cup.gelled_min is not None,
            "grams": cup.start.grams,
            "held": cup.start.held,
            "catalyst_pct": cup.start.catalyst_pct,
        }
        self._fresh.append(Evidence(cup.start.batch, "cup", data))
        self._changed.append(cup.start.batch)

    def _sentence(self, found: GelFactor) -> str:
        low, likely, high = found[:3]
        at_c, minutes = found.gel_row
        at = show_temperature(at_c, self._settings.units)
        return (
            f"{likely:.2f} times its card's gel time (8 of 10: {low:.2f} to {high:.2f}), a "
            f"laminate {minutes:.0f} min at {at}. It dates the gel; of the demould it says little."
        )

    # ---- what it is used for --------------------------------------------------------------------

    def weighs(self, batch: str) -> Callable[[Hypotheses], list[float]] | None:
        """ln of the likelihood of what a batch's cup showed; None where it showed nothing."""
        cup = self.cups.get(batch)
        if cup is None or not cup.tells:
            return None
        return lambda h: cup.log_likelihoods([g for g, _, _ in h.cells])

    def shown(self) -> list[dict[str, Any]]:
        """Every cup, for the page."""
        return [
            {
                "batch": batch,
                "grams": cup.start.grams,
                "held": cup.start.held,
                "sensor": cup.start.sensor,
                "after_s": round(cup.after_s, 1),
                "gelled_after_s": None if cup.gelled_min is None else 60.0 * cup.gelled_min,
                "gel_factor": None if cup.found is None else [round(f, 3) for f in cup.found[:3]],
                "gel_row": None
                if cup.gelled_min is None or cup.found is None
                else list(cup.found.gel_row),
            }
            for batch, cup in self.cups.items()
        ]

    # ---- remember -------------------------------------------------------------------------------

    def snapshot(self) -> list[dict[str, Any]]:
        """All state, JSON-ready."""
        return [cup.snapshot() for cup in self.cups.values()]

    def restore(self, state: list[dict[str, Any]]) -> None:
        """Go on from a snapshot."""
        cups = [GelCup.restore(s) for s in state]
        self.cups = {
            c.start.batch: c for c in cups
            if c.start.sensor is None or c.start.sensor in self._names
        }  # fmt: skip

    def resume(self) -> None:
        """The controller starts again: how long a cup has stood meanwhile is not known."""
        self._interrupted = True


def _since(cup: GelCup) -> str:
    return show_duration(60.0 * round(cup.after_s / 60.0))
