"""nightcure web: the page and its API."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .controller import find_oven
from .show import sentences


def web(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
    port: Annotated[int | None, typer.Option(help="Instead of the one in oven.toml.")] = None,
) -> None:
    """Serve the page: a process of its own that reads the ledger and posts commands to it.

    It may crash or hang; the controller does not notice.
    """
    with sentences():
        from nightcure_web.app import run

        from ..settings import load_settings

        settings = load_settings(find_oven(oven))
        if port is not None:
            chosen = settings.web.model_copy(update={"port": port})
            settings = settings.model_copy(update={"web": chosen})
        run(settings)
