"""What is believed of one part's cure: the card, weighed by what its night has shown.

Gel cup, own heat and touch meet here in one posterior of the two factors. Where nothing was seen it
is the prior, to the bit. Nothing of this loosens a guard: those go by the card.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import NamedTuple

from .clock_figures import ClockFigures
from .factors import Prior, quantiles
from .hypotheses import Hypotheses
from .mould_law import MouldLaw
from .own_heat import BOUND, SEEN, SURE, OwnHeat

#: What a spread is made of at each hypothesis: the middles of five equal shares of a normal law.
FIFTHS = (-1.2816, -0.5244, 0.0, 0.5244, 1.2816)
#: A true hypothesis dates the gel no better than this, nor the demould; thick laminates run away
#: with any error (measured on plants of another structure): at 2 mm, more per mm, at most.
GEL_SD, DATES_SD, DATES_SD_PER_MM, DATES_SD_MOST = 0.08, 0.10, 0.035, 0.40
#: The answer's shares: early, likely, late are these.
SHARES = (0.1, 0.5, 0.9)
#: The steps of a run ahead, min, and how many hypotheses are run.
AHEAD_MIN, AHEAD_CELLS = 4.0, 160

Triple = tuple[float, float, float]


class Believed(NamedTuple):
    """The answer for a part; early, likely and late are its 10, 50 and 90 % points.

    Attributes:
        gel_factor, cure_factor: on the card's gel times, and on its times after the gel.
        gel_min, demould_min: after the mixing; None where it is not in sight. Infinite ends are
            beyond the horizon.
        heat_seen: its own heat was found in its mould's temperature.
        evidence: how clearly, ln of the likelihoods' ratio.
    """

    gel_factor: Triple
    cure_factor: Triple
    gel_min: Triple
    demould_min: Triple
    heat_seen: bool
    evidence: float


class Belief:
    """One part from its mixing on."""

    def __init__(
        self,
        figures: ClockFigures,
        prior: Prior,
        resin_kg: float,
        mould_j_per_k: float,
        power_w: float,
        thickness_mm: float | None = None,
        law: MouldLaw | None = None,
    ) -> None:
        """`law`: of its mould, from earlier nights."""
        self.hypotheses = Hypotheses(figures, prior, resin_kg, mould_j_per_k, thickness_mm)
        h = self.hypotheses
        self._heat = OwnHeat(h, mould_j_per_k, power_w, law) if h.heats else None
        more = min(DATES_SD_PER_MM * max((thickness_mm or 4.0) - 2.0, 0.0), DATES_SD_MOST)
        self._dates_sd = math.hypot(DATES_SD, more)

    def minute(self, part_c: float, air_c: float, duty: float, good: bool) -> None:
        """A minute has passed; °C, share of the heater's power, and whether all was measured."""
        self.hypotheses.advance(1.0, part_c)
        if self._heat is not None:
            self._heat.minute(part_c, air_c, duty, good)

    def unmeasured(self, minutes: float, part_c: float) -> None:
        """Time before the night, or that nobody measured."""
        steps = max(1, math.ceil(minutes))
        for _ in range(steps):
            self.hypotheses.advance(minutes / steps, part_c)
        self.hypotheses.emptied()

    def progress(self) -> tuple[list[float], list[float]]:
        """How far it is by each gel factor: ln factors, and the minutes after the gel over the
        card's to the demould."""
        h = self.hypotheses
        found: dict[float, float] = {}
        for i, (g, c, p) in enumerate(h.cells):
            if p == 1.0 and g not in found and c >= h.middle:
                found[g] = h.after[i] / (h.after_min[i] / math.exp(c))
        return list(found), list(found.values())

    def answer(
        self,
        weigh: Callable[[Hypotheses], list[float]] | None = None,
        ahead_c: Sequence[float] = (),
    ) -> Believed:
        """What is believed now.

        Args:
            weigh: ln of the likelihood of what else was seen (cup, touch), for every hypothesis.
            ahead_c: what its mould will be at, every `AHEAD_MIN` from now on.
        """
        h = self.hypotheses
        weights, evidence, seen = self._weights(weigh)
        gels, demoulds = self._dates(weights, ahead_c)
        each = [w for w in weights for _ in FIFTHS]
        gel_factors = [math.exp(g) for g, _, _ in h.cells]
        cure_factors = [math.exp(c) for _, c, _ in h.cells]
        return Believed(
            _triple(gel_factors, weights), _triple(cure_factors, weights),
            _triple(_spread(gels, GEL_SD), each), _triple(_spread(demoulds, self._dates_sd), each),
            seen, evidence,
        )  # fmt: skip

    def mould_law(
        self,
        weigh: Callable[[Hypotheses], list[float]] | None,
        part: str,
        sensor: str,
        mould_j_per_k: float,
    ) -> MouldLaw | None:
        """What its mould's temperature has shown of the mould, by all that is believed now."""
        if self._heat is None:
            return None
        return self._heat.law(self._weights(weigh)[0], part, sensor, mould_j_per_k)

    def _weights(
        self, weigh: Callable[[Hypotheses], list[float]] | None
    ) -> tuple[list[float], float, bool]:
        """Of every hypothesis; how clearly heat is seen, and whether it is."""
        h = self.hypotheses
        logs = list(h.log_prior)
        if weigh is not None:
            logs = [a + b for a, b in zip(logs, weigh(h), strict=True)]
        evidence, seen = 0.0, False
        if self._heat is not None:
            likely, without = self._heat.log_likelihoods()
            evidence = _log_sum([a + b for a, b in zip(logs, likely, strict=True)])
            evidence -= _log_sum(logs) + without
            seen = evidence > SEEN
            if seen:
                share = BOUND / (BOUND + evidence) * min((evidence - SEEN) / SURE, 1.0)
                logs = [a + share * b for a, b in zip(logs, likely, strict=True)]
        top = max(logs)
        weights = [math.exp(v - top) for v in logs]
        return weights, evidence, seen

    def _dates(
        self, weights: list[float], ahead_c: Sequence[float]
    ) -> tuple[list[float], list[float]]:
        """When each gelled and left the mould; what is still to come is run ahead."""
        h = self.hypotheses
        waiting = [i for i, t in enumerate(h.demould_min) if t == math.inf]
        if not waiting or not ahead_c:
            return h.gel_min, h.demould_min
        waiting.sort(key=lambda i: -weights[i])
        some = waiting[:AHEAD_CELLS]
        kept, whole = sum(weights[i] for i in some), sum(weights[i] for i in waiting)
        if kept <= 0.0:  # nothing that is left to come is believed at all
            return h.gel_min, h.demould_min
        twin = h.copy()
        for part_c in ahead_c:
            twin.advance(AHEAD_MIN, part_c, some)
        for i in waiting[AHEAD_CELLS:]:
            weights[i] = 0.0
        for i in some:
            weights[i] *= whole / kept
        return twin.gel_min, twin.demould_min


def _spread(dates: Sequence[float], sd: float) -> list[float]:
    """Each date at the middles of five equal shares of its error."""
    factors = [math.exp(sd * z) for z in FIFTHS]
    return [t * f for t in dates for f in factors]


def _triple(values: Sequence[float], weights: Sequence[float]) -> Triple:
    early, likely, late = quantiles(values, weights, SHARES)
    return early, likely, late


def _log_sum(logs: Sequence[float]) -> float:
    top = max(logs)
    return top + math.log(sum(math.exp(v - top) for v in logs))
