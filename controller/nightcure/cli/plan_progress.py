"""A progress bar on standard error, for what takes longer than a second."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import Timer
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
    began_s = time.monotonic()
    later: Timer | None = None

    def tell(done: int, of: int) -> None:
        # The first word comes once the workers are there: no thread may be when they are forked.
        nonlocal later
        if later is None and console.is_terminal:
            later = Timer(max(began_s + AFTER_S - time.monotonic(), 0.0), bar.start)
            later.daemon = True
            later.start()
        bar.update(task, completed=done, total=of)

    try:
        yield tell
    finally:
        if later is not None:
            later.cancel()
            later.join()
            bar.stop()
