"""A gel cup: some of the batch in a cup beside a thermometer, and somebody who sees it gel.

The time it took, against the card's at the temperature it had, is the batch's gel factor. A cup
warms itself and gels early; that is reckoned and taken out. Pure Python; time is an argument.
"""

from __future__ import annotations

import copy
import math
from collections.abc import Sequence
from typing import Annotated, Any, Literal, NamedTuple

from pydantic import Field

from ..errors import BadInput
from ..settings import Section
from ..units import show_duration
from .clock_figures import ClockFigures, SelfHeat
from .factors import card_prior, quantiles
from .rate import TimeTable

Held = Literal["cup", "film", "probe"]
#: What a cup of 100 g loses to the air, W/K, and how that grows with its size; J/kgK of resin.
CUP_W_PER_K, CUP_GROWS, RESIN_J_PER_KG_K = 0.098, 2.0 / 3.0, 1700.0
#: Where a card knows no heat: a polyester's (from memory).
USUAL_HEAT = SelfHeat(seed=0.001, gel_degree=0.05, heat_j_per_kg_resin=350e3)
#: A cup that would gel in less than this share of the time its surroundings give is refused: what
#: is left after the correction would be mostly correction.
LEAST_SHARE = 0.6
#: One standard deviation: of the moment at which somebody sees it gel, min; of the cup's own
#: warming as reckoned (nothing for a film or a probe in the cup); from the cup to the laminate.
PRESS_MIN, WARMING_SD, LAMINATE_SD = 2.2, 0.06, 0.09
#: Nothing is said of a cup whose thermometer said nothing for longer than this share of its time.
UNKNOWN_SHARE = 0.1
STEP_S, PIECE_S, LEAST_S = 10.0, 60.0, 120.0
#: ln(gel factor) for which the cup's gel is reckoned.
GRID = tuple(round(-0.9 + 0.1 * i, 2) for i in range(19))
FINE = tuple(0.02 * i for i in range(-60, 61))
#: A cup that nobody has looked at for so long is forgotten, s.
FORGOTTEN_S = 2 * 86400.0


class CupStart(Section):
    """A cup poured from the batch, as it is told."""

    batch: Annotated[str, Field(min_length=1, max_length=60)]
    """What the batch is called; parts of this batch take the factor."""
    card: Annotated[str, Field(max_length=200)] = ""
    """The card's name, to know the resin again in another night."""
    figures: ClockFigures
    """The card's numbers at the catalyst share as weighed."""
    grams: Annotated[float, Field(ge=2, le=1000)]
    sensor: Annotated[str, Field(min_length=1, max_length=40)] | None = None
    """The thermometer beside it; None: it stands at `stands_c`."""
    stands_c: Annotated[float, Field(ge=-10, le=60)] | None = None
    held: Held = "cup"
    """A cup beside the thermometer, a film of 3 mm at most, or a cup with the probe in it."""
    catalyst_pct: Annotated[float, Field(gt=0, le=5)] | None = None
    minutes_ago: Annotated[float, Field(ge=0, le=240)] = 0.0
    """It was mixed so long before it was told."""


class GelFactor(NamedTuple):
    """What a cup has shown.

    Attributes:
        low, likely, high: the factor on the card's gel times, 10, 50 and 90 %.
        cup_min: from the mixing to the gel as it was seen, min.
        as_card_min: what the card gives for a laminate at the cup's mean temperature, min.
        mean_c: that temperature, without the cup's own warming.
        own_warming: by what share its own warming made it early.
    """

    low: float
    likely: float
    high: float
    cup_min: float
    as_card_min: float
    mean_c: float
    own_warming: float

    @property
    def gel_row(self) -> tuple[float, float]:
        """A row for a card of this resin: °C, and the minutes a laminate takes there."""
        return round(self.mean_c, 1), round(self.as_card_min * self.likely, 1)


