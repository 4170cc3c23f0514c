"""How commands speak: results to standard output, everything else to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.markup import escape
from rich.table import Table
from rich.text import Text

from ..errors import NightcureError

AsJson = Annotated[bool, typer.Option("--json", help="Print one JSON object.")]
out = Console()
err = Console(stderr=True)
#: Between two columns of a table.
GAP = 2


def print_json(data: dict[str, Any]) -> None:
    """One JSON object on standard output, nothing else."""
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False))


def print_table(table: Table) -> None:
    """A table without a box on standard output, in which no word is cut.

    Columns get the room in which their cells take the fewest lines; a word is broken, not
    shortened, where even the longest words of all columns are wider than the screen.
    """
    texts = [
        [Text.from_markup(str(cell)).plain for cell in (column.header, *column.cells)]
        for column in table.columns
    ]
    least = [max((len(w) for t in cells for w in t.split()), default=1) for cells in texts]
    most = [max(map(len, cells)) for cells in texts]
    room = out.width - GAP * (len(texts) - 1)
    while sum(least) > room and max(least) > 1:
        least[least.index(max(least))] -= 1
    while sum(least) < room and any(n < m for n, m in zip(least, most, strict=True)):
        lines = [m / n for n, m in zip(least, most, strict=True)]
        least[lines.index(max(lines))] += 1
    for column, wide in zip(table.columns, least, strict=True):
        column.overflow, column.width = "fold", wide
    out.print(table, highlight=False)


def print_qr(address: str) -> None:
    """A QR code for a phone's camera, on a terminal only: a log has no use for it."""
    if sys.stdout.isatty():
        import segno

        segno.make(address, error="l").terminal(compact=True)


@contextmanager
def sentences() -> Iterator[None]:
    """Turn a person's mistake into its sentences and exit status 2."""
    try:
        yield
    except NightcureError as error:
        for line in str(error).splitlines():
            err.print(f"[bold red]nightcure:[/] {escape(line)}", soft_wrap=True)
        raise typer.Exit(2) from None
