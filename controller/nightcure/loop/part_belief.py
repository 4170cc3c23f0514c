"""One part's belief through a night: minute by minute, with an answer every quarter of an hour.

What a minute was is kept in whole steps of `STEP_C`, so that a restored night is the same to the
bit: it is gone through again, minute by minute.
"""

from __future__ import annotations

import math
import struct
from base64 import b64decode, b64encode
from collections.abc import Callable, Sequence
from typing import Any

from ..cure.belief import Belief, Believed
from ..cure.clock_figures import Milestone
from ..cure.hypotheses import Hypotheses
from ..cure.mould_law import MouldLaw
from ..cure.part import Part
from ..tick import PartBelief

#: °C in one step of a kept mean; duties are kept in the same steps of their share.
STEP_C = 0.005
#: A reading that is not believed leaves its minute out, once it is so much of it.
GOOD_SHARE = 0.9
ANSWER_MIN = 15
MOST = 32_000
#: Of a minute: mould, air, share of the heater's power, whether all was measured.
Minute = tuple[int, int, int, int]


class NightBelief:
    """What is believed of one part, from the night's start on."""

    def __init__(self, part: Part, mould_j_per_k: float, power_w: float, start_c: float) -> None:
        """`start_c`: where its resin stood if it was mixed before the start."""
        assert part.figures is not None
        assert part.prior is not None
        self.part = part
        self.law = part.law
        """Of its mould, by earlier nights; None where there is none, or of another mould."""
        if self.law is not None and not self.law.fits(part.name, part.sensor, mould_j_per_k):
            self.law = None
        self._mould_j_per_k = mould_j_per_k
        self._belief = Belief(
            part.figures, part.prior, part.resin_kg, mould_j_per_k, power_w, part.thickness_mm,
            self.law,
        )  # fmt: skip
        self._start_c = start_c
        self._before_min = max(-60.0 * part.start_h, 0.0)
        if self._before_min:
            self._belief.unmeasured(self._before_min, start_c)
        self._minutes: list[Minute] = []
        self._sums = [0.0, 0.0, 0.0, 0.0, 0.0]
        """Of the minute under way: seconds, and times seconds the part, the air, duty, good."""
        self.said: Believed | None = None
        self.stale = True
        """Something was seen since; the answer is due."""
        self.answered = 0
        """Minutes it had been through at the last answer."""
        self.told_min: float | None = None
        """When it is to be hard, or gelled, as last told in a sentence; min after the mixing."""
        self.held: list[Milestone] = []
        """Milestones that have come by the card and not surely yet."""

    @property
    def due(self) -> bool:
        """Whether it is time for an answer."""
        return self.stale or len(self._minutes) >= self.answered + ANSWER_MIN

    def advance(self, dt_s: float, part_c: float, air_c: float, duty: float, good: bool) -> None:
        """Let `dt_s` pass."""
        s = self._sums
        while dt_s > 0.0:
            piece_s = min(dt_s, 60.0 - s[0])
            dt_s -= piece_s
            for i, value in enumerate((1.0, part_c, air_c, duty, float(good))):
                s[i] += piece_s * value
            if s[0] < 60.0 - 1e-6:
                return
            mean = [min(max(round(v / 60.0 / STEP_C), -MOST), MOST) for v in s[1:4]]
            self._pass((mean[0], mean[1], mean[2], int(s[4] >= 60.0 * GOOD_SHARE)))
            self._sums = s = [0.0] * 5

    def _pass(self, minute: Minute) -> None:
        self._minutes.append(minute)
        part, air, duty, good = minute
        self._belief.minute(STEP_C * part, STEP_C * air, STEP_C * duty, bool(good))

    def answer(
        self, weighs: Callable[[Hypotheses], list[float]] | None, ahead_c: Sequence[float] = ()
    ) -> Believed:
        """Work out again what is believed of the part.

        Args:
            weighs: the likelihood of what the gel cup of its batch showed.
            ahead_c: the mould's foreseen temperatures, °C, `cure.belief.AHEAD_MIN` apart from now.
        """
        self.said = self._belief.answer(weighs, ahead_c)
        self.stale, self.answered = False, len(self._minutes)
        return self.said

    def progress(self) -> dict[str, list[float]]:
        """How far it is by each gel factor, for its touch in the morning."""
        gels, shares = self._belief.progress()
        return {
            "gels": [round(g, 3) for g in gels],
            "shares": [round(s, 4) for s in shares],
        }

    def mould_law(self, weighs: Callable[[Hypotheses], list[float]] | None) -> MouldLaw | None:
        """What the night has shown of its mould; `weighs` as for `answer`."""
        if self.part.sensor is None:
            return None
        name, sensor = self.part.name, self.part.sensor
        return self._belief.mould_law(weighs, name, sensor, self._mould_j_per_k)

    @property
    def by_heat_alone(self) -> Believed:
        """What its own heat says, whatever else was seen."""
        return self._belief.answer()

    def sure_s(self, name: str) -> float:
        """When a milestone has come nine times in ten, s of the night; 0 where nothing is said."""
        said = self.said
        if said is None or name not in ("gelled", "demould"):
            return 0.0
        triple = said.gel_min if name == "gelled" else said.demould_min
        return 3600.0 * self.part.start_h + 60.0 * triple[2]

    @property
    def hard_min(self) -> float:
        """When it is likely hard, min after the mixing; gelled, where its card knows no more."""
        assert self.said is not None
        return (self.said.demould_min if self._belief.hypotheses.dates_demould
                else self.said.gel_min)[1]  # fmt: skip

    def told(self, cup: bool) -> PartBelief:
        """The answer as a decision has it."""
        assert self.said is not None
        said, start_s = self.said, 3600.0 * self.part.start_h

        def dates(triple: Sequence[float]) -> tuple[float | None, ...]:
            return tuple(round(start_s + 60.0 * t) if math.isfinite(t) else None for t in triple)

        seen = (*(("cup",) if cup else ()), *(("heat",) if said.heat_seen else ()))
        knows_demould = self._belief.hypotheses.dates_demould
        return PartBelief(
            self.part.name,
            tuple(round(f, 4) for f in said.gel_factor),
            tuple(round(f, 4) for f in said.cure_factor),
            dates(said.gel_min), dates(said.demould_min) if knows_demould else None, seen,
        )  # fmt: skip

    # ---- remember -------------------------------------------------------------------------------

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        flat = [value for minute in self._minutes for value in minute]
        packed = b64encode(struct.pack(f"<{len(flat)}h", *flat)).decode()
        said = None if self.said is None else [_finite(v) for v in self.said]
        return {
            "minutes": packed, "sums": list(self._sums), "start_c": self._start_c,
            "said": said, "stale": self.stale, "answered": self.answered,
            "told_min": self.told_min, "held": list(self.held),
        }  # fmt: skip

    @classmethod
    def restore(
        cls, part: Part, mould_j_per_k: float, power_w: float, state: dict[str, Any]
    ) -> NightBelief:
        """The belief that `snapshot` was taken of: its night gone through again."""
        belief = cls(part, mould_j_per_k, power_w, state["start_c"])
        packed = b64decode(state["minutes"])
        for minute in struct.iter_unpack("<4h", packed):
            belief._pass(minute)
        belief._sums = list(state["sums"])
        if state["said"] is not None:
            belief.said = Believed(*(_infinite(v) for v in state["said"]))
        belief.stale, belief.answered = state["stale"], state["answered"]
        belief.told_min, belief.held = state["told_min"], list(state["held"])
        return belief


def _finite(value: Any) -> Any:
    """JSON has no infinity."""
    if isinstance(value, list | tuple):
        return [_finite(v) for v in value]
    return None if isinstance(value, float) and not math.isfinite(value) else value


def _infinite(value: Any) -> Any:
    if isinstance(value, list):
        return tuple(_infinite(v) for v in value)
    return math.inf if value is None else value
