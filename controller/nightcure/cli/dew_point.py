"""nightcure cure dew-point: whether a mould is dry enough to be laid up."""

from __future__ import annotations

from typing import Annotated

import typer

from .show import AsJson, out, print_json, sentences


def dew_point(
    air_c: Annotated[
        float, typer.Option("--air-c", help="The air where the hygrometer hangs, °C.")
    ],
    humidity_pct: Annotated[float, typer.Option("--humidity", help="Its relative humidity, %.")],
    mould_c: Annotated[
        list[float] | None,
        typer.Option(help="A mould's temperature, °C; once for each. As the air if left out."),
    ] = None,
    card: Annotated[
        str | None, typer.Option(help="The resin's card; an epoxy blushes in damp air.")
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Dew point of the air, whether the moulds are dry, and what to do where they are not.

    Coating practice: 3 K above the dew point, the air below 85 %.
    """
    with sentences():
        from ..cure.card import load_card
        from ..cure.dew_point import Surface, moisture

        epoxy = card is not None and load_card(card).family == "epoxy"
        moulds = mould_c or []
        names = (
            ["the mould"] if len(moulds) == 1 else [f"mould {i + 1}" for i in range(len(moulds))]
        )
        surfaces = [Surface(n, c) for n, c in zip(names, moulds, strict=True)]
        found = moisture(air_c, humidity_pct, surfaces, epoxy)
        if as_json:
            print_json(
                {
                    "dew_point_c": round(found.dew_point_c, 3),
                    "dry": found.dry,
                    "sentences": list(found.sentences),
                }
            )
            return
        for sentence in found.sentences:
            out.print(sentence, highlight=False, soft_wrap=True)
