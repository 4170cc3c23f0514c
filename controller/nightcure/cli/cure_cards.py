"""nightcure cure list, check and new: resin cards."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.markup import escape

from .cure import CardArgument
from .show import AsJson, err, out, print_json, sentences


def check(
    card: CardArgument,
    oven: Annotated[
        Path | None, typer.Option(help="An oven.toml: which rows it cannot reach.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Whether a card can be true, where its numbers come from, and what it cannot answer."""
    with sentences():
        from ..cure.card import load_card

        chosen = load_card(card)
        missing = chosen.unanswered()
        if chosen.demould is not None and chosen.kinetics is not None and chosen.glass is not None:
            from ..cure.kinetics import dates_demould

            if not dates_demould(chosen):
                missing += ("Its degree of cure cannot date the demould: go by the clock.",)
        if oven is not None:
            from ..settings import load_settings

            limits = load_settings(oven).limits
            shares = [r.catalyst_pct for r in chosen.gel if r.catalyst_pct is not None]
            known = chosen.figures(min(shares) if shares else None) if chosen.gel else None
            reach = known.out_of_reach(limits.hottest_soak_c) if known is not None else ""
            missing += (reach[0].upper() + reach[1:],) if reach else ()
        sources = sorted(set(_sources(chosen.model_dump())))
        if as_json:
            print_json(
                {
                    "card": chosen.name,
                    "title": chosen.title,
                    "reference": chosen.reference,
                    "unanswered": list(missing),
                    "sources": sources,
                }
            )
            return
        out.print(f"[bold]{escape(chosen.title)}[/] ({chosen.name}) can be true.")
        for sentence in missing:
            out.print(f"  {sentence}", highlight=False, markup=False, soft_wrap=True)
        out.print("Its numbers come from:")
        for source in sources:
            out.print(f"  {source}", highlight=False, markup=False, soft_wrap=True)


def _sources(data: Any) -> list[str]:
    if isinstance(data, dict):
        own = [v for k, v in data.items() if k.endswith("source") and isinstance(v, str)]
        return own + [s for v in data.values() for s in _sources(v)]
    if isinstance(data, list | tuple):
        return [s for v in data for s in _sources(v)]
    return []


def list_cards() -> None:
    """The cards that come with nightcure."""
    from rich.table import Table

    from ..cure.card import load_card, shipped

    table = Table("card", "what it is", box=None, pad_edge=False)
    for name in shipped():
        table.add_row(name, load_card(name).title)
    out.print(table)


def new(
    file: Annotated[Path, typer.Argument(help="The card to write; it must not exist yet.")],
    like: Annotated[
        str, typer.Option(help="The shipped card whose other numbers are taken over.")
    ] = "polyester-laminating",
) -> None:
    """Build a card from a data sheet, by asking.

    An empty answer keeps the generic number, marked as such. Nothing is written before the whole
    card has been checked.
    """
    with sentences():
        from ..cure.new import NO_DATA, assemble, check_gel_row, checked_answer, questions
        from ..errors import BadInput
        from ..settings.toml_text import toml_text

        if file.suffix != ".toml":
            raise BadInput(f"{file}: a card is a .toml file; name it {file.stem}.toml.")
        if file.exists():
            raise BadInput(f"{file} exists already; take another name or remove it first.")
        err.print("From the resin's data sheet. An empty answer keeps the generic number.")
        answers: dict[str, str] = {}
        for key, question in questions(like):
            answers[key] = _asked(question, partial(checked_answer, key))
        rows: list[str] = []

        def checked_row(text: str) -> str:
            if text.strip():
                check_gel_row(like, text)
            return text

        while True:
            row = _asked(f"Gel row {len(rows) + 1} ({NO_DATA}; empty to end)", checked_row)
            if not row.strip():
                break
            rows.append(row)
        card = assemble(like, answers, rows)
        try:
            told = card.model_dump(mode="json", exclude_none=True)
            remark = "From a data sheet; written by nightcure cure new."
            file.write_text(toml_text(told, remark), encoding="utf-8")
        except OSError as error:
            raise BadInput(f"{file} cannot be written: {error.strerror}.") from None
        err.print(f"Written to {file}.")
        for sentence in card.unanswered():
            err.print(f"  {sentence}", highlight=False, markup=False, soft_wrap=True)


def _asked(question: str, checked: Callable[[str], str]) -> str:
    """An answer that can be; a wrong one is told, and the same question asked again."""
    from ..errors import BadInput

    while True:
        try:
            return checked(typer.prompt(question, default="", show_default=False, err=True))
        except BadInput as error:
            err.print(f"  {error}", highlight=False, markup=False, soft_wrap=True)
