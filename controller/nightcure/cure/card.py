"""Resin cards: a resin's data-sheet numbers in a TOML file, each with its source.

A card that cannot be true (a gel after the demould, a reaction that slows as it warms) is refused
with a sentence.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from ..errors import BadInput, faults_as_sentences
from ..settings import Section, read_toml
from .card_sections import (
    FromGel,
    GelRow,
    Glass,
    Kamal,
    Laminate,
    Number,
    Piecewise,
    PostCure,
    Source,
    Time,
    Window,
    between,
)
from .clock_figures import (
    MAKERS_DIFFER,
    Band,
    Bulk,
    ClockFigures,
    Emitter,
    Face,
    GlassFigures,
    SelfHeat,
)
from .rate import TimeTable, faster
from .vapour import emitter_called

SHIPPED = Path(__file__).parent / "resins"


class Card(Section):
    """Everything known of one resin."""

    name: Annotated[str, Field(pattern=r"^[a-z0-9][a-z0-9-]{1,40}$")]
    title: Annotated[str, Field(min_length=3, max_length=80)]
    family: Literal["polyester", "vinyl-ester", "epoxy"]
    reference: bool = False
    """A published set for checking the solver, not a resin to lay up by."""
    generic: bool = False
    """It stands for a kind of resin, not for one maker's."""
    reference_c: Annotated[float, Field(ge=0, le=200)] = 20.0
    cure_kj_per_mol: Annotated[Number, between(10, 250)]
    gel: Annotated[tuple[GelRow, ...], Field(max_length=500)] = ()
    gel_band: (
        tuple[Annotated[Number, between(0.05, 1)], Annotated[Number, between(1, 20)]] | None
    ) = None
    """Factors on the gel time: how early and how late it may come."""
    laminate_ready: Window | None = None
    demould: Time | None = None
    full_cure: Time | None = None
    post_cure: tuple[PostCure, ...] = ()
    lowest_c: Annotated[Number, between(-10, 200)] | None = None
    highest_c: Annotated[Number, between(20, 250)] | None = None
    ramp_c_per_h: Annotated[Number, between(0.1, 300)] | None = None
    heat_before_gel: bool = False
    heat_before_gel_source: Source = "cautious: not unless the data sheet allows it"
    monomer_pct: Annotated[Number, between(0, 70)] | None = None
    emits_as: Emitter | None = None
    """Whether it loses styrene as a resin or as a gel coat does; by its name if left out."""
    face: Face | None = None
    """What its free face is like when it cures in air; what is felt of it in the morning goes by
    that."""
    face_source: Source = "common practice, no source"
    density_kg_per_m3: Annotated[Number, between(800, 2500)] | None = None
    heat_kj_per_kg: Annotated[Number, between(1, 2000)] | None = None
    heat_is_per: Literal["resin", "laminate"] = "resin"
    kinetics: Annotated[Kamal | Piecewise | FromGel, Field(discriminator="law")] | None = None
    glass: Glass | None = None
    laminate: Laminate | None = None

    @model_validator(mode="after")
    def _can_be_true(self) -> Self:
        faults = list(self._impossible())
        if faults:
            raise ValueError(" ".join(faults))
        return self

    def _impossible(self) -> Iterator[str]:
        if not self.gel and (self.kinetics is None or self.kinetics.law == "from-gel"):
            yield "it has neither gel times nor published kinetics, so it clocks nothing."
        if self.gel and self.lowest_c is None:
            yield "lowest_c is missing; give the lowest temperature it may be worked at."
        yield from self._gel_rows()
        if self.gel:
            yield from self._order()
        for a, b in pairwise(sorted(self.post_cure, key=lambda p: p.at_c)):
            if b.hours > a.hours:
                yield (
                    f"post_cure takes {b.hours:g} h at {b.at_c:g} °C and {a.hours:g} h at "
                    f"{a.at_c:g} °C; warmer should not take longer."
                )
        if self.glass and self.glass.full_c <= self.glass.uncured_c:
            yield "glass: full_c should be above uncured_c."
        if self.lowest_c and self.highest_c and self.lowest_c.value >= self.highest_c.value:
            yield "lowest_c should be below highest_c."

    def _gel_rows(self) -> Iterator[str]:
        shares = {row.catalyst_pct for row in self.gel}
        if None in shares and len(shares) > 1:
            yield "gel: some rows have a catalyst_pct and some have none; give it to all or none."
            return
        seen = [(row.catalyst_pct, row.temp_c) for row in self.gel]
        for twice in sorted({s for s in seen if seen.count(s) > 1}, key=str):
            yield f"gel has two rows at {twice[1]:g} °C{_with(twice[0])}; keep one."
        for share in sorted(shares, key=lambda s: s or 0.0):
            rows = sorted((r.temp_c, r.minutes) for r in self.gel if r.catalyst_pct == share)
            for (cold_c, cold), (warm_c, warm) in pairwise(rows):
                if warm >= cold:
                    yield (
                        f"gel takes {warm:g} min at {warm_c:g} °C and {cold:g} min at {cold_c:g} "
                        f"°C{_with(share)}; a resin does not gel slower when warmer."
                    )
        for temp_c in sorted({r.temp_c for r in self.gel}):
            column = sorted(
                (r.catalyst_pct or 0.0, r.minutes) for r in self.gel if r.temp_c == temp_c
            )
            for (less_pct, less), (more_pct, more) in pairwise(column):
                if more > less and more_pct > less_pct:
                    yield (
                        f"gel takes {more:g} min with {more_pct:g} % and {less:g} min with "
                        f"{less_pct:g} % at {temp_c:g} °C; more catalyst does not gel slower."
                    )

    def _order(self) -> Iterator[str]:
        after = "mixing"
        minutes = 0.0
        for name, time in (("demould", self.demould), ("full_cure", self.full_cure)):
            if time is None:
                continue
            if (time.catalyst_pct is None) != (self.gel[0].catalyst_pct is None):
                yield f"{name}: catalyst_pct should be given exactly if the gel rows have it."
                continue
            try:
                table = self.gel_table(time.catalyst_pct)
            except BadInput as error:
                yield f"{name}: {' '.join(error.sentences)}"
                continue
            gel = table.at(time.at_c)
            if gel is None:
                yield (
                    f"{name} is given at {time.at_c:g} °C, below the coldest gel row of "
                    f"{table.coldest_c:g} °C; give it at a temperature the gel rows reach."
                )
                continue
            if gel >= (time.low_minutes or time.minutes):
                early = time.low_minutes or time.minutes
                yield (
                    f"{name} after {early:g} min comes before the gel after {gel:.0f} min at "
                    f"{time.at_c:g} °C; nothing is solid before it gels."
                )
                continue
            likely = (time.minutes - gel) * self._pace(time.at_c)
            if likely < minutes:
                yield f"{name} comes before {after}; it should come later."
            after, minutes = name, likely

    def _pace(self, temp_c: float) -> float:
        return faster(self.cure_kj_per_mol.value, temp_c, self.reference_c)

    # ---- what it answers ------------------------------------------------------------------

    def gel_table(self, catalyst_pct: float | None) -> TimeTable:
        """Gel minutes over temperature at a catalyst share, between the card's own columns.

        Raises:
            BadInput: no gel rows, or a share outside the table: nothing is extrapolated.
        """
        if not self.gel:
            raise BadInput(f"{self.name} has no gel times; it is for checking kinetics only.")
        beyond = self.cure_kj_per_mol.value
        if self.gel[0].catalyst_pct is None:
            if catalyst_pct is not None:
                raise BadInput(f"{self.name} is mixed in one fixed ratio; leave catalyst_pct out.")
            return TimeTable([(r.temp_c, r.minutes) for r in self.gel], beyond)
        shares = sorted({r.catalyst_pct or 0.0 for r in self.gel})
        if catalyst_pct is None:
            raise BadInput(
                f"{self.name}: catalyst_pct is missing; give the share in the mix, "
                f"{shares[0]:g} to {shares[-1]:g} %."
            )
        if not shares[0] <= catalyst_pct <= shares[-1]:
            raise BadInput(
                f"{self.name} has gel times for {shares[0]:g} to {shares[-1]:g} % catalyst and "
                f"none for {catalyst_pct:g} %; mix within its table."
            )
        low = max(s for s in shares if s <= catalyst_pct)
        high = min(s for s in shares if s >= catalyst_pct)
        columns = [
            TimeTable([(r.temp_c, r.minutes) for r in self.gel if r.catalyst_pct == s], beyond)
            for s in (low, high)
        ]
        if low == high:
            return columns[0]
        return TimeTable(list(_between(columns, (low, high), catalyst_pct)), beyond)

    def figures(self, catalyst_pct: float | None) -> ClockFigures:
        """The clock's numbers at a catalyst share. Raises BadInput as `gel_table` does."""
        table = self.gel_table(catalyst_pct)
        assert self.lowest_c is not None
        reference_c = max(self.reference_c, table.coldest_c)
        gel = table.at(reference_c)
        assert gel is not None
        band = self.gel_band
        early, late = (band[0].value, band[1].value) if band else (0.6, 1.7)
        window = self.laminate_ready
        opens: Band | None = None
        closes: Band | None = None
        if window is not None:
            lo, mid, hi = window.opens_gel_times
            opens = (
                max((lo - 1.0) * gel * early, 0.01),
                max((mid - 1.0) * gel, 0.01),
                max((hi - 1.0) * gel * late, 0.01),
            )
            lo, mid, hi = (max(60.0 * h - gel, 1.0) for h in window.closes_h)
            closes = (lo, mid, hi)
        kinetics, heat = self.kinetics, self.heat_kj_per_kg
        self_heat = None
        if isinstance(kinetics, FromGel) and heat is not None and self.heat_is_per == "resin":
            self_heat = SelfHeat(
                seed=kinetics.seed,
                gel_degree=kinetics.gel_degree,
                heat_j_per_kg_resin=1000.0 * heat.value,
            )
        bulk = glass = None
        if self.laminate is not None:
            bulk = Bulk.model_validate(self.laminate.model_dump(exclude={"source"}))
        if self.glass is not None and self_heat is not None and isinstance(kinetics, FromGel):
            told = self.glass.model_dump(exclude={"source"})
            glass = GlassFigures(**told, diffusion=kinetics.diffusion)
        return ClockFigures(
            gel_min=tuple(table.rows),
            cure_kj_per_mol=self.cure_kj_per_mol.value,
            reference_c=reference_c,
            lowest_c=max(self.lowest_c.value, -10.0),
            gel_band=(early, 1.0, late),
            opens_min=opens,
            closes_min=closes,
            demould_min=self._after_gel(self.demould, gel, reference_c),
            full_min=self._after_gel(self.full_cure, gel, reference_c),
            post_cure_h=tuple(sorted((p.at_c, p.hours) for p in self.post_cure)),
            heat_before_gel=self.heat_before_gel,
            highest_c=None if self.highest_c is None else self.highest_c.value,
            ramp_c_per_h=None if self.ramp_c_per_h is None else self.ramp_c_per_h.value,
            monomer_pct=None if self.monomer_pct is None else self.monomer_pct.value,
            emits_as=self.emitter,
            generic=self.generic,
            self_heat=self_heat,
            bulk=bulk,
            face=self.face,
            glass=glass,
        )

    def _after_gel(self, time: Time | None, gel: float, reference_c: float) -> Band | None:
        """A data sheet's time as minutes after the gel at the reference, with this catalyst.

        The cure after the gel is taken to quicken with the catalyst as the gel does.
        """
        if time is None:
            return None
        sheet = self.gel_table(time.catalyst_pct)
        sheet_gel = sheet.at(time.at_c)
        sheet_reference = sheet.at(max(reference_c, sheet.coldest_c))
        assert sheet_gel is not None
        assert sheet_reference is not None
        pace = faster(self.cure_kj_per_mol.value, time.at_c, reference_c) * gel / sheet_reference
        low, high = time.low_minutes or time.minutes, time.high_minutes or time.minutes
        early, likely, late = ((t - sheet_gel) * pace for t in (low, time.minutes, high))
        return early, likely, late

    @property
    def emitter(self) -> Emitter:
        """What it loses styrene as; by its name where it does not say."""
        return self.emits_as or emitter_called(f"{self.name} {self.title}")

    def unanswered(self) -> tuple[str, ...]:
        """What the card cannot answer, a sentence each."""
        missing = (
            (not self.gel, "when it gels: it has no gel times"),
            (self.laminate_ready is None, "when it may be laminated upon: no laminate_ready"),
            (self.demould is None, "when it leaves the mould: no demould time"),
            (self.full_cure is None, "when it is cured: no full_cure time"),
            (not self.post_cure, "how to finish its cure: no post_cure steps"),
            (self.monomer_pct is None, "how much vapour it gives off: no monomer_pct"),
            (self.heat_kj_per_kg is None, "whether it overheats: no heat_kj_per_kg"),
            (self.kinetics is None, "its degree of cure: no kinetics"),
            (self.glass is None, "its glass transition, and where the cure stops: no glass"),
            (self.laminate is None, "what happens through a thick laminate: no laminate"),
            (self.gel_band is None, "how sure its gel time is: no gel_band, so -40/+70 % is used"),
            (self.highest_c is None, "how hot it may get: no highest_c"),
            (self.face is None and not self.reference, "what its free face is like: no face"),
        )
        said = [f"It cannot say {what}." for lacks, what in missing if lacks]
        if self.emits_as is None and self.monomer_pct and self.monomer_pct.value > 0.0:
            said.append(
                f"Its styrene is reckoned as a {self.emitter.replace('-', ' ')}'s, by its name; a "
                f"gel coat loses three to four times as much as a resin: set emits_as to "
                f"'resin' or 'gel-coat'."
            )
        if self.generic:
            said.append(f"It is generic: {MAKERS_DIFFER}.")
        if self.gel and len({r.temp_c for r in self.gel}) == 1:
            said.append("It has gel times at one temperature only, and says nothing of colder.")
        return tuple(said)


