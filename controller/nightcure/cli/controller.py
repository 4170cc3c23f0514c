"""nightcure controller: regulate the oven."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .. import OVEN_FILES
from .show import err, sentences

PLACES = tuple(Path(name) for name in OVEN_FILES)


def find_oven(oven: Path | None) -> Path:
    """The oven.toml to use: the one given, else the first that exists."""
    if oven is not None:
        return oven
    return next((place for place in PLACES if place.exists()), PLACES[0])


def controller(
    oven: Annotated[
        Path | None,
        typer.Argument(help="The oven.toml; ./oven.toml or /etc/nightcure/oven.toml if left out."),
    ] = None,
) -> None:
    """Regulate the oven: the daemon that owns the heater.

    It does nothing until a night is started from the page. SIGTERM and Ctrl-C leave the heater
    off; a night that was running is taken up again at the next start, or it says why not.
    """
    import logging

    logging.basicConfig(level=logging.INFO, format="%(levelname)s %(message)s")
    with sentences():
        from ..daemon.daemon import Daemon
        from ..settings import load_settings

        path = find_oven(oven)
        settings = load_settings(path)
        daemon = Daemon(settings)
        daemon.handle_signals()
        err.print(
            f"Regulating {settings.name}. A night is started from the page (nightcure web {path}); "
            f"Ctrl-C leaves the heater off.",
            highlight=False, markup=False, soft_wrap=True,
        )  # fmt: skip
        daemon.run()
