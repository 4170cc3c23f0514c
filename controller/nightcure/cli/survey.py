"""nightcure survey: what an oven is, from a heat-and-cool test, even one noted by hand."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .show import out, print_json, sentences

if TYPE_CHECKING:
    from ..settings import Settings
    from ..survey.identified import Survey
    from ..survey.log import Log
    from ..survey.tuning import Tuned

COLUMNS = "Columns of the file"
HEATER = "Heater and shed"
RESULT = "What to make of it"
NO_FILE = "--live takes no file; it takes --oven, an oven.toml."


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
        _checked(time_unit, plot, oven is None and write, file is None and not live)
        from .survey_report import show_drift, show_survey

        if drift and file is not None:
            show_drift(file, as_json)
            return
        shed_c = None if ambient is None else _shed_c(ambient, fahrenheit)
        from ..settings import load_settings

        settings = None if oven is None else load_settings(oven)
        power = power or (None if settings is None else settings.heater.power_w)
        if file is None:
            log = _live(settings, precision / 100.0, shed_c, cut_out_tested)
        elif live:
            from ..errors import BadInput

            raise BadInput(NO_FILE)
        else:
            columns = (time, air, part, shed, heater)
            switched = (on or (), off or ())
            log = _log(file, night, columns, time_unit, fahrenheit, power, switched, shed_c)
        # Only now: a log of no use is told before the numerics are loaded.
        from ..survey.survey import survey as identify

        if shed_c is not None and log.ambient_c is not None:
            unused = "The shed is as noted beside the air; --ambient is not looked at."
            log = replace(log, assumed=(*log.assumed, unused))
        found = identify(log, shed_c)
        tuned = _tuned(log, found, 20.0 if settings is None else settings.heater.window_s)
        beside = None if box is None else _leak(box, found)
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


def _checked(time_unit: str | None, plot: Path | None, no_oven: bool, no_file: bool) -> None:
    """What is wrong with the options by themselves is told first."""
    from ..errors import BadInput

    if time_unit not in (None, "ms", "s", "min", "h", "d"):
        raise BadInput(f"--time-unit is '{time_unit}'; it must be ms, s, min, h or d.")
    if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
        raise BadInput(f"--plot is {plot}; it must end in .svg, .png or .pdf.")
    if no_oven:
        raise BadInput("--write needs --oven: the file that is to be changed.")
    if no_file:
        raise BadInput("A file is missing: a CSV or a ledger; or --live with --oven.")


def _shed_c(ambient: float, fahrenheit: bool) -> float:
    """What was typed for the shed, °C."""
    from ..errors import BadInput

    shed_c = (ambient - 32.0) / 1.8 if fahrenheit else ambient
    if not -45.0 <= shed_c <= 38.0:
        raise BadInput(
            f"--ambient is {shed_c:.0f} °C; it must be -45 to 38 °C. If the thermometer shows °F, "
            f"say --fahrenheit."
        )
    return shed_c


def _live(settings: Settings | None, precision: float, shed_c: float | None, tested: bool) -> Log:
    """The oven heated and cooled under its running controller."""
    from ..errors import BadInput

    if settings is None:
        raise BadInput(NO_FILE)
    if not tested:
        raise BadInput(
            "--live heats: add --cut-out-tested, which confirms that an independent "
            "over-temperature cut-out is in the heater's circuit and was tested."
        )
    from .survey_live import live_survey

    return live_survey(settings, precision, shed_c, tested).log


def _log(
    file: Path,
    night: int | None,
    columns: tuple[str | None, ...],
    time_unit: str | None,
    fahrenheit: bool,
    power_w: float | None,
    switched: tuple[Sequence[str], Sequence[str]],
    shed_c: float | None,
) -> Log:
    """What a file holds: a ledger's night, or a table with its columns' names."""
    from .survey_ledger import is_ledger

    if is_ledger(file):
        from ..survey.night_log import log_of_night

        return log_of_night(file, night, power_w)
    from ..survey.read_log import Columns, read_log

    named = Columns(*columns)
    return read_log(file, named, time_unit, fahrenheit, power_w, *switched, shed_c)


def _tuned(log: Log, found: Survey, window_s: float) -> Tuned | None:
    """The regulator's gains, where the log knows the dead time."""
    from ..survey.assumptions import knows_dead_time
    from ..survey.tuning import tune

    if log.power_w is None or not knows_dead_time(log):
        return None
    return tune(found.network(), window_s)


def _leak(box: Path, found: Survey) -> str:
    """What the oven loses beside what its panels alone would."""
    from ..oven.description import load_description
    from ..survey.assumptions import leak_of

    described = load_description(box)
    return leak_of(found, described.u_w_per_m2_k * described.area_m2)
