"""How commands speak: results to standard output, everything else to standard error."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import typer
from rich.console import Console
from rich.markup import escape

from ..errors import NightcureError

out = Console()
err = Console(stderr=True)


def print_json(data: dict[str, Any]) -> None:
    """One JSON object on standard output, nothing else."""
    typer.echo(json.dumps(data, indent=2, ensure_ascii=False))


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
