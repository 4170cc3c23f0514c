"""Which ledger and which night is meant."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .controller import find_oven

if TYPE_CHECKING:
    from ..ledger.reader import LedgerReader

LedgerOption = Annotated[
    Path | None, typer.Option("--ledger", help="The ledger; that of the oven.toml if left out.")
]
OvenOption = Annotated[
    Path | None,
    typer.Option("--oven", help="The oven.toml that names the ledger; as for the controller."),
]
NightArgument = Annotated[
    str, typer.Argument(help="The night's number, its label, or 'last'.", show_default=False)
]


def ledger_path(ledger: Path | None, oven: Path | None) -> Path:
    """The ledger that is meant. Raises BadInput where none can be known."""
    if ledger is not None:
        return ledger
    from ..errors import BadInput
    from ..settings import load_settings

    place = find_oven(oven)
    if oven is None and not place.exists():
        raise BadInput("Which ledger? Name it with --ledger, or an oven.toml with --oven.")
    return load_settings(place).ledger


def open_reader(ledger: Path | None, oven: Path | None) -> LedgerReader:
    """The ledger's reading side. Raises BadInput, LedgerLost."""
    from ..ledger.reader import LedgerReader

    return LedgerReader(ledger_path(ledger, oven))


def night_number(reader: LedgerReader, text: str) -> int:
    """The night that is meant by its number, its label or 'last'.

    Raises:
        BadInput: there is none, or several bear the label.
    """
    from ..errors import BadInput

    wanted = text.strip()
    if wanted == "last":
        newest = reader.nights(limit=1)
        if not newest:
            raise BadInput(f"{reader.path} holds no night yet.")
        return int(newest[0]["id"])
    if wanted.isdecimal() and len(wanted) < 16:
        if reader.night(int(wanted)) is None:
            raise BadInput(f"{reader.path} holds no night {wanted}; 'nightcure nights' lists them.")
        return int(wanted)
    labelled = [n["id"] for n in reader.nights(limit=-1) if n["label"] == wanted]
    if len(labelled) == 1:
        return int(labelled[0])
    if labelled:
        shown = ", ".join(str(i) for i in labelled[:8])
        raise BadInput(f"Several nights are labelled '{wanted}': {shown}; give the number.")
    raise BadInput(
        f"{reader.path} holds no night '{wanted}'; give its number, its label, or 'last'."
    )


def when(wall_s: float, form: str = "%d %b %Y %H:%M") -> str:
    """A wall time as people here read it."""
    return datetime.fromtimestamp(wall_s).astimezone().strftime(form)
