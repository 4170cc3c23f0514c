"""What makes a refused profile start: the one change, or what a person does first.

A few changes are tried, the fewest first, until this oven takes the profile.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import combinations
from typing import NamedTuple

from nightcure.cure.post_cure import tells_tg
from nightcure.profile import Cool, Profile, Ramp, Segment, Soak, awaited_of, goes_by_glass, knows
from nightcure.settings import Limits, Role, Settings


class Mend(NamedTuple):
    """A change, or several together, after which the profile may start."""

    sentence: str
    button: str
    """What a person presses, who wants that, or has done it."""
    profile: Profile


class _Change(NamedTuple):
    what: str
    button: str
    to: Callable[[Profile], Profile]


def refusals(profile: Profile, settings: Settings) -> list[str]:
    """Why this oven would not start it; a sentence each."""
    there = [t.name for t in settings.thermometers]
    return [
        *profile.refusals(settings.limits),
        *(
            f"part '{p.name}' is on the thermometer '{p.sensor}', which this oven has not; "
            f"take one of {', '.join(there)}."
            for p in profile.parts
            if p.sensor is not None and p.sensor not in there
        ),
    ]


def measured_by(asked: Sequence[str | None], settings: Settings) -> list[str | None]:
    """Each part's thermometer, by part. A part whose thermometer this oven does not have gets one
    that no other part uses; if there is none, it goes by the air."""
    there = [t.name for t in settings.thermometers]
    places = [settings.thermometers[i].name for i in settings.indices(Role.PART, Role.MOULD)]
    spare = [name for name in places if name not in asked]
    return [
        name if name is None or name in there else (spare.pop(0) if spare else None)
        for name in asked
    ]


def on_this_oven(profile: Profile, settings: Settings) -> Profile:
    """The profile with its parts on thermometers that are there."""
    found = measured_by([p.sensor for p in profile.parts], settings)
    parts = (
        p.model_copy(update={"sensor": name}) for p, name in zip(profile.parts, found, strict=True)
    )
    return profile.model_copy(update={"parts": tuple(parts)})


def mend(profile: Profile, settings: Settings) -> Mend | None:
    """What lifts every refusal; None where nothing is refused, or nothing here lifts it."""
    if not refusals(profile, settings):
        return None
    limits = settings.limits
    changes = [
        *_of_the_course(profile, limits), *_of_the_box(profile),
        *_of_the_thermometers(profile, settings),
    ]  # fmt: skip
    for tried in (changes, [*changes, *_of_the_last_resort(profile)]):
        for count in range(1, len(tried) + 1):
            for some in combinations(tried, count):
                mended = profile
                for change in some:
                    mended = change.to(mended)
                if not refusals(mended, settings):
                    return _told(some, mended)
    return None


def _told(some: Sequence[_Change], mended: Profile) -> Mend:
    buttons = [c.button for c in some]
    button = ", ".join(buttons[:1] + [b[0].lower() + b[1:] for b in buttons[1:]])
    return Mend(f"It starts once you {' and '.join(c.what for c in some)}.", button, mended)


def _of_the_course(profile: Profile, limits: Limits) -> Iterator[_Change]:
    figures = [p.figures for p in profile.parts if p.figures is not None]
    highest_c = min([limits.hottest_soak_c, *(f.highest_c for f in figures if f.highest_c)])
    ramp_c_per_h = min([limits.ramp_c_per_h, *(f.ramp_c_per_h for f in figures if f.ramp_c_per_h)])
    whose = "oven and resin bear" if figures else "this oven bears"
    if profile.highest_c > highest_c:
        yield _Change(
            f"lower it to {highest_c:g} °C, which {whose}",
            f"Lower it to {highest_c:g} °C",
            lambda p: _each(p, lambda s: _no_hotter(s, highest_c)),
        )
    if any(not isinstance(s, Soak) and s.rate_c_per_h > ramp_c_per_h for s in profile.segments):
        yield _Change(
            f"slow its ramps to {ramp_c_per_h:g} °C/h, which {whose}",
            f"Slow its ramps to {ramp_c_per_h:g} °C/h",
            lambda p: _each(p, lambda s: _no_steeper(s, ramp_c_per_h)),
        )
    awaited = [a for s in profile.segments if (a := awaited_of(s))]
    no_glass = not any(map(tells_tg, profile.parts)) and any(map(goes_by_glass, profile.segments))
    if no_glass or any(not any(knows(p, a) for p in profile.parts) for a in awaited):
        yield _Change(
            "let it run by the clock: no resin here tells what it waits for",
            "Run it by the clock",
            lambda p: _each(p, lambda s: _by_the_clock(s, p)),
        )


def _of_the_box(profile: Profile) -> Iterator[_Change]:
    """What a person does to lay-up and box."""
    if profile.box is None:
        return
    if profile.box.wet not in ("gelled", "hard"):
        yield _Change(
            "have let the parts gel and air with the box open",
            "They have gelled and aired",
            lambda p: _air(p, wet="gelled", evaporated_pct=None),
        )
    if profile.box.breathes != "vent":
        yield _Change(
            "open the vent (a hole low, one high)",
            "The vent is open",
            lambda p: _air(p, breathes="vent"),
        )


def _of_the_thermometers(profile: Profile, settings: Settings) -> Iterator[_Change]:
    """Those of an oven whose thermometers have other names."""
    placed = on_this_oven(profile, settings)
    moved = [
        f"{now.name} by {now.sensor or 'the air'}"
        for was, now in zip(profile.parts, placed.parts, strict=True)
        if was.sensor != now.sensor
    ]
    if moved:
        how = f"{', '.join(moved[:-1])} and {moved[-1]}" if len(moved) > 1 else moved[0]
        yield _Change(f"measure {how}", f"Measure {how}", lambda p: on_this_oven(p, settings))


def _of_the_last_resort(profile: Profile) -> Iterator[_Change]:
    """Where so much resin lies in the box that no vent is enough."""
    if profile.box is not None and profile.box.wet != "hard":
        yield _Change(
            "have let the parts harden outside: that is too much resin for the box",
            "They are hard",
            lambda p: _air(p, wet="hard", evaporated_pct=None),
        )


def _air(profile: Profile, **fields: object) -> Profile:
    assert profile.box is not None
    return profile.model_copy(update={"box": profile.box.model_copy(update=fields)})


def _each(profile: Profile, to: Callable[[Segment], Segment]) -> Profile:
    return profile.model_copy(update={"segments": tuple(map(to, profile.segments))})


def _no_hotter(s: Segment, highest_c: float) -> Segment:
    if isinstance(s, Ramp):
        return s.model_copy(update={"to_c": min(s.to_c, highest_c)})
    return s.model_copy(update={"at_c": min(s.at_c, highest_c)}) if isinstance(s, Soak) else s


def _no_steeper(s: Segment, ramp_c_per_h: float) -> Segment:
    if isinstance(s, Ramp | Cool):
        return s.model_copy(update={"rate_c_per_h": min(s.rate_c_per_h, ramp_c_per_h)})
    return s


def _by_the_clock(s: Segment, profile: Profile) -> Segment:
    if goes_by_glass(s) and not any(map(tells_tg, profile.parts)):
        fields = ("tg_margin_k",) if isinstance(s, Ramp) else ("until_tg_c", "until_degree")
        s = s.model_copy(update=dict.fromkeys(fields))
    awaited = awaited_of(s)
    if awaited is None or any(knows(p, awaited) for p in profile.parts):
        return s
    return s.model_copy(update={"wait_for" if isinstance(s, Ramp) else "until": None})
