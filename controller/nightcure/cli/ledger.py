"""nightcure nights check, backup, keep, export, import: look after the record file."""

from __future__ import annotations

import time
from pathlib import Path
from typing import Annotated

import typer

from .show import AsJson, err, out, print_json, sentences
from .which import (
    LedgerOption,
    NightArgument,
    OvenOption,
    ledger_path,
    night_number,
    open_reader,
)

DAY_S = 86400.0


def check(
    night: Annotated[
        str | None,
        typer.Argument(
            help="One night alone: its number, its label, or 'last'.", show_default=False
        ),
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="The file alone, not every tick in it.")
    ] = False,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Whether the ledger is sound: the file, and every tick by its checksum; or one night of it.

    It may be done while a night runs. Exit status 1 if anything is wrong.
    """
    with sentences():
        from ..errors import BadInput
        from ..ledger.backup import unsound, unsound_night

        path, number = ledger_path(ledger, oven), None
        if night is not None:
            if quick:
                raise BadInput("--quick looks at the file alone; leave it out to check a night.")
            reader = open_reader(ledger, oven)
            number = night_number(reader, night)
            faults = unsound_night(reader, number)
        else:
            with err.status("Looking ...") as status:
                faults = unsound(
                    path, not quick, lambda i: status.update(f"Looking at night {i} ...")
                )
        if as_json:
            told = {} if number is None else {"night": number}
            print_json({"ledger": str(path), **told, "sound": not faults, "faults": faults})
        else:
            for fault in faults:
                out.print(fault, highlight=False, markup=False)
            if not faults:
                what = path if number is None else f"Night {number} of {path}"
                out.print(f"[green]{what} is sound.[/]", highlight=False)
    if faults:
        raise typer.Exit(1)


def backup(
    file: Annotated[Path, typer.Argument(help="The copy; an older one is replaced at the end.")],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Copy the ledger, also while a night runs; the copy is checked, then replaces an old one."""
    with sentences():
        from ..ledger.backup import backup as copy

        path = ledger_path(ledger, oven)
        size = copy(path, file)
        if as_json:
            print_json({"ledger": str(path), "copy": str(file), "size_bytes": size})
        else:
            out.print(f"{file}: {size / 1e6:.1f} MB, checked.", highlight=False, markup=False)


def keep(
    thin_after_days: Annotated[
        float | None, typer.Option(help="Thin nights older than this.", min=0)
    ] = None,
    drop_after_days: Annotated[
        float | None, typer.Option(help="Drop nights older than this.", min=0)
    ] = None,
    most_mb: Annotated[
        float | None,
        typer.Option(help="Thin, then drop, the oldest until the ledger is smaller.", min=0.1),
    ] = None,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Thin and drop old nights, so that the ledger stays small.

    A thinned night keeps every event, every series' peaks and its sums; it says so, and cannot be
    verified to the bit any more. Labelled nights and the newest are never dropped. Nothing is done
    while a night runs.
    """
    with sentences():
        from ..errors import BadInput
        from ..ledger.maintenance import IdleLedger
        from ..ledger.retention import Done, Rules
        from ..ledger.retention import apply_retention as do

        if thin_after_days is drop_after_days is most_mb is None:
            raise BadInput("Say what to keep: --thin-after-days, --drop-after-days or --most-mb.")
        path = ledger_path(ledger, oven)
        rules = Rules(
            None if thin_after_days is None else thin_after_days * DAY_S,
            None if drop_after_days is None else drop_after_days * DAY_S,
            None if most_mb is None else int(most_mb * 1e6),
        )
        with err.status("Thinning ...") as status:

            def told(one: Done) -> None:
                status.update(f"Night {one.night_id} {one.what} ...")

            done = do(path, rules, time.time(), told)
            with IdleLedger(path) as ledger_at_rest:
                shrunk = ledger_at_rest.shrink()
                used = ledger_at_rest.used_bytes()
        thinned = [d.night_id for d in done if d.what == "thinned"]
        dropped = [d.night_id for d in done if d.what == "dropped"]
        if as_json:
            print_json({"thinned": thinned, "dropped": dropped, "used_bytes": used,
                        "file_shrunk": shrunk})  # fmt: skip
            return
        out.print(
            f"{len(thinned)} nights thinned, {len(dropped)} dropped; {used / 1e6:.1f} MB are used.",
            highlight=False,
        )
        if not shrunk:
            out.print("The controller holds the ledger: the freed room is used for nights to come; "
                      "the file itself shrinks when this is done while it is stopped.")  # fmt: skip
        if most_mb is not None and used > most_mb * 1e6:
            out.print("More cannot go: what is left is labelled, or the newest night.")


def export(
    night: NightArgument,
    out_file: Annotated[
        Path | None,
        typer.Option("--out", help="A .zip (whole, to be imported), or a .csv."),
    ] = None,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Write a night to a file: a .csv for a spreadsheet, a .zip with all of it.

    Columns carry their units. A .zip holds CSV tables and can be imported into any ledger, where
    the night verifies to the bit.
    """
    with sentences():
        from ..ledger.transfer import export_night

        reader = open_reader(ledger, oven)
        number = night_number(reader, night)
        file = out_file or Path(f"night-{number}.zip")
        seal = export_night(reader, number, file)
        if as_json:
            print_json({"night": number, "file": str(file), "sha256": seal,
                        "size_bytes": file.stat().st_size})  # fmt: skip
        else:
            size = file.stat().st_size / 1e6
            out.print(f"Night {number}: {file}, {size:.2f} MB.", highlight=False, markup=False)


def import_(
    file: Annotated[Path, typer.Argument(help="A .zip that 'export' wrote.")],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Take an exported night into this ledger; refused if it was changed or is there already.

    A ledger that is not there is made: so a night comes to another machine.
    """
    with sentences():
        from ..ledger.transfer import import_night

        number = import_night(ledger_path(ledger, oven), file)
        if as_json:
            print_json({"night": number, "file": str(file)})
        else:
            out.print(f"{file} is night {number} now.", highlight=False, markup=False)
