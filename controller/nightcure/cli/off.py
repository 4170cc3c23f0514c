"""nightcure off: everything off, now."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .controller import find_oven
from .show import err, sentences


def off(
    oven: Annotated[
        Path | None, typer.Argument(help="The oven.toml, as for the controller.")
    ] = None,
) -> None:
    """Drive every declared output off and leave.

    The service manager runs it whenever the controller has ended, however it ended; a person may
    run it by hand. While a controller runs it holds the pins: stop it first.
    """
    with sentences():
        from ..board.relay import drive_off
        from ..settings import load_settings

        drive_off(load_settings(find_oven(oven)))
        err.print("Heater, contactor and fan are off.")
