"""nightcure off: everything off, now."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer


def off(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
) -> None:
    """Drive every output off and leave.

    The service manager runs it whenever the controller has ended, however it ended; a person may
    run it by hand. While a controller runs it holds the pins: stop it first.

    It needs no valid settings: pins are taken from what the controller wrote down when it claimed
    them, and from whatever lines of oven.toml can be read. Status 1, with a sentence, where the
    heater's pin is not known or a pin cannot be driven: pull the plug then.
    """
    from ..board.off import main  # the entry point goes there without passing here

    raise typer.Exit(main([] if oven is None else [str(oven)]))
