"""nightcure oven: what a box is by its sizes, and which heater it needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from .show import AsJson, out, print_json, sentences

if TYPE_CHECKING:
    from ..oven.description import Description
    from ..oven.thermal import Network
    from ..survey.oven_facts import Facts

app = typer.Typer(
    help="What a box is by its sizes, and which heater it needs; and, of a night that runs, that "
    "the box is being opened or is shut.",
    no_args_is_help=True,
)

File = Annotated[
    Path | None,
    typer.Argument(
        help="A box in TOML (sizes, boards, gaps, moulds, heater), or an oven.toml with its "
        r"\[model]; the shipped scenario's box if left out."
    ),
]
Ambient = Annotated[float, typer.Option(help="The shed tonight, °C.", min=-45, max=50)]
Hold = Annotated[float, typer.Option(help="The temperature to hold, °C.", min=0, max=80)]


@app.command()
def describe(
    file: File = None,
    ambient: Ambient = 5.0,
    hold: Hold = 40.0,
    heater: Annotated[
        float | None,
        typer.Option(help="Watts of the 'what if' heater; twice the present if left out.", min=1),
    ] = None,
    as_json: AsJson = False,
) -> None:
    r"""Say what an oven loses, holds and how fast it warms, and what changes would do to it.

    A box in TOML has inside_m = \[1.2, 0.6, 0.6], a \[\[boards]] table per layer of its walls, and
    \[gaps], \[heater] and \[\[moulds]]; the shipped scenario/box.toml is one to start from.
    """
    with sentences():
        from ..survey.oven_facts import facts

        ovens = [(name, facts(network, ambient, hold)) for name, network in _ovens(file, heater)]
        if as_json:
            print_json(
                {
                    "ambient_c": ambient,
                    "hold_c": hold,
                    **ovens[0][1].as_json(),
                    "what_if": [{"change": n, **f.as_json()} for n, f in ovens[1:]],
                }
            )
            return
        _table(ovens, ambient, hold)


@app.command()
def size(
    file: File = None,
    hold: Hold = 40.0,
    ambient: Ambient = 5.0,
    ramp: Annotated[
        float, typer.Option(help="°C per hour up to the hold, moulds too.", min=0, max=120)
    ] = 15.0,
    voltage: Annotated[float, typer.Option(help="Of the local mains, V.", min=12, max=480)] = 230.0,
    warmest: Annotated[
        float, typer.Option(help="The shed on the warmest day of use, °C.", min=-20, max=60)
    ] = 30.0,
    cut_outs: Annotated[
        int, typer.Option(help="Independent over-temperature cut-outs.", min=1, max=2)
    ] = 1,
    as_json: AsJson = False,
) -> None:
    """Find the heater for a hold and a ramp, and see what too large a one costs.

    Usually it is a few hundred watts of black heat, not a 2 kW hot-air gun.
    """
    with sentences():
        from ..errors import BadInput
        from ..oven.sizing import size as sized

        if hold <= ambient:
            raise BadInput(
                f"--hold is {hold:g} °C and the shed has {ambient:g} °C; it must be above that."
            )
        found = sized(_ovens(file, None)[0][1], hold, ambient, ramp, voltage, warmest, cut_outs)
        if as_json:
            print_json(
                {"hold_c": hold, "ambient_c": ambient, "ramp_c_per_h": ramp,
                 "voltage_v": voltage, "warmest_c": warmest, "cut_outs": cut_outs,
                 **found.as_json()}
            )  # fmt: skip
            return
        from rich.table import Table

        named = "no single heater" if found.recommended_w is None else f"{found.recommended_w:g} W"
        out.print(
            f"[bold]{named}[/]: {found.hold_w:.0f} W hold {hold:g} °C at {ambient:g} °C outside, "
            f"{found.ramp_w:.0f} W warm it by {ramp:g} °C/h; {found.needed_w:.0f} W with the mains "
            f"10 % low.",
            highlight=False,
        )
        out.print(
            f"{found.current_a:.1f} A at {voltage:g} V: fuse {found.fuse_a:g} A, contactor "
            f"{found.contactor_a:g} A or more.\n",
            highlight=False,
        )
        table = Table(
            "heater", "duty to hold", "ramp", "if it sticks", "coasts on", "stores", "element",
            box=None, pad_edge=False,
        )  # fmt: skip
        for c in found.candidates:
            table.add_row(
                f"{c.what}, {c.power_w:.0f} W", f"{100 * c.hold_share:.0f} %",
                f"{c.ramp_c_per_h:.0f} °C/h", f"{c.stuck_c:.0f} °C", f"{c.coast_k:.1f} K",
                f"{c.stored_kj:.0f} kJ", f"{c.surface_c:.0f} °C",
            )  # fmt: skip
        out.print(table)
        for line in found.cautions:
            out.print(f"\n  {line}", highlight=False)


def _ovens(file: Path | None, heater_w: float | None) -> list[tuple[str, Network]]:
    """The oven, then what it would be after each change."""
    from ..oven.description import load_description
    from ..settings import load_settings, read_toml
    from ..simulate.scenario import HERE

    path = file or HERE / "box.toml"
    if "model" not in read_toml(path):
        box: Description = load_description(path)
        return [(name, changed.network()) for name, changed in box.what_ifs(heater_w)]
    from dataclasses import replace

    from ..simulate.rehearse import network_for

    network = network_for(load_settings(path))
    other_w = heater_w or 2.0 * network.power_w
    return [
        ("as it is", network),
        ("loss -25 %", network.with_loss_times(0.75)),
        ("half the mould", network.with_mould_times(0.5)),
        (f"heater {other_w:g} W", replace(network, power_w=other_w)),
    ]


def _table(ovens: list[tuple[str, Facts]], ambient_c: float, hold_c: float) -> None:
    from rich import box
    from rich.table import Table

    table = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0))
    table.add_column("", no_wrap=True)
    for name, _ in ovens:
        table.add_column(name, justify="right")

    def row(what: str, shown: list[str]) -> None:
        table.add_row(what, *shown)

    all_facts = [f for _, f in ovens]
    row("loss, W/K", [f"{f.loss_w_per_k:.2f}" for f in all_facts])
    row("  panels", [f"{f.panel_loss_w_per_k:.2f}" for f in all_facts])
    row("  leak", [f"{f.leak_w_per_k:.2f}" for f in all_facts])
    row("heat capacity, kJ/K", [f"{f.heat_capacity_j_per_k / 1000:.1f}" for f in all_facts])
    row("  moulds", [f"{f.mould_capacity_j_per_k / 1000:.1f}" for f in all_facts])
    row("  walls", [f"{f.wall_capacity_j_per_k / 1000:.1f}" for f in all_facts])
    row("  air, racks", [f"{f.air_capacity_j_per_k / 1000:.1f}" for f in all_facts])
    row("  heater", [f"{f.heater_capacity_j_per_k / 1000:.1f}" for f in all_facts])
    row("warmed by a ramp, kJ/K", [f"{f.warmed_j_per_k / 1000:.1f}" for f in all_facts])
    row("slow, h", [f"{f.time_constants_s[0] / 3600:.1f}" for f in all_facts])
    row(
        "others, min",
        [", ".join(f"{t / 60:.0f}" for t in f.time_constants_s[1:]) for f in all_facts],
    )
    row(f"highest at {ambient_c:g} °C, °C", [f"{f.highest_c:.0f}" for f in all_facts])
    row(f"hold {hold_c:g} °C, W", [f"{f.hold_w:.0f}" for f in all_facts])
    row(f"ramp at {hold_c:g} °C, °C/h", [f"{f.fastest_ramp_c_per_h:.0f}" for f in all_facts])
    out.print(table)
