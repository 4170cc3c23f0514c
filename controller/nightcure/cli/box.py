"""`nightcure oven open` and `oven shut`: say that the box is being opened, and that it is shut."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from .show import AsJson, out, print_json, sentences
from .which import LedgerOption, OvenOption, ledger_path


def open_(
    laying: Annotated[
        bool, typer.Option("--laying/--looking", help="To lay wet resin, or only to look.")
    ],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """The box is being opened: the heater goes off and the night waits.

    After --looking the night goes on by itself once the box is shut. After --laying the heat stays
    off until 'oven shut --aired' confirms that the resin has gelled with the box open.
    """
    _send("open", {"laying": laying}, ledger, oven, as_json)


def shut(
    aired: Annotated[
        bool,
        typer.Option("--aired", help="The wet resin has gelled with the box open."),
    ] = False,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """The box is shut: the night goes on."""
    _send("shut", {"aired": aired}, ledger, oven, as_json)


def _send(word: str, args: dict[str, Any], ledger: Any, oven: Any, as_json: bool) -> None:
    with sentences():
        from ..ledger.reader import LedgerReader
        from .send_command import live_state_of, send_command, who_types

        path = ledger_path(ledger, oven)
        live_state_of(LedgerReader(path))
        said = send_command(path, word, args, who_types())
        if as_json:
            print_json({"outcome": "done", "message": said})
        else:
            out.print(said, highlight=False, markup=False)
