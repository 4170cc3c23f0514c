"""The cure clock: how far one part's resin is, on the temperature it has really had.

Three tracks run side by side, early, likely and late, by the band of the resin's figures: a
milestone is known as well as its card. Until it gels the card's gel times rule; after it the time
counts as so many minutes at the reference temperature (Arrhenius, with the cure's own energy).
Below the coldest row of the gel times, and below the card's lowest temperature, the clock stands
still: there is no data, so no cure is promised. Pure Python; no I/O, no randomness.
"""

from __future__ import annotations

import copy
from typing import NamedTuple

from .clock_figures import MILESTONES, Band, ClockFigures, Milestone, SelfHeat
from .glass_transition import advanced, degree_of, tg_c
from .rate import TimeTable, faster

EARLY, LIKELY, LATE = range(3)
#: A part held at a post-cure step's temperature is never quite at it: so much colder still counts
#: (a soak's usual band; common practice, no source).
POST_CURE_SLACK_K = 2.0


class When(NamedTuple):
    """When a milestone comes or came, s on the clock that `advance` was told; None: not in sight.

    `low_s` and `high_s` are the ends of its band.
    """

    name: Milestone
    at_s: float | None
    low_s: float | None
    high_s: float | None


def post_cure_rows(figures: ClockFigures) -> tuple[tuple[float, float], ...]:
    """The post-cure steps, coldest first, [°C, hours], and a slower one `POST_CURE_SLACK_K` below.

    Empty where the card has none.
    """
    rows = figures.post_cure_h
    if not rows:
        return ()
    at_c, hours = rows[0]
    slack_c = at_c - POST_CURE_SLACK_K
    return ((slack_c, hours * faster(figures.cure_kj_per_mol, at_c, slack_c)), *rows)


def _roots(heat: SelfHeat | None) -> tuple[float, float] | None:
    """sqrt(a/(1-a)) at mixing and at the gel; None for a card without heat of cure."""
    if heat is None:
        return None
    seed, gel = heat.seed, heat.gel_degree
    return (seed / (1.0 - seed)) ** 0.5, (gel / (1.0 - gel)) ** 0.5