class GelCup:
    """One cup. `advance` it with its thermometer; `liquid` and `gelled` are what people see."""

    STATE = ("after_s", "dates", "gelled_min", "liquid_min", "pieces", "shows", "unknown_s")

    def __init__(self, start: CupStart) -> None:
        self.start = start
        self._gel = TimeTable(start.figures.gel_min, start.figures.cure_kj_per_mol)
        self._heat = start.figures.self_heat or USUAL_HEAT
        self.after_s = self.unknown_s = 0.0
        self.pieces: list[list[float]] = []
        """[s, degC]: what its thermometer said, a minute at a time, where the card has data."""
        self.liquid_min: float | None = None
        """When it was last seen liquid, min after the mixing."""
        self.gelled_min: float | None = None
        self.shows: list[float] | None = None
        self.dates: list[float] = []
        """When it should have gelled by each of `GRID`, min; reckoned when somebody looks."""

    def advance(self, dt_s: float, probe_c: float | None) -> None:
        """Let `dt_s` pass with its thermometer at `probe_c`; None: it said nothing believable."""
        self.after_s += dt_s
        if self.gelled_min is not None:
            return
        if probe_c is None or self._gel.at(probe_c) is None:
            self.unknown_s += dt_s
            return
        last = self.pieces[-1] if self.pieces else None
        if last is None or last[0] + dt_s > PIECE_S:
            self.pieces.append([dt_s, probe_c])
        else:
            last[1] += (probe_c - last[1]) * dt_s / (last[0] + dt_s)
            last[0] += dt_s

    @property
    def coldest_c(self) -> float:
        """Below it the card has no gel times."""
        return self._gel.coldest_c

    def gels_min(self, factor: float, film: bool = False) -> float:
        """When it gels if its batch takes `factor` times the card's gel time, min.

        Its thermometer stays as it was last, where it has not gelled by now. `film`: without any
        warming of its own.
        """
        share = warmer_k = done_s = 0.0
        own = self.start.held == "cup" and not film
        kg = self.start.grams / 1000.0
        loss = CUP_W_PER_K * (self.start.grams / 100.0) ** CUP_GROWS
        heat_j = kg * self._heat.heat_j_per_kg_resin * self._heat.gel_degree
        for whole_s, probe_c in (*self.pieces, [math.inf, self.pieces[-1][1]]):
            left_s = whole_s
            while left_s > 0.0:
                card_min = self._gel.at(probe_c + warmer_k)
                assert card_min is not None
                rate = 1.0 / (60.0 * card_min * factor)
                dt_s = min(STEP_S, left_s) if own else left_s
                gained = dt_s * rate
                if share + gained >= 1.0:
                    return (done_s + (1.0 - share) / rate) / 60.0
                left_s -= dt_s
                if own:
                    keep = math.exp(-loss * dt_s / (kg * RESIN_J_PER_KG_K))
                    settled = heat_j * ((share + gained) ** 2 - share**2) / dt_s / loss
                    warmer_k = settled + keep * (warmer_k - settled)
                share += gained
                done_s += dt_s
        return math.inf

    def liquid(self) -> GelFactor:
        """Somebody looked, and it is still liquid. Raises BadInput where that tells nothing."""
        self.liquid_min = self._looked()
        return self._found()

    def gelled(self) -> GelFactor:
        """Somebody sees that it has gelled. Raises BadInput where that tells nothing."""
        self.gelled_min = self._looked()
        return self._found()

    @property
    def found(self) -> GelFactor | None:
        """What it has shown so far; None where nobody has looked."""
        return None if self.shows is None else GelFactor(*self.shows)

    def _looked(self) -> float:
        if self.gelled_min is not None:
            raise BadInput("it has gelled already, as was told; pour another cup to try again.")
        if self.unknown_s > UNKNOWN_SHARE * self.after_s:
            raise BadInput(
                f"for {show_duration(60 * round(self.unknown_s / 60))} its thermometer said "
                f"nothing or was colder than {self.coldest_c:g} °C, where the card has no gel "
                f"times; so this cup says nothing of the batch. Pour another where it is warmer."
            )
        if not self.pieces or self.after_s < LEAST_S:
            raise BadInput("it was mixed less than two minutes ago; look again later.")
        self.dates = [round(self.gels_min(math.exp(g)), 3) for g in GRID]
        return round(self.after_s / 60.0, 3)

    def _found(self) -> GelFactor:
        """What it shows, beside what is known of any resin on its card."""
        p = card_prior(self.start.figures)
        grid = [p.gel_mean + p.gel_sd * 0.05 * i for i in range(-70, 71)]
        logs = [a - 0.5 * ((g - p.gel_mean) / p.gel_sd) ** 2
                for g, a in zip(grid, self.log_likelihoods(grid), strict=True)]  # fmt: skip
        top = max(logs)
        low, likely, high = quantiles(
            [math.exp(g) for g in grid], [math.exp(v - top) for v in logs], (0.1, 0.5, 0.9)
        )
        known_s = sum(s for s, _ in self.pieces)
        mean_c = sum(s * c for s, c in self.pieces) / known_s
        as_card = self._gel.at(mean_c)
        assert as_card is not None
        early = 1.0 - self.gels_min(likely) / self.gels_min(likely, film=True)
        found = GelFactor(low, likely, high, self.after_s / 60.0, as_card, mean_c, early)
        self.shows = list(found)
        return found

    @property
    def tells(self) -> bool:
        """Whether anything was seen of it."""
        return self.gelled_min is not None or self.liquid_min is not None

    def log_likelihoods(self, gels: Sequence[float]) -> list[float]:
        """Of what was seen, for each ln(gel factor)."""
        dates = [math.log(self._date(g)) for g in gels]
        before = self.liquid_min
        if self.gelled_min is None:
            if before is None:
                return [0.0] * len(gels)
            at, sd = math.log(before), self._sd(before)
            return [math.log(_normal((d - at) / sd) + 1e-12) for d in dates]
        at, sd = math.log(self.gelled_min), self._sd(self.gelled_min)
        if before is None:
            return [-0.5 * ((at - d) / sd) ** 2 for d in dates]
        was, was_sd = math.log(before), self._sd(before)
        return [
            math.log(
                max(_normal((at - d) / sd) - _normal((was - d) / was_sd), 0.0)
                + 1e-2 * math.exp(-0.5 * ((at - d) / sd) ** 2)
                + 1e-12
            )
            for d in dates
        ]

    def _date(self, gel: float) -> float:
        """When it should have gelled with ln(factor) `gel`, min; straight beyond the grid."""
        at = min(max((gel - GRID[0]) / (GRID[1] - GRID[0]), 0.0), len(GRID) - 1.000001)
        i = int(at)
        date = self.dates[i] + (at - i) * (self.dates[i + 1] - self.dates[i])
        return date * math.exp(gel - min(max(gel, GRID[0]), GRID[-1]))

    @property
    def evidence(self) -> tuple[float, float] | None:
        """ln(gel factor) by the cup alone, and its standard deviation; None before the gel."""
        if self.gelled_min is None:
            return None
        weights = [math.exp(v) for v in self.log_likelihoods(FINE)]
        total = sum(weights)
        mean = sum(g * w for g, w in zip(FINE, weights, strict=True)) / total
        var = sum((g - mean) ** 2 * w for g, w in zip(FINE, weights, strict=True)) / total
        return round(mean, 4), round(max(math.sqrt(var), LAMINATE_SD), 4)

    def _sd(self, minutes: float) -> float:
        warming = WARMING_SD if self.start.held == "cup" else 0.0
        if self.start.figures.self_heat is None:
            warming *= 2.0
        return math.hypot(PRESS_MIN / max(minutes, 1.0), warming, LAMINATE_SD)

    def snapshot(self) -> dict[str, Any]:
        """All state, JSON-ready."""
        state = {name: copy.deepcopy(getattr(self, name)) for name in self.STATE}
        return {"start": self.start.model_dump(mode="json"), **state}

    @classmethod
    def restore(cls, state: dict[str, Any]) -> GelCup:
        """The cup that `snapshot` was taken of."""
        cup = cls(CupStart.model_validate(state["start"]))
        for name in cls.STATE:
            setattr(cup, name, copy.deepcopy(state[name]))
        return cup


def stood(start: CupStart, at_c: float) -> GelCup:
    """Such a cup at a steady temperature, within what its card has data for."""
    cup = GelCup(start)
    cup.pieces = [[1.0, max(at_c, cup.coldest_c)]]
    return cup


def refused_cup(start: CupStart) -> str:
    """Why nothing can be learned from such a cup, and what would do; empty where it can."""
    rows = start.figures.gel_min
    cup = stood(start, min(max(start.figures.reference_c, rows[0][0]), rows[-1][0]))
    share = cup.gels_min(1.0) / cup.gels_min(1.0, film=True)
    if share >= LEAST_SHARE:
        return ""
    return (
        f"{start.grams:g} g of this resin in a cup heat themselves so much that they gel in "
        f"{100 * share:.0f} % of a laminate's time; spread a film of at most 3 mm, or put the "
        f"thermometer into the cup."
    )


def _normal(z: float) -> float:
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
