"""nightcure cure run and laminate: what a resin makes of a temperature history."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer
from rich.markup import escape

from .show import AsJson, out, print_json, sentences

if TYPE_CHECKING:
    from ..cure.card import Card
    from ..cure.cure_clock import When

cure = typer.Typer(
    help="Resin cards, and how far a resin is after what it has been through.",
    no_args_is_help=True,
)

CardArgument = Annotated[
    str, typer.Argument(help="A shipped card's name, or a card's .toml file.", show_default=False)
]

CatalystOption = Annotated[
    float | None,
    typer.Option(help="Catalyst share in the mix, %; the card's own if left out."),
]


def default_catalyst(card: Card) -> float | None:
    """The share under which the card's data sheet gives its other times; None if fixed."""
    if not card.gel or card.gel[0].catalyst_pct is None:
        return None
    for time in (card.demould, card.full_cure):
        if time is not None and time.catalyst_pct is not None:
            return time.catalyst_pct
    return card.gel[0].catalyst_pct


@cure.command("run")
def run(
    card: CardArgument,
    history: Annotated[
        Path,
        typer.Argument(
            help="The part's temperature from the mixing on: a CSV of time_s,part_c, a night in a "
            ".ledger, or a profile (.toml) if nothing waited."
        ),
    ],
    catalyst_pct: CatalystOption = None,
    night: Annotated[
        int | None, typer.Option(help="Of a ledger: the night's number; the newest if left out.")
    ] = None,
    thermometer: Annotated[
        str | None, typer.Option(help="Of a ledger: its name; the first part's if left out.")
    ] = None,
    start_c: Annotated[float, typer.Option(help="Of a profile: where it begins, °C.")] = 10.0,
    as_json: AsJson = False,
) -> None:
    """Milestones, degree of cure and glass transition after a temperature history.

    The milestones are the cure clock's, with the band of the card's figures; the degree of cure is
    the kinetics', where the card has any.
    """
    with sentences():
        from ..cure.card import load_card
        from ..cure.glass_transition import tg_c
        from ..cure.history import equivalent_min, leaps, run_clock, warnings
        from ..cure.kinetics import law_of
        from ..cure.kinetics import run as integrate
        from ..record.cure_history import history_from

        chosen = load_card(card)
        points = history_from(history, night, thermometer, start_c)
        if catalyst_pct is None:
            catalyst_pct = default_catalyst(chosen)
        whens: tuple[When, ...] = ()
        reference_c = chosen.reference_c
        coldest_c = None
        warned: tuple[str, ...] = ()
        if chosen.gel or catalyst_pct is not None:
            figures = chosen.figures(catalyst_pct)
            clock = run_clock(figures, points)
            whens, coldest_c, reference_c = clock.whens(), clock.coldest_c, figures.reference_c
            minutes = clock.equivalent_min
            warned = warnings(figures, clock, points)
        else:
            minutes = equivalent_min(chosen.cure_kj_per_mol.value, reference_c, points)
            warned = tuple(leaps(points))
        kinetic = None
        if chosen.kinetics is not None:
            kinetic = integrate(law_of(chosen, catalyst_pct), points)
        degree = None if kinetic is None else float(kinetic.degree[-1])
        glass_c = None
        if degree is not None and chosen.glass is not None:
            glass_c = tg_c(degree, chosen.glass)
        if as_json:
            print_json(
                {
                    "card": chosen.name,
                    "catalyst_pct": catalyst_pct,
                    "degree_of_cure": _rounded(degree, 6),
                    "tg_c": _rounded(glass_c, 2),
                    "equivalent_min": round(minutes, 4),
                    "reference_c": reference_c,
                    "coldest_data_c": coldest_c,
                    "milestones": [_milestone(w) for w in whens],
                    "warnings": list(warned),
                }
            )
            return
        if kinetic is not None:
            from .plot import cure_plot

            plot = cure_plot(
                kinetic.time_s.tolist(),
                kinetic.part_c.tolist(),
                kinetic.degree.tolist(),
                min(out.width, 110),
            )
            out.print(plot, highlight=False)
        _say(chosen, whens, degree, glass_c, minutes, reference_c)
        for sentence in warned:
            out.print(sentence, highlight=False, markup=False, soft_wrap=True)


def _rounded(value: float | None, digits: int) -> float | None:
    return None if value is None else round(value, digits)


def _milestone(when: When) -> dict[str, Any]:
    return {
        "name": when.name,
        "at_s": _rounded(when.at_s, 1),
        "low_s": _rounded(when.low_s, 1),
        "high_s": _rounded(when.high_s, 1),
    }


