"""nightcure plan: is tonight possible, by which profile, how surely."""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .show import err, print_json, sentences

if TYPE_CHECKING:
    from collections.abc import Callable

    from ..cure.part import Box
    from ..plan.spread import Spreads
    from ..plan.tonight import Tonight
    from ..profile import Profile

NIGHT = "Tonight"
PARTS = "What cures"
RESULT = "What to make of it"


def plan(
    oven: Annotated[
        Path | None, typer.Argument(help="An oven.toml; the shipped scenario's if left out.")
    ] = None,
    profile: Annotated[
        Path | None,
        typer.Option(help="Judge this profile (TOML); a sensible one is proposed if left out."),
    ] = None,
    goal: Annotated[
        str,
        typer.Option(
            help="What must be reached: laminate-ready, demould, post-cured; gelled or full too.",
            rich_help_panel=NIGHT,
        ),
    ] = "demould",
    start: Annotated[
        str, typer.Option(help="When the oven starts, h:mm.", rich_help_panel=NIGHT)
    ] = "20:00",
    by: Annotated[
        str,
        typer.Option(help="The deadline, h:mm; the next such time.", rich_help_panel=NIGHT),
    ] = "8:00",
    lowest: Annotated[
        float | None, typer.Option(help="The shed's lowest, °C.", rich_help_panel=NIGHT)
    ] = None,
    lowest_at: Annotated[
        str, typer.Option(help="When it is lowest, h:mm.", rich_help_panel=NIGHT)
    ] = "6:00",
    evening: Annotated[
        float | None,
        typer.Option(
            help="The shed at the start, °C; 7 K above the lowest.", rich_help_panel=NIGHT
        ),
    ] = None,
    night: Annotated[
        Path | None,
        typer.Option(
            help="Instead: the shed as a CSV of time_s,ambient_c, s after the start.",
            rich_help_panel=NIGHT,
        ),
    ] = None,
    card: Annotated[
        list[str] | None,
        typer.Option(
            help="A resin card for the parts, instead of the profile's: one for each part "
            "thermometer in turn, or one for all.",
            rich_help_panel=PARTS,
        ),
    ] = None,
    catalyst_pct: Annotated[
        float | None,
        typer.Option(help="With --card: %; the card's own if not.", rich_help_panel=PARTS),
    ] = None,
    resin_kg: Annotated[
        float, typer.Option(help="With --card: resin in each part.", rich_help_panel=PARTS)
    ] = 0.5,
    mould_kg: Annotated[
        float | None,
        typer.Option(
            help="With --card: each mould with its part; the oven's model if not.",
            rich_help_panel=PARTS,
        ),
    ] = None,
    survey: Annotated[
        Path | None,
        typer.Option(help="What 'nightcure survey --json' printed: the oven and its intervals."),
    ] = None,
    nights: Annotated[int, typer.Option(help="How many to draw.", min=20, max=100_000)] = 500,
    seed: Annotated[int, typer.Option(help="The same seed, the same nights.", min=0)] = 0,
    price_per_kwh: Annotated[
        float | None, typer.Option(help="For the cost.", min=0.0, rich_help_panel=RESULT)
    ] = None,
    advise: Annotated[
        bool,
        typer.Option(
            "--advise",
            help="Search for the gentlest, the cheapest and the soonest profile that meet the "
            "goal.",
            rich_help_panel=RESULT,
        ),
    ] = False,
    save: Annotated[
        Path | None,
        typer.Option(help="Write the profiles as TOML into this folder.", rich_help_panel=RESULT),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(help="Draw it into an .svg, .png or .pdf.", rich_help_panel=RESULT),
    ] = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object.", rich_help_panel=RESULT)
    ] = False,
) -> None:
    """Say before the start whether the night will do.

    Hundreds of nights are drawn, each with its own loss, heater, shed, resin, weighing and
    thermometers within what is known of them, and run through the regulator and the cure clock.

    nightcure plan --goal demould --by 8:00 --lowest 2 --lowest-at 6:00
    """
    with sentences():
        from ..errors import BadInput

        if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
            raise BadInput(f"--plot is {plot}; it must end in .svg, .png or .pdf.")
        if advise and profile is not None:
            raise BadInput("--advise searches for profiles; leave --profile out.")
        start_s, by_s = _of_day(start, "--start"), _of_day(by, "--by")
        if start_s == by_s:
            raise BadInput(f"--by is {by}, which is the start; it should be later.")
        chosen, parts, box = _parts(oven, profile, card, catalyst_pct, resin_kg, mould_kg)
        shed, notes = _shed(oven, night, lowest, lowest_at, evening, start_s)
        tonight_, spreads = _tonight(
            oven, chosen, parts, shed, goal, start_s, (by_s - start_s) % 86400.0, survey
        )
        from .plan_progress import progress
        from .plan_report import show_advice, show_plan, written

        if advise:
            from ..plan.advise import advise as search

            with progress(err, "profiles are tried") as tell:
                found = search(
                    tonight_, spreads=spreads, nights=nights, seed=seed,
                    price_per_kwh=price_per_kwh, box=box, on_progress=tell,
                )  # fmt: skip
            files = written(save, [(a.kind, a.plan.profile) for a in found])
            if as_json:
                print_json({"advice": [a.as_json() for a in found], "files": files})
            else:
                show_advice(found, notes, files)
            if plot is not None:
                from .plan_plot import draw

                draw(found[0].plan, plot)
            return
        from dataclasses import replace

        from ..plan.plan import plan_night

        with progress(err, "the nights pass") as tell:
            made = plan_night(
                tonight_, chosen, spreads=spreads, nights=nights, seed=seed,
                price_per_kwh=price_per_kwh, box=box, on_progress=tell,
            )  # fmt: skip
        made = replace(made, warnings=(*made.warnings, *notes))
        files = written(save, [("plan", made.profile)])
        if plot is not None:
            from .plan_plot import draw

            draw(made, plot)
        if as_json:
            print_json(made.as_json())
        else:
            show_plan(made, files)


