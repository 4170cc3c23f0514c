"""nightcure survey: what an oven is, from a heat-and-cool test, even one noted by hand."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Annotated

import typer

from .show import out, print_json, sentences

COLUMNS = "Columns of the file"
HEATER = "Heater and shed"
RESULT = "What to make of it"


def survey(
    file: Annotated[
        Path | None,
        typer.Argument(help="A CSV whose first line names its columns, or a ledger."),
    ] = None,
    time: Annotated[
        str | None, typer.Option(help="Column of the times.", rich_help_panel=COLUMNS)
    ] = None,
    air: Annotated[
        str | None, typer.Option(help="Column of the oven's air.", rich_help_panel=COLUMNS)
    ] = None,
    part: Annotated[
        str | None, typer.Option(help="Column of a part or mould.", rich_help_panel=COLUMNS)
    ] = None,
    shed: Annotated[
        str | None, typer.Option(help="Column of the ambient.", rich_help_panel=COLUMNS)
    ] = None,
    heater: Annotated[
        str | None,
        typer.Option(help="Column of the heater: on/off, 0-1, %, W.", rich_help_panel=COLUMNS),
    ] = None,
    time_unit: Annotated[
        str | None,
        typer.Option(
            help="s, min, h or d (days), where the column's name does not say; h:mm is seen.",
            rich_help_panel=COLUMNS,
        ),
    ] = None,
    fahrenheit: Annotated[
        bool, typer.Option("--fahrenheit", help="Temperatures are °F.", rich_help_panel=COLUMNS)
    ] = False,
    night: Annotated[
        int | None,
        typer.Option(help="Of a ledger: which night; the newest.", rich_help_panel=COLUMNS),
    ] = None,
    live: Annotated[
        bool,
        typer.Option(
            "--live",
            help="Heat and cool the --oven under its running controller, every interlock active, "
            "and stop as soon as the loss is known to --precision.",
            rich_help_panel=RESULT,
        ),
    ] = False,
    cut_out_tested: Annotated[
        bool,
        typer.Option(
            "--cut-out-tested",
            help="Of --live, which heats: confirms that an independent over-temperature cut-out is "
            "in the heater's circuit and was tested.",
            rich_help_panel=RESULT,
        ),
    ] = False,
    precision: Annotated[
        float,
        typer.Option(
            help="Of --live: per cent, half of the 95 % interval.",
            min=1,
            max=50,
            rich_help_panel=RESULT,
        ),
    ] = 10.0,
    drift: Annotated[
        bool,
        typer.Option(
            "--drift",
            help="Of a ledger: only say whether the newest night's oven is that of the nights "
            "before.",
            rich_help_panel=RESULT,
        ),
    ] = False,
    on: Annotated[
        list[str] | None,
        typer.Option(
            help="When the heater went on, as times are noted. Repeatable.", rich_help_panel=HEATER
        ),
    ] = None,
    off: Annotated[
        list[str] | None,
        typer.Option(help="When it went off. Repeatable.", rich_help_panel=HEATER),
    ] = None,
    power: Annotated[
        float | None,
        typer.Option(help="The heater's watts.", min=1.0, max=20000.0, rich_help_panel=HEATER),
    ] = None,
    ambient: Annotated[
        float | None,
        typer.Option(
            help="The shed's temperature, where there is no column; °F with --fahrenheit.",
            rich_help_panel=HEATER,
        ),
    ] = None,
    oven: Annotated[
        Path | None,
        typer.Option(help="An oven.toml: its heater's power and window.", rich_help_panel=HEATER),
    ] = None,
    box: Annotated[
        Path | None,
        typer.Option(
            help="The box by its sizes, as in 'oven describe': does it leak more than its panels?",
            rich_help_panel=RESULT,
        ),
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(
            help="Write the sheet for the workshop wall: an .svg, .png or .pdf.",
            rich_help_panel=RESULT,
        ),
    ] = None,
    write: Annotated[
        bool,
        typer.Option(
            "--write",
            help=r"Put \[model] and \[regulator] into the --oven file (the old one stays as .bak).",
            rich_help_panel=RESULT,
        ),
    ] = False,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object.", rich_help_panel=RESULT)
    ] = False,
) -> None:
    """Find out what an oven is from one heating and one cooling.

    Switch the heater on, note the air every few minutes, switch it off, go on noting. A dozen rows
    will do; their times may be uneven, their degrees whole. What the table cannot tell is said,
    with the shortest test that would.

    nightcure survey heat-test.csv --power 300 --off 0:40 --ambient 9
    """
    with sentences():
        from ..errors import BadInput

        if time_unit not in (None, "ms", "s", "min", "h", "d"):
            raise BadInput(f"--time-unit is '{time_unit}'; it must be ms, s, min, h or d.")
        if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
            raise BadInput(f"--plot is {plot}; it must end in .svg, .png or .pdf.")
        if write and oven is None:
            raise BadInput("--write needs --oven: the file that is to be changed.")
        from .survey_ledger import is_ledger

        if file is None and not live:
            raise BadInput("A file is missing: a CSV or a ledger; or --live with --oven.")
        from .survey_report import show_drift, show_survey

        if drift and file is not None:
            show_drift(file, as_json)
            return
        if ambient is not None:
            ambient = (ambient - 32.0) / 1.8 if fahrenheit else ambient
            if not -45.0 <= ambient <= 38.0:
                raise BadInput(
                    f"--ambient is {ambient:.0f} °C; it must be -45 to 38 °C. If the thermometer "
                    f"shows °F, say --fahrenheit."
                )
        window_s = 20.0
        from ..settings import load_settings

        if oven is not None:
            stated = load_settings(oven).heater
            window_s, power = stated.window_s, power or stated.power_w
        if live:
            if file is not None or oven is None:
                raise BadInput("--live takes no file; it takes --oven, an oven.toml.")
            if not cut_out_tested:
                raise BadInput(
                    "--live heats: add --cut-out-tested, which confirms that an independent "
                    "over-temperature cut-out is in the heater's circuit and was tested."
                )
            from .survey_live import live_survey

            settings = load_settings(oven)
            log = live_survey(settings, precision / 100.0, ambient, cut_out_tested).log
        elif file is not None and is_ledger(file):
            from ..survey.night_log import log_of_night

            log = log_of_night(file, night, power)
        elif file is not None:
            from ..survey.read_log import Columns, read_log

            names = Columns(time, air, part, shed, heater)
            log = read_log(file, names, time_unit, fahrenheit, power, on or (), off or (), ambient)
        # Only now: a log of no use is told before the numerics are loaded.
        from ..survey.assumptions import knows_dead_time
        from ..survey.survey import survey as identify
        from ..survey.tuning import tune

        if ambient is not None and log.ambient_c is not None:
            unused = "The shed is as noted beside the air; --ambient is not looked at."
            log = replace(log, assumed=(*log.assumed, unused))
        found = identify(log, ambient)
        gains = log.power_w is not None and knows_dead_time(log)
        tuned = tune(found.network(), window_s) if gains else None
        beside = None
        if box is not None:
            from ..oven.description import load_description
            from ..survey.assumptions import leak_of

            described = load_description(box)
            beside = leak_of(found, described.u_w_per_m2_k * described.area_m2)
        if plot is not None:
            from .survey_plot import draw

            draw(found, plot)
        kept: Path | None = None
        if write and oven is not None and log.power_w is not None:
            from .survey_sections import put_into

            kept = put_into(oven, found, tuned)
        if as_json:
            print_json(
                {
                    **found.as_json(),
                    "regulator": None if tuned is None else tuned.as_json(),
                    **({} if beside is None else {"panels": beside}),
                }
            )
        else:
            show_survey(found, tuned)
            if beside is not None:
                out.print(f"\n{beside}", highlight=False)
            if plot is not None:
                out.print(f"\nThe sheet for the wall: {plot}", highlight=False)
            if kept is not None:
                out.print(f"\n[bold]{oven}[/] has the new sections; the old file is {kept.name}.")
