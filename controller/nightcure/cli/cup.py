"""`nightcure cure cup`: a gel cup of tonight's batch, from its mixing to the gel."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Any

import typer

from .show import AsJson, out, print_json, sentences
from .which import LedgerOption, OvenOption, ledger_path

cup = typer.Typer(
    help="A gel cup beside a thermometer: what it shows dates every part of its batch.",
    no_args_is_help=True,
)

CardArgument = Annotated[
    str, typer.Argument(help="A shipped card's name, or a card's .toml file.", show_default=False)
]
Grams = Annotated[float, typer.Option(help="How much is in the cup, g.")]
Share = Annotated[float | None, typer.Option(help="Catalyst share as weighed, %.")]
Batch = Annotated[str | None, typer.Option(help="What the batch is called; by its card if not.")]
Film = Annotated[bool, typer.Option("--film", help="A film of 3 mm at most, not a cup.")]


@cup.command("mixed")
def mixed(
    card: CardArgument,
    grams: Grams,
    catalyst_pct: Share = None,
    batch: Batch = None,
    thermometer: Annotated[
        str | None, typer.Option(help="The thermometer beside the cup, by name.")
    ] = None,
    stands_c: Annotated[
        float | None, typer.Option(help="How warm it stands, °C, without a thermometer.")
    ] = None,
    film: Film = False,
    probe_inside: Annotated[
        bool, typer.Option("--probe-inside", help="The thermometer is in the cup.")
    ] = False,
    minutes_ago: Annotated[float, typer.Option(help="Mixed so long ago, min.")] = 0.0,
    ledger: LedgerOption = None,
    oven: OvenOption = None,
    as_json: AsJson = False,
) -> None:
    """A cup was mixed now. The running controller counts its time."""
    with sentences():
        told = _cup(card, grams, catalyst_pct, batch, thermometer, stands_c, film, probe_inside)
        told["minutes_ago"] = minutes_ago
    _send({"what": "mixed", "cup": told}, ledger, oven, as_json)


def _cup(
    card: str, grams: float, catalyst_pct: float | None, batch: str | None, sensor: str | None,
    stands_c: float | None, film: bool, probe_inside: bool,
) -> dict[str, Any]:  # fmt: skip
    from ..cure.card import load_card
    from ..errors import BadInput

    if film and probe_inside:
        raise BadInput("a film has no room for a probe; give one of --film and --probe-inside.")
    chosen = load_card(card)
    return {
        "batch": batch or chosen.name,
        "card": card,
        "figures": chosen.figures(catalyst_pct).model_dump(mode="json"),
        "grams": grams,
        "catalyst_pct": catalyst_pct,
        "sensor": sensor,
        "stands_c": stands_c,
        "held": "film" if film else "probe" if probe_inside else "cup",
    }


def _seen(what: str, help_text: str) -> None:
    def seen(
        batch: Batch = None,
        ledger: LedgerOption = None,
        oven: OvenOption = None,
        as_json: AsJson = False,
    ) -> None:
        _send({"what": what, **({} if batch is None else {"batch": batch})}, ledger, oven, as_json)

    seen.__doc__ = help_text
    cup.command(what)(seen)


_seen("liquid", "Somebody looked at the cup, and it is still liquid.")
_seen("gelled", "The cup has gelled: the batch's factor, and every part of it dated anew.")
_seen("drop", "Forget the cup, and what it showed.")


@cup.command("row")
def row(
    card: CardArgument,
    grams: Grams,
    gelled_min: Annotated[float, typer.Option(help="From the mixing to the gel, min.")],
    stands_c: Annotated[float, typer.Option(help="How warm it stood, °C.")],
    catalyst_pct: Share = None,
    liquid_min: Annotated[
        float | None, typer.Option(help="When it was last seen liquid, min after the mixing.")
    ] = None,
    film: Film = False,
    probe_inside: Annotated[
        bool, typer.Option("--probe-inside", help="That is the resin's own temperature.")
    ] = False,
    as_json: AsJson = False,
) -> None:
    """A gel row for a card of this resin from one cup, with no oven running."""
    with sentences():
        from ..cure.gel_cup import GelCup, refused_cup
        from ..errors import BadInput

        if liquid_min is not None and not 0.0 < liquid_min < gelled_min:
            raise BadInput(f"--liquid-min is {liquid_min:g}; it should be below {gelled_min:g}.")
        if not 2.0 <= gelled_min <= 2880.0:
            raise BadInput(f"--gelled-min is {gelled_min:g}; it should be 2 to 2880 minutes.")
        told = _cup(card, grams, catalyst_pct, None, None, stands_c, film, probe_inside)
        start = _start(told)
        if refusal := refused_cup(start):
            raise BadInput(refusal)
        one = GelCup(start)
        for minute in range(round(60.0 * gelled_min) // 20):
            if liquid_min is not None and minute * 20.0 >= 60.0 * liquid_min and not one.tells:
                one.liquid()
            one.advance(20.0, stands_c)
        found = one.gelled()
        at_c, minutes = found.gel_row
        share = "" if catalyst_pct is None else f" {catalyst_pct:g}"
        if as_json:
            print_json(
                {
                    "card": Path(card).stem,
                    "gel_factor": [round(f, 4) for f in found[:3]],
                    "own_warming_pct": round(100.0 * found.own_warming, 1),
                    "row": {"temp_c": at_c, "catalyst_pct": catalyst_pct, "minutes": minutes},
                }
            )
            return
        low, likely, high = found[:3]
        out.print(
            f"It gels {likely:.2f} times as slowly as its card (8 of 10: {low:.2f} to {high:.2f}); "
            f"the cup's own warming made it {100 * found.own_warming:.0f} % early, which is taken "
            f"out.\nA gel row for nightcure cure new: {at_c:g}{share} {minutes:g}",
            highlight=False, markup=False,
        )  # fmt: skip


def _start(told: dict[str, Any]) -> Any:
    from pydantic import ValidationError

    from ..cure.gel_cup import CupStart
    from ..errors import BadInput, faults_as_sentences

    try:
        return CupStart.model_validate(told)
    except ValidationError as error:
        raise BadInput(*faults_as_sentences(error, "cup")) from None


def _send(args: dict[str, Any], ledger: Any, oven: Any, as_json: bool) -> None:
    with sentences():
        from ..ledger.reader import LedgerReader
        from .send_command import live_state_of, send_command, who_types

        path = ledger_path(ledger, oven)
        live_state_of(LedgerReader(path))
        said = send_command(path, "cup", args, who_types())
        if as_json:
            print_json({"outcome": "done", "message": said})
        else:
            out.print(said, highlight=False, markup=False, soft_wrap=True)