def _of_day(text: str, option: str) -> float:
    """Seconds after midnight of h:mm."""
    from ..errors import BadInput

    match = re.fullmatch(r"(\d{1,2}):([0-5]\d)", text.strip())
    if match is None or int(match[1]) > 23:
        raise BadInput(f"{option} is '{text}'; it must be a time of day such as 7:30 or 20:00.")
    return int(match[1]) * 3600.0 + int(match[2]) * 60.0


def _parts(
    oven: Path | None,
    file: Path | None,
    cards: list[str] | None,
    catalyst_pct: float | None,
    resin_kg: float,
    mould_kg: float | None,
) -> tuple[Profile | None, tuple[object, ...], Box | None]:
    """The profile to judge, if any, the planned parts, and the box."""
    from ..cure.card import shipped
    from ..errors import BadInput
    from ..plan.tonight import planned
    from ..profile import load_profile
    from ..scenario import PARTS_FILE, scenario
    from ..settings import load_settings
    from .rehearse import with_cards

    settings = scenario()[0] if oven is None else load_settings(oven)
    chosen = None if file is None else load_profile(file)
    source, folder = chosen, None if file is None else file.parent
    if source is None and oven is None:
        source, folder = load_profile(PARTS_FILE), PARTS_FILE.parent
    if cards:
        from ..profile import Profile, Soak

        if mould_kg is not None and not 0.05 <= mould_kg <= 2000.0:
            raise BadInput(f"--mould-kg is {mould_kg:g}; it should be 0.05 to 2000.")
        plain = Profile(name="parts", segments=(Soak(at_c=10.0, hours=1.0),))
        source = with_cards(
            settings, plain, cards, catalyst_pct, resin_kg,
            None if mould_kg is None else MOULD_J_PER_KG_K * mould_kg,
        )  # fmt: skip
        folder = None
    if source is None or not source.parts:
        raise BadInput(
            "no part with a resin card is known, so nothing cures; give a profile with [[parts]], "
            "or --card."
        )
    parts = []
    for p in source.parts:
        if folder is not None and p.card not in shipped():
            p = p.model_copy(update={"card": str((folder / p.card).resolve())})
        parts.append(planned(p))
    box = None if cards and chosen is None else source.box
    return chosen, tuple(parts), box


