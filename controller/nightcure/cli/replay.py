"""nightcure nights replay: a recorded night again, as it was or with something changed."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .show import AsJson, err, out, print_json, print_table, sentences
from .which import LedgerOption, OvenOption, night_number, open_reader, when

if TYPE_CHECKING:
    from ..ledger.reader import LedgerReader
    from ..replay.changes import Changes

CHANGE = "What if"


def replay(
    night: Annotated[
        str,
        typer.Argument(
            help="The night's number, its label, or 'last'.",
            show_default=False,
        ),
    ],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    colder: Annotated[
        float | None,
        typer.Option(
            help="The whole night colder by so many K (negative: warmer).",
            min=-40,
            max=40,
            rich_help_panel=CHANGE,
        ),
    ] = None,
    mould_times: Annotated[
        float | None,
        typer.Option(
            help="The moulds so many times as heavy, their surface the same.",
            min=0.1,
            max=10,
            rich_help_panel=CHANGE,
        ),
    ] = None,
    door: Annotated[
        list[str] | None,
        typer.Option(
            help="The door opened at 02:00, or 3h20 after the start. Repeatable.",
            rich_help_panel=CHANGE,
        ),
    ] = None,
    door_min: Annotated[
        float, typer.Option(help="For so many minutes.", min=0.1, max=600, rich_help_panel=CHANGE)
    ] = 5.0,
    heater_w: Annotated[
        float | None,
        typer.Option(help="Another heater, W.", min=10, max=6000, rich_help_panel=CHANGE),
    ] = None,
    bang_bang: Annotated[
        bool, typer.Option("--bang-bang", help="The plainer regulator.", rich_help_panel=CHANGE)
    ] = False,
    gain_w_per_k: Annotated[
        float | None, typer.Option(help="Another gain.", rich_help_panel=CHANGE)
    ] = None,
    integral_s: Annotated[
        float | None, typer.Option(help="Another integral time.", rich_help_panel=CHANGE)
    ] = None,
    derivative_s: Annotated[
        float | None, typer.Option(help="Another derivative time.", rich_help_panel=CHANGE)
    ] = None,
    profile: Annotated[
        Path | None, typer.Option(help="Another profile (TOML).", rich_help_panel=CHANGE)
    ] = None,
    plot: Annotated[
        Path | None,
        typer.Option(help="Write the curves: an .svg, .png or .pdf.", rich_help_panel=CHANGE),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Put a recorded night through the loop again; or ask what if something had been other.

    Without a change the recorded readings must give the recorded decisions, to the bit. Where they
    do not, the first difference is shown, and all of them by what they mean; exit status 1.

    With a change the night is rebuilt on an oven fitted to that very night (needs the extra
    'planning'); what the fit does not explain is kept as it was.

    nightcure nights replay last --colder 8 --mould-times 2
    """
    with sentences():
        from ..errors import BadInput

        if plot is not None and plot.suffix.lower() not in (".svg", ".png", ".pdf"):
            raise BadInput(f"--plot is {plot}; it must end in .svg, .png or .pdf.")
        asked = {
            "colder_k": colder, "mould_times": mould_times, "heater_w": heater_w,
            "bang_bang": bang_bang or None, "gain_w_per_k": gain_w_per_k,
            "integral_s": integral_s, "derivative_s": derivative_s, "profile": profile,
            "door": door or None,
        }  # fmt: skip
        changed = any(v is not None for v in asked.values())
        reader = open_reader(ledger, oven)
        number = night_number(reader, night)
        if changed:
            from .replay_whatif import of_night

            of_night(reader, number, lambda start: _changes(asked, door_min, start), plot, as_json)
            return
        if plot is not None:
            raise BadInput("--plot needs a change, such as --colder 8.")
        same = _verify(reader, number, as_json)
    if not same:
        raise typer.Exit(1)


def _changes(asked: dict[str, Any], door_min: float, started_wall_s: float) -> Changes:
    """What is asked for, as changes. Raises BadInput."""
    from ..profile import load_profile
    from ..replay.changes import Changes, Door, time_of_night

    regulator: dict[str, Any] = {"kind": "bang-bang"} if asked["bang_bang"] else {}
    for name in ("gain_w_per_k", "integral_s", "derivative_s"):
        if asked[name] is not None:
            regulator[name] = asked[name]
    doors = tuple(
        Door(time_of_night(text, started_wall_s, "--door"), 60.0 * door_min)
        for text in asked["door"] or ()
    )
    return Changes(
        asked["colder_k"] or 0.0,
        asked["mould_times"] or 1.0,
        asked["heater_w"],
        doors,
        regulator,
        None if asked["profile"] is None else load_profile(asked["profile"]),
    )


def _verify(reader: LedgerReader, night_id: int, as_json: bool) -> bool:
    from rich.progress import BarColumn, Progress, TextColumn

    from ..replay.differences import conclusion, meanings, told
    from ..replay.verify import verify

    began_s = time.perf_counter()
    columns = TextColumn("verifying"), BarColumn(), TextColumn("tick {task.completed}")
    with Progress(*columns, console=err, transient=True, disable=as_json) as progress:
        task = progress.add_task("verify", total=None)
        found = verify(reader, night_id, lambda seq: progress.update(task, completed=seq))
    took_s = max(time.perf_counter() - began_s, 1e-6)
    if as_json:
        print_json({**found.as_json(), "times_real_time": round(found.length_s / took_s)})
        return found.same
    colour = "green" if found.same else "red"
    out.print(f"[bold {colour}]{conclusion(found)}[/]", highlight=False, soft_wrap=True)
    for remark in found.remarks:
        out.print(f"  {remark}", highlight=False, markup=False, soft_wrap=True)
    if found.differences:
        from rich.markup import escape
        from rich.table import Table

        first = escape(told(found.differences[0], _second))
        out.print(f"\nThe first: {first}\n", highlight=False, markup=False, soft_wrap=True)
        table = Table("what", "ticks", "first", box=None, pad_edge=False)
        for meaning, ticks, difference in meanings(found):
            table.add_row(meaning, str(ticks), escape(told(difference, _second)))
        print_table(table)
        recorded_s, now_s = found.heater_s
        out.print(
            f"\nHeater on for {recorded_s / 60:.1f} min as recorded, {now_s / 60:.1f} min now.",
            highlight=False,
        )
    out.print(
        f"[dim]{found.length_s / took_s:,.0f} times faster than the night was.[/]", highlight=False
    )
    return found.same


def _second(wall_s: float) -> str:
    return when(wall_s, "%d %b %H:%M:%S")