def _with(catalyst_pct: float | None) -> str:
    return "" if catalyst_pct is None else f" with {catalyst_pct:g} %"


def _between(
    columns: list[TimeTable], shares: tuple[float, float], catalyst_pct: float
) -> Iterator[tuple[float, float]]:
    """Rows at a share between two columns: log time over log share, where both have data."""
    import math

    low, high = shares
    weight = math.log(catalyst_pct / low) / math.log(high / low)
    coldest_c = max(c.coldest_c for c in columns)
    temps = {t for c in columns for t, _ in c.rows if t >= coldest_c}
    for temp_c in sorted(temps):
        a, b = (c.at(temp_c) for c in columns)
        assert a is not None
        assert b is not None
        yield temp_c, math.exp((1.0 - weight) * math.log(a) + weight * math.log(b))


def parse_card(data: Any, where: str = "card") -> Card:
    """A card from TOML-like data. Raises BadInput, a sentence per fault."""
    try:
        return Card.model_validate(data)
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, where)) from None


def shipped() -> tuple[str, ...]:
    """Names of the cards that come with nightcure."""
    return tuple(sorted(p.stem for p in SHIPPED.glob("*.toml")))


def load_card(name: str | Path, folder: Path | None = None) -> Card:
    """A card by the name of a shipped one, or from a TOML file (relative to `folder`).

    Raises:
        BadInput: a sentence per fault.
    """
    text = str(name)
    if text in shipped():
        return parse_card(read_toml(SHIPPED / f"{text}.toml"), text)
    path = Path(text) if folder is None else folder / text
    if not path.suffix and not path.exists():
        raise BadInput(
            f"there is no resin card '{text}'; take {', '.join(shipped())}, or give a .toml file."
        )
    return parse_card(read_toml(path), str(path))
