"""A progress bar on standard error, for what takes longer than a second."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console

#: What is over sooner needs no bar.
AFTER_S = 1.0


@contextmanager
def progress(console: Console, what: str) -> Iterator[Callable[[int, int], None]]:
    """Gives a function to be told (done, of how many); the bar appears after a second."""
    from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

    columns = (TextColumn(what), BarColumn(), TimeElapsedColumn())
    bar = Progress(*columns, console=console, transient=True)
    task = bar.add_task(what, total=None)
    began_s, shown = time.monotonic(), False

    def tell(done: int, of: int) -> None:
        nonlocal shown
        if not shown and time.monotonic() - began_s > AFTER_S and console.is_terminal:
            bar.start()
            shown = True
        bar.update(task, completed=done, total=of)

    try:
        yield tell
    finally:
        if shown:
            bar.stop()
