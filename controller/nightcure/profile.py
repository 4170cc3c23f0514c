"""A cure profile: ramps, soaks and a cool-down.

The same thing is a TOML file and JSON in the API:

    name = "Lid and rim, overnight"
    lag_c = 5.0        # a ramp waits while the air is further behind than this
    band_c = 2.0       # a soak's clock counts while air and parts are no further below it than this
    [[segments]]
    kind = "ramp"
    to_c = 38.0
    rate_c_per_h = 15.0
    [[segments]]
    kind = "soak"
    at_c = 38.0
    hours = 9.0
    [[segments]]
    kind = "cool"
    rate_c_per_h = 20.0
    below_c = 25.0

With parts on resin cards (`[[parts]]`, see `cure.part`) a ramp may wait for a milestone of their
cure (`wait_for = "gelled"`), and a soak may end on one (`until = "demould"`), on the slowest part.
A post-cure stays below the parts' glass transition (`tg_margin_k = 8.0` in its ramp, which holds in
the soaks after it) and ends at one (`until_tg_c = 70.0`, or a use of `cure.post_cure.USES`:
`until_tg_c = "light-deck"`) or at a degree of cure (`until_degree = 0.95`).
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, ValidationError

from .cure.box_air import Box, gives_off, vapour_refusal
from .cure.clock_figures import MILESTONE_WORDS, Milestone
from .cure.part import Part, with_figures
from .cure.post_cure import USES, tells_tg, tg_to_stand, unreachable
from .cure.vapour import VAPOUR_MOST_PCT
from .errors import BadInput, faults_as_sentences
from .settings import MARGIN_K, WALL_C, Limits, Section, read_toml
from .settings.learned_oven import LearnedOven
from .units import show_duration

#: A profile's own time is counted from this air temperature where none is known yet.
COLD_START_C = 5.0
#: A slower ramp would take longer than any night; one without end could not even be told so.
SLOWEST_C_PER_H = 0.01
#: A wait is given up where the oven has come no nearer by so much (K) in so long (s) of it.
NO_NEARER_K, NO_NEARER_S = 0.25, 3600.0
#: All waits of a night together take no more than this share of what its profile leaves of the
#: longest night.
WAIT_SHARE = 0.75


class Ramp(Section):
    """Bring the air to `to_c` at `rate_c_per_h`, up or down."""

    kind: Literal["ramp"] = "ramp"
    to_c: Annotated[float, Field(ge=0, le=WALL_C)]
    rate_c_per_h: Annotated[float, Field(ge=SLOWEST_C_PER_H, le=120)]
    wait_for: Milestone | None = None
    """Hold the setpoint until every part is so far, but not longer than `wait_at_most_h`."""
    wait_at_most_h: Annotated[float, Field(gt=0, le=24)] = 6.0
    tg_margin_k: Annotated[float, Field(ge=0, le=30)] | None = None
    """The setpoint keeps every part so far below its present glass transition, as late as its card
    may have it; in the soaks that follow, too, up to the next ramp."""


UntilTg = Annotated[
    float,
    Field(ge=20, le=200),
    BeforeValidator(tg_to_stand, json_schema_input_type=float | Literal[tuple(USES)]),
]


class Soak(Section):
    """Hold `at_c` until air and slowest part have been at it, less the band, for `hours`.

    With `until`, `until_tg_c` or `until_degree` it ends as soon as every part is so far, `hours`
    after its beginning at the latest.
    """

    kind: Literal["soak"] = "soak"
    at_c: Annotated[float, Field(ge=0, le=WALL_C)]
    hours: Annotated[float, Field(gt=0, le=72)]
    until: Milestone | None = None
    until_tg_c: UntilTg | None = None
    """Glass transition that every part has come to, °C; a use by its name when it is read."""
    until_degree: Annotated[float, Field(ge=0.1, le=0.999)] | None = None

    @property
    def ends_on_tg(self) -> bool:
        """Whether it ends at a glass transition or a degree of cure."""
        return self.until_tg_c is not None or self.until_degree is not None


class Cool(Section):
    """Let it fall, not faster than `rate_c_per_h`, until air and parts are below `below_c`."""

    kind: Literal["cool"] = "cool"
    rate_c_per_h: Annotated[float, Field(ge=SLOWEST_C_PER_H, le=120)]
    below_c: Annotated[float, Field(ge=0, le=WALL_C)]


Segment = Annotated[Ramp | Soak | Cool, Field(discriminator="kind")]


class Profile(Section):
    """A named list of segments and the two tolerances that tie the clock to the oven."""

    name: Annotated[str, Field(min_length=1, max_length=60)]
    lag_c: Annotated[float, Field(ge=0.5, le=30)] = 5.0
    band_c: Annotated[float, Field(ge=0.2, le=10)] = 2.0
    segments: Annotated[tuple[Segment, ...], Field(min_length=1, max_length=40)]
    regulator: Literal["pid", "bang-bang"] | None = None
    """In place of the oven's own, for this night."""
    parts: Annotated[tuple[Part, ...], Field(max_length=8)] = ()
    box: Box | None = None
    oven: LearnedOven | None = None
    """What earlier nights have shown of the oven; filled in when a night is asked for. With it the
    night's own findings are kept for the next one."""

    @property
    def highest_c(self) -> float:
        """The highest setpoint it asks for, °C; of a mere cool-down, where that ends."""
        asked = [
            s.to_c if isinstance(s, Ramp) else s.at_c
            for s in self.segments
            if not isinstance(s, Cool)
        ]
        return max(asked) if asked else max(s.below_c for s in self.segments if isinstance(s, Cool))

    def course(
        self, start_c: float, ramp_limit_c_per_h: float = 30.0, from_index: int = 0
    ) -> list[tuple[float, float]]:
        """The setpoint's corners (s, °C) from segment `from_index` on, nothing ever waiting.

        `start_c` is the air's temperature at first.
        """
        at_s, at_c = 0.0, start_c
        corners = [(at_s, at_c)]
        for s in self.segments[from_index:]:
            if isinstance(s, Soak):
                to_c, rate_c_per_h = s.at_c, ramp_limit_c_per_h
            else:
                to_c = s.to_c if isinstance(s, Ramp) else min(at_c, s.below_c)
                rate_c_per_h = s.rate_c_per_h
            if to_c != at_c:
                at_s += abs(to_c - at_c) / rate_c_per_h * 3600.0
                at_c = to_c
                corners.append((at_s, at_c))
            if isinstance(s, Soak):
                at_s += s.hours * 3600.0
                corners.append((at_s, at_c))
        return corners

    def planned_s(
        self, start_c: float, ramp_limit_c_per_h: float = 30.0, from_index: int = 0
    ) -> float:
        """Shortest duration (s) of the segments from `from_index` on, nothing ever waiting."""
        return self.course(start_c, ramp_limit_c_per_h, from_index)[-1][0]

    def milestone_waits_s(self, from_index: int = 0) -> float:
        """The longest that its ramps from `from_index` on wait for milestones, together, s."""
        waits_h = [
            s.wait_at_most_h
            for s in self.segments[from_index:]
            if isinstance(s, Ramp) and s.wait_for
        ]
        return 3600.0 * sum(waits_h)

    def refusals(self, limits: Limits, to_start: bool = True) -> tuple[str, ...]:
        """Why this oven will not run it, a sentence each; empty if it will.

        `to_start`: for a plan only, False: it may be reckoned before the box's air is told.
        """
        faults = [*limits.no_heat(), *self.unbearable(limits)]
        if to_start and not limits.earlier:
            faults += self._box_missing()
            faults += self._too_wet(limits)
        longest_s = limits.longest_night_h * 3600.0
        planned_s = self.planned_s(COLD_START_C, limits.ramp_c_per_h) + self.milestone_waits_s()
        if planned_s > longest_s:
            faults.append(
                f"profile '{self.name}' takes at least {show_duration(planned_s)} and the longest "
                f"night allowed is {show_duration(longest_s)}; shorten it."
            )
        return tuple(faults)

    def unbearable(self, limits: Limits) -> tuple[str, ...]:
        """What of it oven, moulds and resins do not bear, however long it takes."""
        faults: list[str] = []
        if not any(isinstance(s, Soak) for s in self.segments):
            faults.append(f"profile '{self.name}' has no soak, so nothing would cure; add one.")
        for number, s in enumerate(self.segments, 1):
            place = f"profile '{self.name}', segment {number} ({s.kind})"
            if not isinstance(s, Soak) and s.rate_c_per_h > limits.ramp_c_per_h:
                faults.append(
                    f"{place}: rate_c_per_h is {s.rate_c_per_h:g} and this oven's moulds take at "
                    f"most {limits.ramp_c_per_h:g}; slow it down."
                )
            target_c = s.to_c if isinstance(s, Ramp) else s.at_c if isinstance(s, Soak) else None
            highest_c = limits.hottest_soak_c
            if target_c is not None and target_c > highest_c:
                faults.append(
                    f"{place}: {target_c:g} °C is above what this oven may be asked for, "
                    f"{highest_c:g} °C ({MARGIN_K:g} °C under its air's limit); lower it."
                )
            if isinstance(s, Cool) and number < len(self.segments):
                faults.append(f"{place}: a cool-down ends the night; put it last.")
        faults.extend(self._cure_refusals())
        faults.extend(self._vapour_refusals(limits.earlier))
        return tuple(faults)

    def out_of_reach(self, limits: Limits) -> tuple[str, ...]:
        """Rows of its parts' cards that this oven cannot reach, a sentence for each part."""
        return tuple(
            f"{p.name}: {said}"
            for p in self.parts
            if p.figures is not None and (said := p.figures.out_of_reach(limits.hottest_soak_c))
        )

    def _cure_refusals(self) -> Iterator[str]:
        """Why its parts and what it waits for cannot be, a sentence each."""
        for number, s in enumerate(self.segments, 1):
            place = f"profile '{self.name}', segment {number} ({s.kind})"
            awaited = awaited_of(s)
            if awaited and not any(knows(p, awaited) for p in self.parts):
                yield (
                    f"{place}: it waits until the parts are {MILESTONE_WORDS[awaited]} "
                    f"('{awaited}') and no part has a resin card that tells that; add one under "
                    f"[[parts]], or leave it out."
                )
            if said := self._glass_refusal(s):
                yield f"{place}: {said}"
        names = [p.name for p in self.parts]
        for part in self.parts:
            place = f"profile '{self.name}', part '{part.name}'"
            f = part.figures
            if f is None:
                yield (
                    f"{place}: the numbers of its card '{part.card}' are not filled in; read the "
                    f"profile from a file, or give the part's figures."
                )
                continue
            if names.count(part.name) > 1:
                yield f"{place}: two parts have this name; give each its own."
            if f.highest_c is not None and self.highest_c > f.highest_c:
                yield (
                    f"{place}: the profile asks for {self.highest_c:g} °C and its card allows "
                    f"{f.highest_c:g} °C; lower it."
                )
            steepest = max(
                (s.rate_c_per_h for s in self.segments if isinstance(s, Ramp)), default=0
            )
            if f.ramp_c_per_h is not None and steepest > f.ramp_c_per_h:
                yield (
                    f"{place}: a ramp of {steepest:g} °C per hour is steeper than its card's "
                    f"{f.ramp_c_per_h:g}; slow it down."
                )

    def _glass_refusal(self, s: Segment) -> str | None:
        """Why a segment cannot go by the parts' glass transition; None if it can."""
        if isinstance(s, Soak) and s.ends_on_tg:
            hottest_c = max(s.at_c, self.highest_c)
            return unreachable(self.parts, hottest_c, s.hours, s.until_tg_c, s.until_degree)
        if isinstance(s, Ramp) and s.tg_margin_k is not None:
            known = [p for p in self.parts if p.figures is not None and tells_tg(p)]
            if not known:
                return (
                    "it stays below the parts' glass transition and no part has a resin card that "
                    "tells it (heat, kinetics and glass); add one under [[parts]], or leave "
                    "tg_margin_k out."
                )
        return None

    def _box_missing(self) -> Iterator[str]:
        wet = gives_off(self.parts)
        if wet and self.box is None:
            yield (
                f"profile '{self.name}', vapour: the resin of '{wet[0]}' gives off styrene and "
                f"nothing tells the box's air; add [box] with its volume_m3, how wet the parts are "
                f"(wet) and how it breathes."
            )

    def _too_wet(self, limits: Limits) -> Iterator[str]:
        """What this box does not take while it may still gel."""
        wet = gives_off(self.parts)
        if not (limits.gelled_parts_only and wet and self.box is not None):
            return
        if self.box.wet not in ("gelled", "hard"):
            yield (
                f"profile '{self.name}', vapour: '{wet[0]}' is wet, and into this box only parts "
                f"go that have gelled and aired: the heater's own cut-out is a contact inside it. "
                f"Let it gel and air outside first."
            )

    def _vapour_refusals(self, earlier: bool) -> Iterator[str]:
        """`earlier`: as it was when a recorded night began; it could accept more then."""
        if self.box is None:
            return
        most_pct = VAPOUR_MOST_PCT
        if earlier and self.box.i_accept_vapour_above_25_percent:
            most_pct = 2.0 * VAPOUR_MOST_PCT
        said = vapour_refusal(self.box, self.parts, self.highest_c, most_pct)
        if said:
            yield f"profile '{self.name}', vapour: {said}"


