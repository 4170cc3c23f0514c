"""nightcure rehearse: a whole night on the virtual oven, in seconds."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer
from rich.markup import escape

from .show import AsJson, err, out, print_json, print_table, sentences

if TYPE_CHECKING:
    from rich.table import Table

    from ..oven.thermal import Network
    from ..profile import Profile
    from ..settings import Settings
    from ..simulate.rehearse import Figures, Rehearsal


def rehearse(
    oven: Annotated[
        Path | None, typer.Argument(help="An oven.toml; the shipped scenario's if left out.")
    ] = None,
    profile: Annotated[
        Path | None, typer.Argument(help="A profile (TOML); the shipped scenario's if left out.")
    ] = None,
    night: Annotated[
        Path | None, typer.Option(help="The shed's temperatures: a CSV of time_s,ambient_c.")
    ] = None,
    fault: Annotated[
        list[str] | None,
        typer.Option(
            help="Switch on a fault: NAME@TIME or NAME@TIME+DURATION, such as door-open@3h20 or "
            "relay-welded@90min. May be given several times; '--fault list' names them all."
        ),
    ] = None,
    card: Annotated[
        list[str] | None,
        typer.Option(
            help="A resin card for the parts of the night, instead of the profile's: one for each "
            "part thermometer in turn, or one for all of them."
        ),
    ] = None,
    catalyst_pct: Annotated[
        float | None, typer.Option(help="With --card: catalyst share, %; the card's own if not.")
    ] = None,
    resin_kg: Annotated[float, typer.Option(help="With --card: resin in each part, kg.")] = 0.5,
    seed: Annotated[int, typer.Option(help="Of the sensors' noise.", min=0)] = 0,
    ledger: Annotated[
        Path | None,
        typer.Option(
            help="Record the night into this ledger (made if it is not there), for 'nightcure "
            "record' and 'nightcure nights'."
        ),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Run the real control loop against the virtual oven, as fast as it goes.

    Nothing is heated. Shows the night as a plot, its figures, and what happened.
    """
    with sentences():
        if fault and "list" in fault:
            _list_faults()
            return
        from ..simulate.faults import parse_fault
        from ..simulate.rehearse import rehearse as run

        settings, chosen, network, ambient = _night(oven, profile, night)
        if card:
            chosen = with_cards(settings, chosen, card, catalyst_pct, resin_kg)
        faults = [parse_fault(text) for text in fault or []]
        from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

        columns = (TextColumn("the night passes"), BarColumn(), TimeElapsedColumn())
        whole_s = chosen.planned_s(ambient(0.0), settings.limits.ramp_c_per_h) * 1.15
        with ExitStack() as stack:
            progress = stack.enter_context(
                Progress(*columns, console=err, transient=True, disable=as_json)
            )
            kept = None
            if ledger is not None:
                from ..record.rehearsed_night import RehearsedNight

                kept = stack.enter_context(RehearsedNight(ledger, settings, chosen))
            task = progress.add_task("night", total=whole_s)
            result = run(
                settings,
                chosen,
                network,
                ambient,
                faults,
                seed,
                on_tick=None if kept is None else kept.tick,
                on_progress=lambda t_s: progress.update(task, completed=t_s),
            )
        if as_json:
            print_json(result.figures.as_json())
        else:
            _report(settings, chosen, result)
            if kept is not None and kept.night_id is not None:
                out.print(f"Recorded as night {kept.night_id} of {ledger}.", highlight=False)


def _night(
    oven: Path | None, profile: Path | None, night: Path | None
) -> tuple[Settings, Profile, Network, Callable[[float], float]]:
    from ..errors import BadInput
    from ..oven.ambient import read_ambient
    from ..profile import load_profile
    from ..settings import load_settings
    from ..simulate.rehearse import network_for
    from ..simulate.scenario import BOX, ambient_c, scenario

    settings, chosen = scenario()
    network = BOX
    if oven is not None:
        settings = load_settings(oven)
        network = network_for(settings)
    if profile is not None:
        chosen = load_profile(profile)
    refusals = chosen.refusals(settings.limits)
    if refusals:
        raise BadInput(*refusals)
    return settings, chosen, network, read_ambient(night) if night else ambient_c


