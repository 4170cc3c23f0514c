"""nightcure record: the morning record, and what a person adds to it."""

from __future__ import annotations

import os
import time
from concurrent.futures import ProcessPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from .show import AsJson, err, out, print_json, print_table, sentences
from .which import (
    LedgerOption,
    OvenOption,
    ledger_path,
    night_number,
    open_reader,
)

if TYPE_CHECKING:
    from ..ledger.reader import LedgerReader
    from ..report.facts import Facts
    from ..report.sheet import Extras


def record(
    night: Annotated[
        str,
        typer.Argument(
            help="The night's number, its label, 'last', or, to note, 'next' for the one to come.",
            show_default=False,
        ),
    ],
    out_file: Annotated[
        Path | None, typer.Option("--out", help="Write the sheet: an .html or a .pdf.")
    ] = None,
    price_per_kwh: Annotated[
        float | None,
        typer.Option(help="Of the electricity; as the oven had it if not.", min=0, max=1000),
    ] = None,
    currency: Annotated[str, typer.Option(help="What that price is in, such as EUR.")] = "",
    paper: Annotated[str, typer.Option(help="Of a .pdf: a4 or letter.")] = "a4",
    compare: Annotated[
        bool | None,
        typer.Option(
            "--compare/--no-compare",
            help="Refit nights before too where none is kept (some seconds), or compare with none. "
            "Without either: this night is refitted and compared with those that were before "
            "(needs the extra 'planning').",
        ),
    ] = None,
    check: Annotated[
        Path | None,
        typer.Option(help="Only say whether this record still is what the ledger says."),
    ] = None,
    note: Annotated[
        list[str] | None,
        typer.Option(
            metavar="FIELD=TEXT",
            help="Note what only you know, such as mould_number=K-12; an empty text takes it away. "
            "Repeatable, also while a night runs.",
        ),
    ] = None,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """The morning record of a night: on the screen, as one HTML file, or as a PDF.

    nightcure record last --out night.html --price-per-kwh 0.32 --currency EUR
    nightcure record last --note resin_batch="PL 2231" --note catalyst_weighed_g=16

    mould_number, part_number, made_by, resin_batch, catalyst_weighed_g and remarks have their place
    on the sheet; other fields are added.

    With --check the exit status is 1 if the record or the ledger was changed.
    """
    with sentences():
        from ..errors import BadInput

        if out_file is not None and out_file.suffix.lower() not in (".html", ".pdf"):
            raise BadInput(f"--out is {out_file}; it must end in .html or .pdf.")
        if paper not in ("a4", "letter"):
            raise BadInput(f"--paper is '{paper}'; it must be a4 or letter.")
        if note:
            _note(night, note, ledger, oven, as_json)
            return
        if night == "next":
            raise BadInput("Say with --note what to note for the next night.")
        reader = open_reader(ledger, oven)
        number = night_number(reader, night)
        if check is not None:
            same = _check(reader, number, check, as_json)
            if not same:
                raise typer.Exit(1)
            return
        with ExitStack() as meanwhile:
            drifting = None
            if compare is not False:
                beside = meanwhile.enter_context(ProcessPoolExecutor(1, get_context("fork")))
                drifting = beside.submit(_drift, reader.path, number, bool(compare))
            from ..report.facts import gather
            from ..report.sheet import Extras

            facts = gather(reader, number)
            drift = None
            if drifting is not None:
                with err.status("Comparing the oven with earlier nights ..."):
                    drift = drifting.result()
                facts = replace(facts, refit=reader.refit(number))
        extras = Extras(
            drift,
            price_per_kwh,
            currency.strip(),
            time.time(),
        )
        if out_file is not None:
            _write(facts, extras, out_file, paper)
        if as_json:
            from ..report.summary import summary

            print_json(summary(facts, extras))
        elif out_file is None:
            _show(facts, extras)
        else:
            out.print(f"The record of night {number}: {out_file}", highlight=False)


def _check(reader: LedgerReader, number: int, file: Path, as_json: bool) -> bool:
    from ..report.record_check import check

    found = check(reader, number, file)
    if as_json:
        print_json(found.as_json())
    else:
        colour = "green" if found.same else "red"
        out.print(f"[bold {colour}]{found.sentence}[/]", highlight=False, soft_wrap=True)
    return found.same


def _drift(path: Path, number: int, refit_before: bool) -> str:
    """In a process of its own, while this one gathers the rest."""
    # One thread: for the small matrices of a survey, several stand in each other's way.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    from .. import __version__
    from ..errors import BadInput, NightcureError
    from ..ledger.notes import NotesWriter
    from ..ledger.reader import LedgerReader
    from ..report.oven_drift import oven_drift

    def keep(night_id: int, found: dict[str, Any]) -> None:
        try:
            with NotesWriter(path) as notes_writer:
                notes_writer.refit(night_id, found, __version__, time.time())
        except NightcureError:  # a ledger that may only be read: it is fitted again next time
            return

    try:
        return oven_drift(LedgerReader(path), number, keep, refit_before).sentence
    except BadInput as error:
        return " ".join(error.sentences)


def _write(facts: Facts, extras: Extras, file: Path, paper: str) -> None:
    from ..errors import BadInput
    from ..report.html import page
    from ..report.pdf import pdf
    from ..report.sheet import sheet

    document = sheet(facts, extras)
    as_pdf = file.suffix.lower() == ".pdf"
    data = pdf(document, paper) if as_pdf else page(document).encode()
    beside = file.with_name(f".{file.name}.part")
    try:
        beside.write_bytes(data)
        os.replace(beside, file)
    except OSError as error:
        raise BadInput(f"{file} cannot be written: {error.strerror}.") from None


def _show(facts: Facts, extras: Extras) -> None:
    """The sheet in the terminal, without its chart and its hand-filled fields left empty."""
    from rich.markup import escape
    from rich.table import Table as Grid

    from ..report.document import Form, Heading, Pairs, Table, Text
    from ..report.sheet import sheet

    document = sheet(facts, extras)
    colour = {"good": "green", "fair": "yellow", "bad": "red"}[document.tone]
    out.print(f"[bold]{escape(document.title)}[/]\n{escape(document.subtitle)}", highlight=False)
    out.print(f"\n[bold {colour}]{escape(document.verdict)}[/]", highlight=False, soft_wrap=True)
    for block in document.blocks:
        if isinstance(block, Heading):
            out.print(f"\n[bold]{escape(block.text)}[/]", highlight=False)
        elif isinstance(block, Text):
            out.print(escape(block.text), highlight=False)
        elif isinstance(block, Pairs | Form):
            grid = Grid(box=None, show_header=False, pad_edge=False)
            for name, value in block.rows:
                grid.add_row(escape(name), escape(value) or "-")
            print_table(grid)
        elif isinstance(block, Table):
            grid = Grid(*block.head, box=None, pad_edge=False)
            for row in block.rows:
                grid.add_row(*(escape(cell) for cell in row))
            print_table(grid)


def _note(
    night: str, fields: list[str], ledger: Path | None, oven: Path | None, as_json: bool
) -> None:
    """Note what only a person knows of a night, and show what is noted of it."""
    from ..errors import BadInput
    from ..ledger.notes import NotesWriter
    from .send_command import who_types

    notes: dict[str, str] = {}
    for text in fields:
        field, equals, value = text.partition("=")
        if not equals:
            raise BadInput(f"'{text}' is not FIELD=TEXT, such as mould_number=K-12.")
        notes[field.strip()] = value
    path = ledger_path(ledger, oven)
    who = who_types()
    reader = open_reader(ledger, oven)
    number = None if night == "next" else night_number(reader, night)
    with NotesWriter(path) as notes_writer:
        if number is None:
            notes_writer.note_next(notes, who, time.time())
        else:
            notes_writer.note(number, notes, who, time.time())
    known = notes if number is None else reader.noted(number)
    if as_json:
        print_json({"night": night, "notes": known})
        return
    for field, value in known.items():
        out.print(f"{field}: {value}", highlight=False, markup=False)
    if not known:
        out.print("Nothing is noted.")