def _say(
    card: Card,
    whens: tuple[When, ...],
    degree: float | None,
    glass_c: float | None,
    minutes: float,
    reference_c: float,
) -> None:
    from rich.table import Table

    from ..units import show_duration

    def shown(value_s: float | None) -> str:
        return "not yet" if value_s is None else show_duration(60.0 * round(value_s / 60.0))

    if whens:
        table = Table("milestone", "after", "earliest", "latest", box=None, pad_edge=False)
        for w in whens:
            table.add_row(w.name, shown(w.at_s), shown(w.low_s), shown(w.high_s))
        out.print(table)
    amounts = show_duration(60.0 * round(minutes))
    amount = f"as much as {amounts} at {reference_c:g} °C"
    if whens and whens[0].at_s is None:
        amount = "not gelled"
    out.print(f"\n[bold]{escape(card.title)}[/]: {amount}.")
    if degree is not None:
        tail = "" if glass_c is None else f", glass transition about {glass_c:.0f} °C"
        out.print(f"Degree of cure {degree:.3f}{tail}.")
    if card.reference:
        out.print("A published reference set: it checks the solver and says nothing of a resin.")


@cure.command("laminate")
def laminate(
    card: CardArgument,
    thickness_mm: Annotated[float, typer.Option(help="Of the laminate laid in one go, mm.")],
    profile: Annotated[
        Path | None, typer.Option(help="The oven's profile (TOML); a steady --air-c if left out.")
    ] = None,
    air_c: Annotated[float, typer.Option(help="The air at the lay-up, °C.")] = 20.0,
    limit_c: Annotated[
        float | None, typer.Option(help="It may get so hot, °C; the card's own if left out.")
    ] = None,
    mould_mm: Annotated[float, typer.Option(help="Thickness of the mould, mm.")] = 6.0,
    catalyst_pct: CatalystOption = None,
    as_json: AsJson = False,
) -> None:
    """How hot a laminate makes itself in this oven, and how to split one that is too thick."""
    with sentences():
        from ..cure.card import load_card
        from ..cure.thickness import advise
        from ..errors import BadInput
        from ..profile import load_profile, planned_air
        from ..units import show_duration

        chosen = load_card(card)
        if catalyst_pct is None:
            catalyst_pct = default_catalyst(chosen)
        if not -10.0 <= air_c <= 100.0:
            raise BadInput(f"air_c is {air_c:g}; it should be -10 to 100.")
        air = [(0.0, air_c), (12 * 3600.0, air_c)]
        if profile is not None:
            air = planned_air(load_profile(profile), air_c)
        if not chosen.reference:
            warmest_c = max(c for _, c in air)
            coldest_c = chosen.figures(catalyst_pct).gel_min[0][0]
            if warmest_c < coldest_c:
                raise BadInput(
                    f"the air stays below {coldest_c:g} °C, where the card has no data: expect no "
                    f"cure, and no heat of it."
                )
        a = advise(
            chosen,
            catalyst_pct,
            thickness_mm / 1000.0,
            air,
            limit_c,
            mould_mm / 1000.0,
        )
        if as_json:
            print_json(
                {
                    "peak_c": round(a.peak.temp_c, 2),
                    "peak_s": round(a.peak.at_s, 1),
                    "peak_above_mould_mm": round(1000.0 * a.peak.above_mould_m, 3),
                    "exotherm_over": a.peak.spent,
                    "limit_c": a.limit_c,
                    "thickest_mm": None if a.thickest_m is None else round(1000 * a.thickest_m, 1),
                    "layers": a.layers,
                }
            )
            return
        out.print(
            f"{thickness_mm:g} mm of {chosen.title}: hottest [bold]{a.peak.temp_c:.0f} °C[/] after "
            f"{show_duration(60 * round(a.peak.at_s / 60))}, "
            f"{1000.0 * a.peak.above_mould_m:.1f} mm above the mould.",
            soft_wrap=True,
        )
        if a.layers == 1 and not a.peak.spent:
            out.print(
                "It hardly cures in this air, so nothing is said of its exotherm: look at it "
                "with the warmth in which it is to cure.",
                soft_wrap=True,
            )
        elif a.layers == 1:
            out.print(f"It may be laid in one go (limit {a.limit_c:g} °C).")
        elif a.thickest_m is None:
            out.print(
                f"Not even half a millimetre stays under {a.limit_c:g} °C: cooler air, or less "
                f"catalyst.",
                soft_wrap=True,
            )
        else:
            each = thickness_mm / a.layers
            out.print(
                f"Too thick for one go (limit {a.limit_c:g} °C): lay {a.layers} layers of "
                f"{each:.1f} mm, each when the one below has had its exotherm and is cool again. "
                f"At once go {1000 * a.thickest_m:.1f} mm.",
                soft_wrap=True,
            )
        if not chosen.reference:
            out.print("The generic law runs hot and early: measure the first one.")