def with_cards(
    settings: Settings,
    profile: Profile,
    cards: list[str],
    catalyst_pct: float | None,
    resin_kg: float,
    mould_j_per_k: float | None = None,
) -> Profile:
    """The profile with a part on each part or mould thermometer."""
    from ..cure.card import load_card
    from ..cure.part import with_figures
    from ..errors import BadInput
    from ..profile import parse_profile
    from ..settings import Role
    from .cure import default_catalyst

    sensors = settings.indices(Role.PART, Role.MOULD)
    if not sensors:
        raise BadInput("this oven has no part or mould thermometer for a card's part to sit on.")
    if len(cards) not in (1, len(sensors)):
        raise BadInput(f"{len(cards)} cards for {len(sensors)} parts; give one, or one for each.")
    parts = []
    for i, sensor in enumerate(sensors):
        name = cards[i % len(cards)]
        share = default_catalyst(load_card(name)) if catalyst_pct is None else catalyst_pct
        thermometer = settings.thermometers[sensor].name
        parts.append(
            {"name": thermometer, "card": name, "catalyst_pct": share, "resin_kg": resin_kg,
             "sensor": thermometer, "mould_j_per_k": mould_j_per_k}
        )  # fmt: skip
    data = {**profile.model_dump(mode="json"), "parts": parts}
    if profile.box is None:  # in a rehearsal nothing evaporates; a start asks for the real box
        data["box"] = {"volume_m3": 0.4, "evaporated_pct": 0.0}
    chosen = parse_profile(with_figures(data))
    refusals = chosen.refusals(settings.limits)
    if refusals:
        raise BadInput(*refusals)
    return chosen


def _list_faults() -> None:
    from rich.table import Table

    from ..simulate.faults import FAULTS

    table = Table("fault", "what happens", box=None, pad_edge=False)
    for name, what in FAULTS.items():
        table.add_row(name, what)
    print_table(table)


def _report(settings: Settings, profile: Profile, result: Rehearsal) -> None:
    from ..tick import interlock_words
    from ..units import show_duration
    from .plot import night_plot

    f = result.figures
    out.print(night_plot(settings, result.series, width=min(out.width, 110)), highlight=False)
    colour = "green" if f.outcome == "done" else "red"
    verdict = f"[bold {colour}]{f.outcome}[/]" + (f" ({interlock_words(f.trip)})" if f.trip else "")
    out.print(f"\n[bold]{escape(profile.name)}[/]: {verdict} after {show_duration(f.night_s)}.")
    out.print(_figures_table(f))
    out.print()
    if f.milestones:
        print_table(_milestones_table(f))
        out.print()
    for t_s, _name, message in result.events:
        out.print(
            f"  {show_duration(t_s):>12}  {message}", highlight=False, markup=False, soft_wrap=True
        )
    if f.heater_still_on:
        out.print("[bold red]Power still flows: only a contactor or the plug can stop it.[/]")


def _figures_table(f: Figures) -> object:
    from rich.table import Table

    def k(value: float | None) -> str:
        return "-" if value is None else f"{value:+.2f} K"

    table = Table(box=None, show_header=False, pad_edge=False)
    rows = [
        ("highest air above the highest setpoint", k(f.overshoot_c)),
        (
            "air against setpoint while the soak counted",
            f"{k(f.soak_min_error_c)} to {k(f.soak_max_error_c)}",
        ),
        (
            "mean absolute error, ramp and soak",
            "-" if f.mean_abs_error_c is None else f"{f.mean_abs_error_c:.3f} K",
        ),
        ("hottest part", "-" if f.part_max_c is None else f"{f.part_max_c:.1f} °C"),
        ("relay switchings", str(f.relay_switches)),
        ("energy", f"{f.energy_kwh:.2f} kWh"),
        ("computed in", f"{f.wall_s:.1f} s"),
    ]
    if f.fault_to_off_s is not None:
        rows.append(("fault to heater off", f"{f.fault_to_off_s:.0f} s"))
    for row in rows:
        table.add_row(*row)
    return table


def _milestones_table(f: Figures) -> Table:
    from rich.table import Table

    from ..units import show_duration

    def shown(value_s: float | None) -> str:
        return "not tonight" if value_s is None else show_duration(60.0 * round(value_s / 60.0))

    table = Table("part", "milestone", "after", "earliest", "latest", box=None, pad_edge=False)
    before = ""
    for m in f.milestones:
        name = m["part"] if m["part"] != before else ""
        before = m["part"]
        table.add_row(name, m["name"], *(shown(m[k]) for k in ("at_s", "low_s", "high_s")))
    return table
