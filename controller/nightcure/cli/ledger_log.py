"""nightcure nights log: what was made, across nights and ovens."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from .show import AsJson, err, out, print_json, print_table, sentences
from .which import OvenOption, ledger_path


def log(
    ledgers: Annotated[
        list[Path] | None,
        typer.Argument(help="Ledgers, of one oven or of several; that of the oven.toml if none."),
    ] = None,
    mould: Annotated[str | None, typer.Option(help="Only of this mould number.")] = None,
    part: Annotated[str | None, typer.Option(help="Only of this part's name or number.")] = None,
    batch: Annotated[str | None, typer.Option(help="Only of this resin batch.")] = None,
    person: Annotated[
        str | None, typer.Option(help="Only what this person made, started or noted.")
    ] = None,
    oven_name: Annotated[str | None, typer.Option(help="Only of the oven of this name.")] = None,
    out_file: Annotated[
        Path | None, typer.Option("--out", help="Write a .csv that a spreadsheet reads.")
    ] = None,
    decimal_comma: Annotated[
        bool,
        typer.Option("--decimal-comma", help="Semicolons and decimal commas in the .csv."),
    ] = False,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """What was made: a row for each part of each night, by mould, part, resin batch or person.

    nightcure nights log shed.ledger attic.ledger --batch "PL 2231" --out batch.csv

    A few letters of what is looked for will do. Times are this machine's local time. Mould, part
    and batch are what was noted (nightcure record last --note made_by=Ann).
    """
    with sentences():
        from ..errors import BadInput
        from ..report.logbook import as_csv, logbook, picked

        if out_file is not None and out_file.suffix.lower() != ".csv":
            raise BadInput(f"--out is {out_file}; it must end in .csv.")
        if decimal_comma and out_file is None:
            raise BadInput("--decimal-comma is for the file; say --out, too.")
        with err.status("Reading the nights ..."):
            every = logbook(ledgers or [ledger_path(None, oven)])
        rows = picked(
            every,
            {"mould": mould, "part": part, "batch": batch, "person": person, "oven": oven_name},
        )
        if out_file is not None:
            try:
                # The mark at its beginning tells a spreadsheet that it is UTF-8.
                out_file.write_text(as_csv(rows, decimal_comma), encoding="utf-8-sig", newline="")
            except OSError as error:
                raise BadInput(f"{out_file} cannot be written: {error.strerror}.") from None
        if as_json:
            print_json({"rows": [vars(row) for row in rows]})
            return
        if out_file is not None:
            out.print(f"{out_file}: {len(rows)} rows.", highlight=False, markup=False)
            return
        if not rows:
            what = "The ledger holds no night yet." if not every else "Nothing like it was made."
            out.print(what)
            return
        from rich.markup import escape
        from rich.table import Table

        several = len({row.oven for row in rows}) > 1
        table = Table(box=None, pad_edge=False)
        for name in ("night", "began"):
            table.add_column(name, no_wrap=True)
        for name in (*(("oven",) if several else ()), "part", "mould", "batch", "hard", "touch",
                     "by"):  # fmt: skip
            table.add_column(name, overflow="fold")
        for row in rows:
            cells = (row.part or row.profile, row.mould_number, row.resin_batch, row.hard[11:16],
                     row.touch, row.made_by or row.started_by)  # fmt: skip
            table.add_row(str(row.night), row.began[:16], *((escape(row.oven),) if several else ()),
                          *(escape(cell) or "-" for cell in cells))  # fmt: skip
        print_table(table)
        out.print(f"\n{len(rows)} rows; --out FILE.csv has every column.", highlight=False)