class CureClock:
    """One resin from its mixing on. `advance` it; `snapshot` and `restore` keep it."""

    __slots__ = (
        *("_gel", "_gel_reference_min", "_post", "_roots"),
        *("_cured", "equivalent_min", "figures", "reached_s", "stages", "tracks"),
    )

    def __init__(self, figures: ClockFigures) -> None:
        self.figures = figures
        self._gel = TimeTable(figures.gel_min, figures.cure_kj_per_mol)
        self._post: TimeTable | None = None
        if figures.post_cure_h:
            self._post = TimeTable(post_cure_rows(figures), figures.cure_kj_per_mol)
        gel_min = self._gel.at(figures.reference_c)
        self._gel_reference_min = 1.0 if gel_min is None else gel_min
        self._roots = _roots(figures.self_heat)
        bands: dict[Milestone, Band | None] = {
            "laminate-opens": figures.opens_min,
            "laminate-closes": figures.closes_min,
            "demould": figures.demould_min,
            "full": figures.full_min,
        }
        self.stages = tuple((name, band) for name, band in bands.items() if band is not None)
        #: Per track: share of the gel time, reference minutes after the gel, post-cure share.
        self.tracks = [[0.0, 0.0, 0.0] for _ in range(3)]
        self._cured: dict[int, float] = {}
        """By track, likely and late: sqrt(a/(1-a)) of a resin that vitrifies; empty where the card
        has no glass transition."""
        if figures.glass is not None and self._roots is not None:
            self._cured = {LIKELY: self._roots[0], LATE: self._roots[0]}
        self.equivalent_min = 0.0
        """Minutes at the reference temperature since mixing, by the cure's energy."""
        self.reached_s: dict[str, list[float | None]] = {}

    # ---- how fast -------------------------------------------------------------------------

    def rates(self, part_c: float) -> tuple[float, float, float]:
        """At `part_c`, each per second: share of the gel time, minutes of cure, post-cure share."""
        gel_min = self._gel.at(part_c)
        gel = 0.0 if gel_min is None else 1.0 / (60.0 * gel_min)
        f = self.figures
        cure = 0.0
        if part_c >= f.lowest_c:
            cure = faster(f.cure_kj_per_mol, part_c, f.reference_c) / 60.0
        hours = None if self._post is None else self._post.at(part_c)
        return gel, cure, 0.0 if hours is None else 1.0 / (3600.0 * hours)

    @property
    def coldest_c(self) -> float:
        """Below it the card knows no gel."""
        return self._gel.coldest_c

    def gel_min_at(self, part_c: float) -> float | None:
        """Gel time at a steady temperature, minutes; None where the card has no data."""
        return self._gel.at(part_c)

    # ---- let time pass ----------------------------------------------------------------------

    def advance(self, now_s: float, dt_s: float, part_c: float) -> list[Milestone]:
        """Let the `dt_s` up to `now_s` pass at `part_c`; the milestones the likely track reached.

        A milestone inside the step is dated by straight interpolation.
        """
        rates = self.rates(part_c)
        self.equivalent_min += rates[1] * dt_s
        fresh: list[Milestone] = []
        before = {track: self._root(track) for track in self._cured}
        for track in (EARLY, LIKELY, LATE):
            self._advance_track(track, now_s, dt_s, rates, fresh)
        for track, root in before.items():
            assert self.figures.glass is not None
            gain = (self._root(track) or 0.0) - (root or 0.0)
            self._cured[track] = advanced(self._cured[track], gain, part_c, self.figures.glass)
        return fresh

    def _advance_track(
        self,
        track: int,
        now_s: float,
        dt_s: float,
        rates: tuple[float, float, float],
        fresh: list[Milestone],
    ) -> None:
        state = self.tracks[track]
        gel_rate, cure_rate, post_rate = rates
        need = self.figures.gel_band[track]
        left_s = dt_s
        if state[0] < need:
            if gel_rate <= 0.0:
                return
            gelling_s = (need - state[0]) / gel_rate
            if gelling_s > dt_s:
                state[0] += gel_rate * dt_s
                return
            state[0] = need
            left_s = dt_s - gelling_s
            self._reach("gelled", track, now_s - left_s, fresh)
        before = state[1]
        state[1] = after = before + cure_rate * left_s
        for name, band in self.stages:
            mark = band[track]
            if before < mark <= after:
                self._reach(name, track, now_s - (after - mark) / cure_rate, fresh)
        demould = self.figures.demould_min
        if post_rate > 0.0 and (demould is None or after >= demould[track]) and state[2] < 1.0:
            state[2] += post_rate * left_s
            if state[2] >= 1.0:
                self._reach("post-cured", track, now_s - (state[2] - 1.0) / post_rate, fresh)

    def _reach(self, name: Milestone, track: int, at_s: float, fresh: list[Milestone]) -> None:
        self.reached_s.setdefault(name, [None, None, None])[track] = at_s
        if track == LIKELY:
            fresh.append(name)

    # ---- what is known ----------------------------------------------------------------------

    def knows(self, name: str) -> bool:
        """Whether the card can tell this milestone at all."""
        if name == "gelled":
            return True
        if name == "post-cured":
            return self._post is not None
        return any(stage == name for stage, _ in self.stages)

    def reached(self, name: str) -> bool:
        """Whether the likely track is past the milestone."""
        when = self.reached_s.get(name)
        return when is not None and when[LIKELY] is not None

    @property
    def finished(self) -> bool:
        """Whether even the late track is past everything but the post-cure."""
        if self.tracks[LATE][0] < self.figures.gel_band[LATE]:
            return False
        return all(self.tracks[LATE][1] >= band[LATE] for _, band in self.stages)

    def whens(self) -> tuple[When, ...]:
        """Every milestone the card knows, in order, as far as it has been reached."""
        result = []
        for name in MILESTONES:
            if self.knows(name):
                early, likely, late = self.reached_s.get(name, (None, None, None))
                result.append(When(name, likely, early, late))
        return tuple(result)

    def needs_s(self, name: str, part_c: float) -> float | None:
        """How much longer (s) until a milestone if the part stays at `part_c`; None: never."""
        if self.reached(name):
            return 0.0
        gel_rate, cure_rate, post_rate = self.rates(part_c)
        state = self.tracks[LIKELY]
        total_s = 0.0
        if state[0] < 1.0:
            if gel_rate <= 0.0:
                return None
            total_s += (1.0 - state[0]) / gel_rate
        if name == "gelled":
            return total_s
        if name == "post-cured":
            first = "demould" if self.figures.demould_min else "gelled"
            before_s = self.needs_s(first, part_c)
            if before_s is None or post_rate <= 0.0:
                return None
            return before_s + (1.0 - state[2]) / post_rate
        band = dict(self.stages).get(name)  # type: ignore[call-overload]
        if band is None or cure_rate <= 0.0:
            return None
        return float(total_s + max(band[LIKELY] - state[1], 0.0) / cure_rate)

    # ---- degree of cure, glass transition ---------------------------------------------------

    def degree(self, track: int = LIKELY) -> float | None:
        """Degree of cure by the generic law (see `SelfHeat`); None if the card has none.

        Where the card knows its glass transition it slows as the resin vitrifies; of such a resin
        only the likely and the late track are followed.
        """
        root = self._cured[track] if self._cured else self._root(track)
        return None if root is None else degree_of(root)

    def tg_c(self, track: int = LIKELY) -> float | None:
        """Glass transition now, °C, likely or late; None if the card does not tell it."""
        glass = self.figures.glass
        if glass is None or not self._cured:
            return None
        found: float = tg_c(degree_of(self._cured[track]), glass)
        return found

    # ---- its own heat -----------------------------------------------------------------------

    def _root(self, track: int) -> float | None:
        """sqrt(a/(1-a)), which grows straight with equivalent time."""
        if self._roots is None:
            return None
        first, gel = self._roots
        share = self.tracks[track][0] / self.figures.gel_band[track]
        gel_min = self._gel_reference_min * self.figures.gel_band[track]
        return first + (gel - first) * (share + self.tracks[track][1] / gel_min)

    def root_rate(self, rates: tuple[float, float, float], track: int = LIKELY) -> float:
        """How fast sqrt(a/(1-a)) grows at these `rates`, unhindered, 1/s; 0 if unknown."""
        if self._roots is None:
            return 0.0
        first, gel = self._roots
        gel_rate, cure_rate, _ = rates
        need = self.figures.gel_band[track]
        if self.tracks[track][0] < need:
            return (gel - first) * gel_rate / need
        return (gel - first) * cure_rate / (self._gel_reference_min * need)

    def heat_w_per_kg(self, rates: tuple[float, float, float], track: int = LIKELY) -> float:
        """Heat (W per kg of resin) that it gives off now at these `rates`; 0 if unknown."""
        heat = self.figures.self_heat
        root = self._root(track)
        if heat is None or root is None:
            return 0.0
        degree_rate = 2.0 * root / (1.0 + root * root) ** 2 * self.root_rate(rates, track)
        return heat.heat_j_per_kg_resin * degree_rate

    # ---- remember ---------------------------------------------------------------------------

    def copy(self) -> CureClock:
        """The same clock to run ahead with."""
        twin = copy.copy(self)
        twin.tracks = [list(t) for t in self.tracks]
        twin.reached_s = {k: list(v) for k, v in self.reached_s.items()}
        twin._cured = dict(self._cured)
        return twin

    def snapshot(self) -> list[object]:
        """All state, JSON-ready."""
        return [
            [list(t) for t in self.tracks],
            self.equivalent_min,
            {k: list(v) for k, v in self.reached_s.items()},
            *([list(self._cured.values())] if self._cured else []),
        ]

    def restore(self, state: list[object]) -> None:
        """Go on from a snapshot."""
        tracks, equivalent_min, reached_s, *cured = state
        assert isinstance(tracks, list)
        assert isinstance(equivalent_min, float)
        assert isinstance(reached_s, dict)
        self.tracks = [list(t) for t in tracks]
        self.equivalent_min = equivalent_min
        self.reached_s = {k: list(v) for k, v in reached_s.items()}
        if cured and isinstance(cured[0], list):
            self._cured = dict(zip((LIKELY, LATE), cured[0], strict=True))