#: Glass/polyester of hand lay-up (from memory).
MOULD_J_PER_KG_K = 1400.0


def _shed(
    oven: Path | None,
    night: Path | None,
    lowest_c: float | None,
    lowest_at: str,
    evening_c: float | None,
    start_s: float,
) -> tuple[Callable[[float], float], tuple[str, ...]]:
    """The shed over the night, and what had to be assumed of it."""
    from ..errors import BadInput
    from ..oven.ambient import COLDEST_C, WARMEST_C, read_ambient
    from ..plan.tonight import falling_to
    from ..scenario import ambient_c, scenario
    from ..settings import load_settings

    if night is not None:
        if lowest_c is not None or evening_c is not None:
            raise BadInput("--night has the whole shed; leave --lowest and --evening out.")
        return read_ambient(night), ()
    for name, value in (("--lowest", lowest_c), ("--evening", evening_c)):
        if value is not None and not COLDEST_C <= value <= WARMEST_C:
            raise BadInput(f"{name} is {value:g}; it must be °C between -60 and 60.")
    if lowest_c is not None:
        at_s = (_of_day(lowest_at, "--lowest-at") - start_s) % 86400.0
        first_c = lowest_c + 7.0 if evening_c is None else evening_c
        if first_c < lowest_c:
            raise BadInput(
                f"--evening is {first_c:g} °C and --lowest {lowest_c:g} °C; the lowest should not "
                f"be above it."
            )
        return falling_to(lowest_c, at_s, first_c), ()
    if evening_c is not None:
        raise BadInput("--evening needs --lowest: how cold the night gets.")
    if oven is None:
        return ambient_c, ()
    settings = load_settings(oven) if oven is not None else scenario()[0]
    assumed_c = settings.model.assumed_ambient_c
    note = (
        f"No forecast was given: the shed is taken to be at {assumed_c:g} °C all night "
        f"(assumed_ambient_c); say --lowest or --night."
    )
    return (lambda _: assumed_c), (note,)


def _tonight(
    oven: Path | None,
    profile: Profile | None,
    parts: tuple[object, ...],
    shed: Callable[[float], float],
    goal: str,
    start_s: float,
    deadline_s: float,
    survey: Path | None,
) -> tuple[Tonight, Spreads]:
    """Everything a plan starts from."""
    from ..plan.spread import Spreads, from_survey
    from ..plan.tonight import PlannedPart, facts_of, tonight
    from ..scenario import scenario
    from ..settings import load_settings

    settings = scenario()[0] if oven is None else load_settings(oven)
    if profile is not None:
        from ..errors import BadInput

        refusals = profile.refusals(settings.limits)
        if refusals:
            raise BadInput(*refusals)
    facts, spreads = facts_of(settings), Spreads()
    if survey is not None:
        facts, spreads = from_survey(_json_of(survey), facts, spreads)
    ready = [p for p in parts if isinstance(p, PlannedPart)]
    return tonight(settings, ready, shed, goal, deadline_s, start_s, facts), spreads


def _json_of(path: Path) -> object:
    import json

    from ..errors import BadInput

    try:
        return json.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise BadInput(f"{path} cannot be read: {error}.") from None
    except json.JSONDecodeError as error:
        raise BadInput(
            f"{path} is not JSON ({error}); let 'nightcure survey --json' write it."
        ) from None
