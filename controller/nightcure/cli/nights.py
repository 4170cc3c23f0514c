"""nightcure nights: list them, label them, hold them side by side; more of it in `ledger`."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from .show import AsJson, out, print_json, print_table, sentences
from .which import (
    LedgerOption,
    NightArgument,
    OvenOption,
    ledger_path,
    night_number,
    open_reader,
    when,
)

if TYPE_CHECKING:
    from ..report.facts import Facts

nights = typer.Typer(
    help="The nights in the ledger: list, label, compare, replay, carry and keep them.",
    no_args_is_help=False,
)


@nights.callback(invoke_without_command=True)
def listing(
    context: typer.Context,
    count: Annotated[int, typer.Option(help="How many, newest first; 0: all.", min=0)] = 20,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """List the nights, newest first."""
    if context.invoked_subcommand is not None:
        return
    with sentences():
        reader = open_reader(ledger, oven)
        found = reader.nights(limit=count or -1)
        if as_json:
            print_json({"nights": found})
            return
        if not found:
            out.print("The ledger holds no night yet.")
            return
        from rich.markup import escape
        from rich.table import Table

        from ..units import show_duration

        table = Table("night", "began", "took", "outcome", "profile", "label", box=None,
                      pad_edge=False)  # fmt: skip
        for n in found:
            took = "-" if n["ended_s"] is None else show_duration(
                60.0 * round((n["ended_s"] - n["started_s"]) / 60.0))  # fmt: skip
            outcome = n["outcome"] or "open"
            colour = {"done": "green", "open": "yellow"}.get(outcome, "red")
            table.add_row(str(n["id"]), when(n["started_s"]), took, f"[{colour}]{outcome}[/]",
                          escape(str(n["profile_name"])), escape(n["label"]))  # fmt: skip
        print_table(table)


@nights.command("label")
def label(
    night: NightArgument,
    text: Annotated[str, typer.Argument(help="At most 80 characters; '' takes it away.")],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
) -> None:
    """Give a night a name. A labelled night is never dropped by 'nightcure nights keep'."""
    with sentences():
        from ..ledger.notes import NotesWriter

        reader = open_reader(ledger, oven)
        number = night_number(reader, night)
        with NotesWriter(ledger_path(ledger, oven)) as notes_writer:
            notes_writer.label(number, text)
        called = f"is called '{text}'" if text else "has no label"
        out.print(f"Night {number} {called}.", highlight=False, markup=False)


@nights.command("compare")
def compare(
    chosen: Annotated[list[str], typer.Argument(metavar="NIGHT...", help="Two to six nights.")],
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """Hold nights side by side: how they ended, what they held, what they cost in energy."""
    with sentences():
        from ..errors import BadInput
        from ..report.facts import gather

        if not 2 <= len(chosen) <= 6:
            raise BadInput(f"{len(chosen)} night was named; two to six are compared.")
        reader = open_reader(ledger, oven)
        facts = [gather(reader, night_number(reader, text)) for text in chosen]
        if as_json:
            from ..report.sheet import Extras
            from ..report.summary import summary

            print_json({"nights": [summary(f, Extras()) for f in facts]})
            return
        from rich.markup import escape
        from rich.table import Table

        columns = [_column(f) for f in facts]
        table = Table("", *(f"night {f.night.id}" for f in facts), box=None, pad_edge=False)
        for name in columns[0]:
            table.add_row(name, *(escape(column[name]) for column in columns))
        print_table(table)


def _column(f: Facts) -> dict[str, str]:
    from ..units import show_difference, show_duration, show_temperature

    units = f.units
    g = f.tick_summary

    def temperature(value_c: float | None) -> str:
        return "-" if value_c is None else show_temperature(value_c, units)

    soaks = [s for s in g.segments if s.kind == "soak" and s.air.count]
    soak = max(soaks, key=lambda s: s.counted_s) if soaks else None
    held: tuple[Any, ...] = ("-", "-", "-")
    if soak is not None:
        at_c = float(f.profile["segments"][soak.number]["at_c"])
        furthest_k = max(abs(soak.air.low - at_c), abs(soak.air.high - at_c))
        held = (
            f"{show_duration(60.0 * round(soak.counted_s / 60.0))} at {temperature(at_c)}",
            show_temperature(soak.air.mean, units, 2),
            show_difference(furthest_k, units),
        )
    by_role = {t["name"]: t["role"] for t in f.settings["thermometers"]}
    hot = [s.high for n, s in g.hottest.items() if by_role[n] in ("part", "mould") and s.count]
    shed = [s.low for n, s in g.hottest.items() if by_role[n] == "ambient" and s.count]
    loss = (f.refit or {}).get("loss_w_per_k")
    return {
        "label": f.night.label or "-",
        "began": when(f.night.started_s),
        "profile": f.profile["name"],
        "outcome": f.outcome,
        "took": show_duration(60.0 * round(g.length_s / 60.0)),
        "longest soak": held[0],
        "air on the mean": held[1],
        "air off the setpoint": held[2],
        "hottest part": temperature(max(hot) if hot else None),
        "shed at its coldest": temperature(min(shed) if shed else None),
        "energy": f"{f.energy_kwh:.2f} kWh",
        "relay switched": str(f.switchings),
        "alarms": str(len(f.alarms)),
        "loses": "-" if not loss else f"{loss['value']:.2f} W/K",
        "thinned": "yes" if f.thinned else "no",
    }
