"""nightcure plan: is tonight possible, by which profile, how surely."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .show import err, print_json, sentences

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
        float | None,
        typer.Option(help="With --card: resin in each part; 0.5 if not.", rich_help_panel=PARTS),
    ] = None,
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
    learned: Annotated[
        bool,
        typer.Option(
            "--learned/--not-learned",
            help="Start from what earlier nights in the oven's ledger have shown of resins and "
            "oven; a survey goes before that.",
        ),
    ] = True,
    nights: Annotated[int, typer.Option(help="How many to draw, 20 to 100000.")] = 500,
    seed: Annotated[int, typer.Option(help="The same seed, the same nights.")] = 0,
    executor: Annotated[
        str | None,
        typer.Option(
            help="Where the nights run: the scheduler of a Dask cluster as tcp://host:8786; this "
            "machine's cores if left out. The same answer."
        ),
    ] = None,
    price_per_kwh: Annotated[
        float | None,
        typer.Option(help="Price of a kWh; oven.toml's if left out.", rich_help_panel=RESULT),
    ] = None,
    currency: Annotated[
        str | None,
        typer.Option(help="What that price is in, such as EUR.", rich_help_panel=RESULT),
    ] = None,
    advise: Annotated[
        bool,
        typer.Option(
            "--advise",
            help="Search for the profiles of least stress, of least energy and the earliest that "
            "meet the goal.",
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
        from .plan_inputs import of_day, parts_of, priced, shed_of, tonight_of

        if not 20 <= nights <= 100_000:
            raise BadInput(f"--nights is {nights}; it should be 20 to 100000.")
        if seed < 0:
            raise BadInput(f"--seed is {seed}; it should not be below 0.")
        if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
            raise BadInput(f"--plot is {plot}; it must end in .svg, .png or .pdf.")
        if advise and profile is not None:
            raise BadInput("--advise searches for profiles; leave --profile out.")
        start_s, by_s = of_day(start, "--start"), of_day(by, "--by")
        if start_s == by_s:
            raise BadInput(f"--by is {by}, which is the start; it should be later.")
        chosen, parts, box = parts_of(oven, profile, card, catalyst_pct, resin_kg, mould_kg)
        shed, notes = shed_of(oven, night, lowest, lowest_at, evening, start_s)
        tonight_, spreads = tonight_of(
            oven, chosen, parts, shed, goal, start_s, (by_s - start_s) % 86400.0, survey,
            learned,
        )  # fmt: skip
        tonight_ = priced(tonight_, price_per_kwh, currency)
        from ..plan.pool import on_cluster
        from .plan_progress import progress
        from .plan_report import show_advice, show_plan, written

        if advise:
            from ..plan.advise import advise as search

            with on_cluster(executor) as workers, progress(err, "profiles are tried") as tell:
                found = search(
                    tonight_, spreads=spreads, nights=nights, seed=seed, box=box,
                    executor=workers, on_progress=tell,
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

        with on_cluster(executor) as workers, progress(err, "the nights pass") as tell:
            made = plan_night(
                tonight_, chosen, spreads=spreads, nights=nights, seed=seed, box=box,
                executor=workers, on_progress=tell,
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
