"""What a night waits for, how long at the most, and what becomes of it when a wait is given up."""

from __future__ import annotations

from collections.abc import Sequence

from ..cure.clock_figures import MILESTONE_WORDS, Milestone
from ..profile import NO_NEARER_S, Ramp, Segment, Soak
from ..settings import Role, Settings
from ..units import show_difference, show_duration, show_temperature
from .profile_run import GivenUp, ProfileRun

Named = tuple[str, float]


def begins(kind: str, number: int, count: int) -> str:
    """That a segment of this kind begins, the `number`th (from 1) of `count`; a sentence."""
    word = "cool-down" if kind == "cool" else kind
    step = f"the last of {count} steps" if number == count else f"step {number} of {count}"
    return f"The {word} begins: {step}."


def state_of(milestone: Milestone) -> str:
    """What a part is that has come to a milestone, in words."""
    return MILESTONE_WORDS[milestone]


def soak_ends_when(settings: Settings, soak: Soak) -> str:
    """What every part is when a soak ends that ends on the cure, in words."""
    said = [] if soak.until is None else [state_of(soak.until)]
    if soak.until_tg_c is not None:
        said.append(f"at a glass transition of {show_temperature(soak.until_tg_c, settings.units)}")
    if soak.until_degree is not None:
        said.append(f"cured to {100.0 * soak.until_degree:g} %")
    return " and ".join(said)


def oven_parts(
    settings: Settings, believed_c: Sequence[float | None], control_c: float
) -> list[Named]:
    """The air, then every part and mould that is believed, by name, °C."""
    parts = [
        (settings.thermometers[i].name, c)
        for i in settings.indices(Role.PART, Role.MOULD)
        if (c := believed_c[i]) is not None
    ]
    return [("the air", control_c), *parts]


def waits_for(settings: Settings, run: ProfileRun, named: list[Named]) -> str:
    """What the present segment waits for, and for how long at the most; a sentence."""
    segment = run.segment
    most = show_duration(60.0 * round(run.wait_left_s / 60.0))
    ends = f"at most {most} more, less if it comes no nearer in {show_duration(NO_NEARER_S)}"
    if run.held_by_glass:
        return f"{_by_glass(settings, run)}; {ends}."
    if isinstance(segment, Ramp):
        at = show_temperature(named[0][1], settings.units)
        return f"The ramp waits for the air, now at {at}; {ends}."
    name, at = _behind(settings, segment, named)
    from_c = show_temperature(_from_c(run, segment), settings.units)
    return f"The soak's clock waits for {name}, now at {at}; it counts from {from_c}; {ends}."


def _by_glass(settings: Settings, run: ProfileRun) -> str:
    at = show_temperature(run.setpoint_c, settings.units)
    margin = show_difference(run.margin_k or 0.0, settings.units)
    return (
        f"Held at {at}, {margin} below the parts' glass transition, until they have cured further"
    )


def given_up(settings: Settings, run: ProfileRun, left: Segment, why: GivenUp,
             named: list[Named], by_glass: bool = False) -> str:  # fmt: skip
    """That a wait in `left` was given up, and what follows; a sentence.

    `by_glass`: it was the parts' glass transition that was waited for.
    """
    name, at = _behind(settings, left, named)
    because = (
        f"it came no nearer in {show_duration(NO_NEARER_S)}"
        if why == "no-nearer"
        else "the longest night leaves no more time to wait"
    )
    if by_glass:
        at_c = show_temperature(run.setpoint_c, settings.units)
        return (
            f"The parts' glass transition holds the setpoint at {at_c}: {because}. The night goes "
            f"on, and stays below it."
        )
    if isinstance(left, Ramp):
        return f"The ramp goes on with {name} at {at}: {because}."
    if isinstance(left, Soak):
        from_c = show_temperature(_from_c(run, left), settings.units)
        return (
            f"The soak counts from now on with {name} at {at} instead of {from_c}: {because}. See "
            f"in the morning how far the part is."
        )
    return f"The cool-down ends with {name} at {at}: {because}."


def _from_c(run: ProfileRun, soak: Segment) -> float:
    assert isinstance(soak, Soak)
    return soak.at_c - run.profile.band_c


def _behind(settings: Settings, segment: Segment, named: list[Named]) -> tuple[str, str]:
    """Who is furthest behind, and at what."""
    name, c = named[0]
    if isinstance(segment, Soak):
        name, c = min(named, key=lambda n: n[1])
    elif not isinstance(segment, Ramp):
        name, c = max(named, key=lambda n: n[1])
    return name, show_temperature(c, settings.units)