def awaited_of(segment: Ramp | Soak | Cool) -> Milestone | None:
    """The milestone a segment waits for or ends on, if any."""
    if isinstance(segment, Ramp):
        return segment.wait_for
    return segment.until if isinstance(segment, Soak) else None


def goes_by_glass(segment: Segment) -> bool:
    """Whether a segment goes by the parts' glass transition or degree of cure."""
    if isinstance(segment, Soak):
        return segment.ends_on_tg
    return isinstance(segment, Ramp) and segment.tg_margin_k is not None


def knows(part: Part, name: Milestone) -> bool:
    """Whether the part's card tells a milestone."""
    f = part.figures
    if f is None:
        return False
    return {
        "gelled": True,
        "laminate-opens": f.opens_min is not None,
        "laminate-closes": f.closes_min is not None,
        "demould": f.demould_min is not None,
        "full": f.full_min is not None,
        "post-cured": bool(f.post_cure_h),
    }[name]


def parse_profile(data: Any, where: str = "profile") -> Profile:
    """A profile from JSON-like data. Raises BadInput, a sentence per fault."""
    try:
        return Profile.model_validate(data)
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, where)) from None


def changed(profile: Profile, index: int, **fields: float) -> Profile:
    """The profile with other numbers in one segment. Raises BadInput, a sentence per fault."""
    segment = profile.segments[index]
    try:
        other = type(segment).model_validate({**segment.model_dump(), **fields})
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, f"segment {index + 1}")) from None
    segments = (*profile.segments[:index], other, *profile.segments[index + 1 :])
    return profile.model_copy(update={"segments": segments})


def load_profile(path: Path) -> Profile:
    """A profile from a TOML file, its parts' cards read. Raises BadInput, a sentence per fault."""
    return parse_profile(with_figures(read_toml(path), path.parent), str(path))


def planned_air(profile: Profile, start_c: float) -> list[tuple[float, float]]:
    """The air over a profile where nothing waits: (s, °C)."""
    points = [(0.0, start_c)]
    for s in profile.segments:
        t_s, at_c = points[-1]
        to_c = s.below_c if isinstance(s, Cool) else s.to_c if isinstance(s, Ramp) else s.at_c
        if isinstance(s, Ramp | Cool):
            points.append((t_s + max(abs(to_c - at_c) / s.rate_c_per_h * 3600.0, 1.0), to_c))
        else:
            points.append((t_s + 1.0, to_c))
            points.append((t_s + 1.0 + s.hours * 3600.0, to_c))
    return points
