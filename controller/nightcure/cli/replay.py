"""nightcure replay: a recorded night again, as it was or with something changed."""

from __future__ import annotations

import time
from typing import TYPE_CHECKING

import typer

from .show import err, out, print_json, sentences
from .which import (
    JsonOption,
    LedgerOption,
    NightArgument,
    OvenOption,
    night_number,
    open_reader,
    when,
)

if TYPE_CHECKING:
    from ..ledger.reader import LedgerReader


def replay(
    night: NightArgument,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: JsonOption = False,
) -> None:
    """Put a recorded night through the loop again.

    The recorded readings must give the recorded decisions, to the bit. Where they do not, the first
    difference is shown, and all of them by what they mean. Exit status 1 if there is any.
    """
    with sentences():
        reader = open_reader(ledger, oven)
        same = _verify(reader, night_number(reader, night), as_json)
    if not same:
        raise typer.Exit(1)


def _verify(reader: LedgerReader, night_id: int, as_json: bool) -> bool:
    from rich.progress import BarColumn, Progress, TextColumn

    from ..replay.verify import verify
    from ..replay.words import meanings, told, verdict

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
    out.print(f"[bold {colour}]{verdict(found)}[/]", highlight=False, soft_wrap=True)
    for remark in found.remarks:
        out.print(f"  {remark}", highlight=False, soft_wrap=True)
    if found.differences:
        from rich.markup import escape
        from rich.table import Table

        first = escape(told(found.differences[0], _second))
        out.print(f"\nThe first: {first}\n", highlight=False, soft_wrap=True)
        table = Table("what", "ticks", "first", box=None, pad_edge=False)
        for meaning, ticks, difference in meanings(found):
            table.add_row(meaning, str(ticks), escape(told(difference, _second)))
        out.print(table, highlight=False)
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
