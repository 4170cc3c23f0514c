"""nightcure cure vapour: how much styrene is in the box, and how much air it needs."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from .show import AsJson, out, print_json, sentences

if TYPE_CHECKING:
    from ..cure.vapour import Vapour

Wet = Literal["laid-up", "gelled", "hard"]
Breathes = Literal["taped", "ordinary", "vent"]


def vapour(
    resin_kg: Annotated[
        float | None, typer.Option(help="Resin and gel coat that goes in uncured, kg.")
    ] = None,
    volume_m3: Annotated[float | None, typer.Option(help="The box inside, m³.")] = None,
    monomer_pct: Annotated[float, typer.Option(help="Styrene in the resin, % by weight.")] = 42.0,
    wet: Annotated[
        Wet, typer.Option(help="The parts when the door closes; gelled: and aired.")
    ] = "laid-up",
    breathes: Annotated[
        Breathes, typer.Option(help="The box; only an open vent is counted on.")
    ] = "ordinary",
    evaporated_pct: Annotated[
        float | None,
        typer.Option(help="Of that styrene, what evaporates in the closed box, %; else by --wet."),
    ] = None,
    air_c: Annotated[float, typer.Option(help="The air in the box, °C.")] = 40.0,
    air_changes_per_h: Annotated[
        float, typer.Option(help="Ducted fresh air as measured, box volumes an hour.")
    ] = 0.0,
    over_h: Annotated[float, typer.Option(help="Hours over which it evaporates.")] = 1.0,
    gel_coat: Annotated[
        bool, typer.Option("--gel-coat", help="Gel coat, which loses more than resin.")
    ] = False,
    profile: Annotated[
        Path | None,
        typer.Option(help="A profile with parts and [box]; in place of all the others."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Styrene in the closed box: grams, share of the lower explosive limit, air it needs.

    It advises; it certifies nothing.
    """
    with sentences():
        from ..cure.box_air import CHANGES_PER_H, left_pct
        from ..cure.vapour import vapour as compute
        from ..errors import BadInput

        if profile is not None:
            _of_profile(profile, as_json)
            return
        if resin_kg is None or volume_m3 is None:
            raise BadInput("Give --resin-kg and --volume-m3, or a --profile with parts and [box].")
        if evaporated_pct is None:
            evaporated_pct = left_pct(monomer_pct, "gel-coat" if gel_coat else "resin", wet)
        if breathes == "vent":
            air_changes_per_h = max(air_changes_per_h, CHANGES_PER_H["vent"])
        v = compute(
            resin_kg, monomer_pct, evaporated_pct, volume_m3, air_c, air_changes_per_h, over_h
        )
        _tell(v, volume_m3, as_json, evaporated_pct=round(evaporated_pct, 4))


def _of_profile(path: Path, as_json: bool) -> None:
    from ..cure.box_air import vapour_in, vapour_sentence
    from ..errors import BadInput
    from ..profile import load_profile

    asked = load_profile(path)
    if asked.box is None:
        raise BadInput(f"{path} tells no box; add [box] with its volume_m3, wet and breathes.")
    what = asked.box, asked.parts, asked.highest_c
    _tell(vapour_in(*what), asked.box.volume_m3, as_json, sentence=vapour_sentence(*what))


def _tell(v: Vapour, volume_m3: float, as_json: bool, **more: float | str) -> None:
    from ..cure.vapour import cautions

    said = cautions(v)
    if as_json:
        print_json(
            {
                **{k: round(x, 6) if isinstance(x, float) else x for k, x in v._asdict().items()},
                **more,
                "cautions": list(said),
            }
        )
        return
    out.print(
        f"[bold]{v.styrene_g:.1f} g[/] of styrene in {volume_m3:g} m³: {v.vol_pct:.3f} vol %, "
        f"[bold]{v.percent_lel:.0f} %[/] of the lower explosive limit (0.9 vol %), "
        f"{v.ppm:.0f} ppm.",
        soft_wrap=True,
    )
    if v.ventilation_m3_per_h:
        per_h = v.ventilation_m3_per_h / volume_m3
        out.print(
            f"{v.ventilation_m3_per_h:.2f} m³/h of fresh air ({per_h:.1f} box volumes an hour) "
            f"keep it under 25 %.",
            soft_wrap=True,
        )
    sentence = more.get("sentence")
    for line in ([sentence] if sentence else []) + list(said):
        out.print(f"  {line}", highlight=False, soft_wrap=True)
